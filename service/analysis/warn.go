package analysis

import (
	"fmt"
	"strconv"

	"evenrig/stats/meta"
	"evenrig/stats/num"
)

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
		n.add(WarnOneArrangement, "all analysed fish were caught with %s as the %s fly, so that pattern and position cannot be told apart", in.test(), in.LowerWord)
	case t.A+t.B == 0:
		n.add(WarnOneArrangement, "all analysed fish were caught with %s as the %s fly, so that pattern and position cannot be told apart", in.control(), in.LowerWord)
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
		n.add(WarnMethodsDiffer, "for a typical angler the model of all fish gives %s of 100 and the combination of the anglers' own answers %s, more than a quarter of a standard error apart; "+
			"few fish for an angler, zero counts or anglers who differ much are the usual reasons", OutOf100(num.Expit(model)), OutOf100(num.Expit(own)))
	}
	return nil
}

// warnOfLimits says that a limit of the headline has no bound.
func warnOfLimits(h Headline, n *notes) {
	if h.Share != nil && (h.Low == nil || h.High == nil) && !n.has(WarnUnbounded) {
		n.add(WarnUnbounded, "these fish do not bound the answer on one side or both: the limit stands at the end, 0 or 100")
	}
}

// warnOfAnglers says where the headline leans on one angler, or takes as one what is not.
func warnOfAnglers(r Result, k int, n *notes) {
	a, prevails := r.Prevailing()
	switch {
	case prevails:
		n.add(WarnPrevailing, "one angler, %s, has %d of the %d analysed fish, more than all other anglers together: how anglers differ can hardly be seen", a.Angler, a.analysed(), r.Counts.Analysed)
	case r.Headline.Method == MixedModelProfile && 5*a.analysed() > 4*r.Counts.Analysed:
		n.add(WarnPrevailing, "one angler, %s, has %d of the %d analysed fish, more than four in five: an interval of 95 %% then holds the effect about 90 times in 100", a.Angler, a.analysed(), r.Counts.Analysed)
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
