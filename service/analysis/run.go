package analysis

import (
	"evenrig/stats/exact"
	"evenrig/stats/glmm"
	"evenrig/stats/meta"
)

// Run returns the pooled analysis of the input. Data never make it fail: what they cannot say is null in the result,
// with a warning that says why. The error, of kind trial.Invalid with code analysis.invalid, names every fault of input
// and settings; any other error is a fault of this program.
//
// The same input, whatever the order of its tallies, gives the same bytes of Result.Encode for the same program version
// and architecture. Cost grows with anglers and outings, not with fish; deploy/scale.md has the figures. From manyAnglers on parts step back.
func Run(in Input, s Settings) (Result, error) {
	c, err := begin(in, s)
	if err != nil {
		return Result{}, err
	}
	for i, step := range steps {
		if s.Step != nil {
			if err := s.Step(i); err != nil {
				return Result{}, err
			}
		}
		if err := step.do(c); err != nil {
			return Result{}, err
		}
	}
	return c.result(), nil
}

// steps are what Run goes through, the same for all data: first every method that stands in the result, whichever is to speak,
// then the headline, then what stands beside it.
var steps = []struct {
	name string
	do   func(*run) error
}{
	{"exact", (*run).exact},
	{"mixed_model", (*run).mixed},
	{"combined", (*run).combine},
	{"headline", (*run).speak},
	{"spread", (*run).spread},
	{"influence", (*run).influence},
	{"randomisation", (*run).redraw},
	{"sensitivity", (*run).otherFish},
	{"covariates", (*run).covariates},
}

// Steps names the steps that Run goes through, in order.
func Steps() []string {
	names := make([]string, len(steps))
	for i, s := range steps {
		names[i] = s.name
	}
	return names
}

// run is an analysis under way.
type run struct {
	in       Input
	settings Settings
	d        dataset
	k        int // anglers with an analysed fish
	level    float64
	n        *notes
	r        Result

	form        form              // of the mixed model as fitted
	fit         *glmm.TrialResult // nil where it was refused
	conditional *exact.Conditional
	by          string        // what the strata are
	effects     []meta.Effect // combined, of the anglers labels names
	labels      []string
	plain       Headline // before looks are allowed for
}

// begin checks the input and counts it.
func begin(in Input, s Settings) (*run, error) {
	in = in.filled()
	if err := in.check(s); err != nil {
		return nil, err
	}
	in.Tallies = merged(in.Tallies)
	counted, err := fingerprint(in)
	if err != nil {
		return nil, err
	}
	c := &run{in: in, settings: s, d: newDataset(in), level: 1 - in.Alpha, n: &notes{list: []Warning{}}}
	c.k = len(c.d.withFish())
	c.d.warnOfSize(in, c.n)
	c.r = Result{
		Design: in.Design, Test: in.Test, Control: in.Control, Counts: c.d.counts,
		Fingerprint: counted, ProgramVersion: s.ProgramVersion,
	}
	return c, nil
}

// exact fills in the methods that take fish as independent.
func (c *run) exact() (err error) {
	if c.r.RawShare, err = rawShare(c.d.counts, c.level); err != nil {
		return err
	}
	if c.r.PooledTable, err = pooledTable(c.d.pooled(), c.level, c.n); err != nil {
		return err
	}
	var tables []exact.Table
	tables, c.by = c.d.strata(c.in, c.n)
	c.r.Stratified, c.conditional, err = stratified(tables, c.level, c.n)
	return err
}

// mixed fits the mixed model, once more without outings where it was refused with them and they may be dropped.
func (c *run) mixed() (err error) {
	s := c.settings
	c.form = form{vary: chooseVary(c.d, c.in, s, c.n), correlated: s.Correlated}
	c.form.points = choosePoints(c.form.vary, s.Points, c.k, c.r.Counts.Analysed)
	if c.r.MixedModel, c.fit, err = mixedModel(c.d, c.form, c.level, c.n); err != nil || !mayDropOutings(c.r.MixedModel, c.in, s) {
		return err
	}
	c.n.add(WarnOutingsLeftOut, "the mixed model was fitted again without outings")
	c.form.vary, c.form.points = VaryPatternPosition, choosePoints(VaryPatternPosition, s.Points, c.k, c.r.Counts.Analysed)
	c.r.MixedModel, c.fit, err = mixedModel(c.d, c.form, c.level, c.n)
	return err
}

// combine fills in each angler's own answer and their combination.
func (c *run) combine() (err error) {
	if c.r.Anglers, c.effects, c.labels, err = anglerRows(c.d, c.fit, c.n); err != nil {
		return err
	}
	if c.r.Combined, err = combined(c.effects, c.labels, c.k-len(c.effects), c.level, c.n); err != nil {
		return err
	}
	return warnIfMethodsDiffer(c.r, c.n)
}

// speak chooses the headline, allows for looks, and reads the verdict.
func (c *run) speak() (err error) {
	c.plain = headline(c.r, c.conditional, c.k, c.by, c.n)
	c.r.Headline = c.plain
	if c.r.Monitoring, err = monitoring(c.in, c.r, c.n); err != nil {
		return err
	}
	c.r.Headline = c.r.Monitoring.underLooks(c.plain)
	warnOfLimits(c.r.Headline, c.n)
	warnOfAnglers(c.r, c.k, c.n)
	c.r.Verdict = verdict(c.r, c.in, c.k)
	return nil
}

// spread says how anglers may differ.
func (c *run) spread() error { return c.r.MixedModel.besideMixed(c.fit, c.level, c.n) }

// influence says who pulls at the answer.
func (c *run) influence() error {
	return c.r.Combined.besideCombined(c.d, c.effects, c.labels, c.level, c.n)
}

// redraw tests by the draw alone.
func (c *run) redraw() (err error) {
	c.r.Randomisation, err = randomisation(c.in, c.r.Fingerprint, c.n)
	return err
}

// otherFish asks the same question of other fish.
func (c *run) otherFish() (err error) {
	q := asked{in: c.in, method: c.plain.Method, form: c.form}
	q.form.near, q.form.quick = c.expected(), c.stepBack()
	if c.r.AsAllocated, err = q.asAllocated(c); err != nil {
		return err
	}
	q.form.limitsOnly = true
	if c.r.Sensitivity, c.r.Unchanged, err = q.sensitivity(c); err != nil {
		return err
	}
	c.r.TippingPoint = tippingPoint(c.r, c.in)
	c.r.Harms = harms(c.in)
	return nil
}

// covariates asks whether the answer hangs on order, time, or what was noted of a fish.
func (c *run) covariates() (err error) {
	r, f := &c.r, c.form
	if f.near = c.expected(); c.stepBack() {
		f.points = min(f.points, pointsOfMany(r.Counts.Analysed, c.k))
	}
	all := newCovariates(c.in.Tallies, f, c.level)
	if r.OrderEffect, err = orderEffect(all, c.n); err != nil {
		return err
	}
	if r.Drift, err = drift(all, c.n); err != nil {
		return err
	}
	if r.PositionBy, err = positionBy(all); err != nil {
		return err
	}
	r.Subgroups, err = subgroups(all, c.in.Subgroups, c.n)
	return err
}

// result is the result with what it was made with and warns of.
func (c *run) result() Result {
	c.r.Settings = SettingsUsed{
		Vary: c.form.vary, Correlated: c.form.correlated, Points: c.form.points, Alpha: c.in.Alpha, SmallestShare: c.in.SmallestShare,
		LowerWord: c.in.LowerWord, UpperWord: c.in.UpperWord, Source: c.in.Source,
	}
	c.r.Warnings = c.n.list
	return c.r
}
