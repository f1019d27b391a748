package analysis

import (
	"fmt"
	"strconv"

	"evenrig/stats/meta"
)

// Run returns the pooled analysis of the input. Data never make it fail: what they cannot say is null in the result,
// with a warning that says why. The error, of kind trial.Invalid with code analysis.invalid, names every fault of input
// and settings; any other error is a fault of this program.
//
// The same input, whatever the order of its tallies, gives the same bytes of Result.Encode for the same program version
// and architecture. Cost grows with anglers and outings, not with fish.
func Run(in Input, s Settings) (Result, error) {
	in = in.filled()
	if err := in.check(s); err != nil {
		return Result{}, err
	}
	counted, err := fingerprint(in)
	if err != nil {
		return Result{}, err
	}
	in.Tallies = merged(in.Tallies)
	d, level, n := newDataset(in), 1-in.Alpha, &notes{list: []Warning{}}
	d.warnOfSize(in, n)

	r := Result{
		Design: in.Design, Test: in.Test, Control: in.Control, Counts: d.counts,
		Fingerprint: counted, ProgramVersion: s.ProgramVersion,
	}
	if r.RawShare, err = rawShare(d.counts, level); err != nil {
		return Result{}, err
	}
	if r.PooledTable, err = pooledTable(d.pooled(), level, n); err != nil {
		return Result{}, err
	}
	tables, by := d.strata(n)
	strat, conditional, err := stratified(tables, level, n)
	if err != nil {
		return Result{}, err
	}
	r.Stratified = strat

	f := form{vary: chooseVary(d, in, s, n), correlated: s.Correlated}
	f.points = choosePoints(f.vary, s.Points)
	mixed, fit, err := mixedModel(d, f, level, n)
	if err != nil {
		return Result{}, err
	}
	if mayDropOutings(mixed, in, s) {
		n.add(WarnOutingsLeftOut, "the mixed model was fitted again without outings")
		f.vary, f.points = VaryPatternPosition, choosePoints(VaryPatternPosition, s.Points)
		if mixed, fit, err = mixedModel(d, f, level, n); err != nil {
			return Result{}, err
		}
	}
	if err := mixed.besideMixed(fit, level, n); err != nil {
		return Result{}, err
	}
	r.MixedModel = mixed

	rows, effects, labels, err := anglerRows(d, fit, n)
	if err != nil {
		return Result{}, err
	}
	r.Anglers = rows
	with := d.withFish()
	if r.Combined, err = combined(effects, labels, len(with)-len(effects), level, n); err != nil {
		return Result{}, err
	}
	if err := r.Combined.besideCombined(d, effects, labels, level, n); err != nil {
		return Result{}, err
	}
	if err := warnIfMethodsDiffer(r, n); err != nil {
		return Result{}, err
	}

	r.Headline = headline(r, conditional, len(with), by, n)
	if r.Monitoring, err = monitoring(in, r, n); err != nil {
		return Result{}, err
	}
	r.Headline = r.Monitoring.underLooks(r.Headline)
	warnOfLimits(r.Headline, n)
	warnOfAnglers(r, len(with), n)
	r.Verdict = verdict(r, in, len(with))
	if err := beside(&r, d, asked{in: in, method: r.Headline.Method, form: f}, n); err != nil {
		return Result{}, err
	}
	r.Settings = SettingsUsed{
		Vary: f.vary, Correlated: f.correlated, Points: f.points, Alpha: in.Alpha, SmallestShare: in.SmallestShare,
		LowerWord: in.LowerWord, UpperWord: in.UpperWord, Source: in.Source,
	}
	r.Warnings = n.list
	return r, nil
}

// beside fills in what stands beside the headline: the draw, order, time, levels, and the same question of other fish.
func beside(r *Result, d dataset, q asked, n *notes) (err error) {
	if r.Randomisation, err = randomisation(q.in, r.Fingerprint, n); err != nil {
		return err
	}
	if r.AsAllocated, err = q.asAllocated(); err != nil {
		return err
	}
	if r.Sensitivity, r.Unchanged, err = q.sensitivity(*r, d, n); err != nil {
		return err
	}
	r.TippingPoint = tippingPoint(*r, q.in)
	all := newCovariates(q.in.Tallies, q.form.vary, 1-q.in.Alpha)
	if r.OrderEffect, err = orderEffect(all, n); err != nil {
		return err
	}
	if r.Drift, err = drift(all, n); err != nil {
		return err
	}
	if r.PositionBy, err = positionBy(all); err != nil {
		return err
	}
	r.Subgroups, err = subgroups(all, q.in.Subgroups, n)
	return err
}

// warnOfSize says what the numbers of anglers, arrangements and positions rule out from the start.
func (d dataset) warnOfSize(in Input, n *notes) {
	t := d.pooled()
	switch k := len(d.withFish()); {
	case k == 0:
		n.add(WarnNoCatches, "no fish could be analysed, so that nothing is estimated")
		return
	case k == 1:
		n.add(WarnOneAngler, "all analysed fish are one angler's: how anglers differ cannot be seen")
	case k <= fewAnglers:
		n.add(WarnFewAnglers, "only %d anglers have analysed fish: how anglers differ can hardly be seen. The answer is for these anglers; as one about anglers at large its interval is too narrow where anglers differ", k)
	}
	switch {
	case t.C+t.D == 0:
		n.add(WarnOneArrangement, "all analysed fish were caught with %s as the %s fly, so that pattern and position cannot be told apart", in.Test, in.LowerWord)
	case t.A+t.B == 0:
		n.add(WarnOneArrangement, "all analysed fish were caught with %s as the %s fly, so that pattern and position cannot be told apart", in.Control, in.LowerWord)
	case t.B+t.C == 0:
		n.add(WarnOnePosition, "every analysed fish took the %s fly, whichever pattern it was, so that the patterns cannot be compared", in.LowerWord)
	case t.A+t.D == 0:
		n.add(WarnOnePosition, "every analysed fish took the %s fly, whichever pattern it was, so that the patterns cannot be compared", in.UpperWord)
	}
}

// warnIfMethodsDiffer flags a mixed model and a combination that disagree by more than a quarter of the model's standard
// error (Burke, Ensor and Riley 2017, Statistics in Medicine 36:855, name the usual reasons).
func warnIfMethodsDiffer(r Result, n *notes) error {
	if r.Combined == nil || r.MixedModel == nil || r.MixedModel.LogOdds == nil {
		return nil
	}
	model, own, stdError := *r.MixedModel.LogOdds, *r.Combined.HeadlineRow().LogOdds, *r.MixedModel.StdError
	_, apart, err := meta.StagesApart(model, stdError, own)
	if err != nil {
		return fmt.Errorf("compare methods: %w", err)
	}
	if apart {
		n.add(WarnMethodsDiffer, "the mixed model gives log odds %.3g and the combination of the anglers' own answers %.3g, more than a quarter of a standard error (%.2g) apart; "+
			"few fish for an angler, zero counts or anglers who differ much are the usual reasons", model, own, stdError)
	}
	return nil
}

// warnOfLimits says that a limit of the headline has no bound.
func warnOfLimits(h Headline, n *notes) {
	if h.Share != nil && (h.Low == nil || h.High == nil) && !n.has(WarnUnbounded) {
		n.add(WarnUnbounded, "these fish do not bound the answer on one side or both: the limit has no log odds, and its share stands at the end, 0 or 1")
	}
}

// warnOfAnglers says where the headline leans on one angler, or takes as one what is not.
func warnOfAnglers(r Result, k int, n *notes) {
	if a, ok := r.Prevailing(); ok {
		n.add(WarnPrevailing, "one angler, %s, has %d of the %d analysed fish, more than all other anglers together: how anglers differ can hardly be seen", a.Angler, a.analysed(), r.Counts.Analysed)
	}
	if r.anglersDisagree(k) {
		n.add(WarnAnglersDiffer, "one effect for all does not fit these anglers (p %s): the interval of the exact method does not allow for that and is too narrow for anglers at large", belowOr(*r.Stratified.HomogeneityP))
	}
}

// belowOr says a p value; none is said as 0.
func belowOr(p float64) string {
	if p < .0001 {
		return "below 0.0001"
	}
	return strconv.FormatFloat(p, 'g', 2, 64)
}
