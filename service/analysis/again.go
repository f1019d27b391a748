package analysis

import (
	"fmt"

	"evenrig/service/trial"
	"evenrig/stats/exact"
	"evenrig/stats/glmm"
)

// asked is a question that has been answered once: by which method, with which form of the mixed model. The same question can then
// be asked of other fish.
type asked struct {
	in     Input
	method Method
	form   form
}

// pointsOfRows are the quadrature points with which other fish are asked and further columns fitted, at a fraction of the
// headline's work. Simulated trials of 8 to 40 anglers with 4 to 48 fish each put them within a thousandth of a standard error of the
// headline's points in most trials and within three hundredths at worst; the joint Laplace approximation would understate
// standard errors by 1 to 6 %.
func pointsOfRows(outings bool) int {
	if outings {
		return 3
	}
	return 7
}

// With manyAnglers analysed anglers or more the parts beside the headline step back, which WarnManyAnglers says.
const manyAnglers = 1_000

// pointsOfMany are the quadrature points for what stands beside the answer of many anglers. The error of the joint Laplace
// approximation falls as one over an angler's fish (Liu and Pierce 1994, Biometrika 81:624), but not with the anglers, as standard
// errors do: it takes many fish an angler.
func pointsOfMany(fish int64, anglers int) int {
	const manyFish = 100
	if fish >= manyFish*int64(anglers) {
		return 1
	}
	return 3
}

// stepBack reports whether parts step back, and notes it.
func (c *run) stepBack() bool {
	if c.k < manyAnglers {
		return false
	}
	if !c.n.has(WarnManyAnglers) {
		c.n.add(WarnManyAnglers, "with %d anglers what stands beside the main answer is worked out in shorter ways: the model has %d quadrature points; other choices of fish, order, time and levels have %d, "+
			"with limits from the standard error, which with so many anglers differ from the longer way by a small part of it; and no single angler is left out in turn",
			c.k, c.form.points, min(c.form.points, pointsOfMany(c.r.Counts.Analysed, c.k)))
	}
	return true
}

// expected are the SDs of the main fit, near which those of other fish lie.
func (c *run) expected() *glmm.Spread {
	if c.fit == nil {
		return nil
	}
	return &glmm.Spread{Pattern: c.fit.SDPattern, Position: c.fit.SDPosition, Outing: c.fit.SDOuting}
}

// again answers the question by the headline's method on other fish; every tally given is analysed. Where the method has no
// answer the reason says why.
func (q asked) again(tallies []trial.Tally) (h Headline, reason string, err error) {
	in := q.in
	in.Tallies = tallies
	d, level, n := newDataset(in), 1-in.Alpha, &notes{}
	d.warnOfSize(in, n)
	var m *MixedModel
	var conditional *exact.Conditional
	switch q.method {
	case MixedModelProfile:
		m, _, err = mixedModel(d, q.form.forRow(d, in.Tallies), level, n)
	default:
		tables, _ := d.strata(in, n)
		_, conditional, err = stratified(tables, level, n)
	}
	if err != nil {
		return Headline{}, "", fmt.Errorf("on other fish: %w", err)
	}
	h = answerOf(q.method, m, conditional)
	warnOfLimits(h, n)
	return h, n.reason(h), nil
}

// forRow is the form in which other fish are asked, without outings where these cannot show them.
func (f form) forRow(d dataset, tallies []trial.Tally) form {
	outings := f.vary == VaryPatternPositionOuting
	if outings && !(d.outingsKnown() && outingsShared(tallies)) {
		f.vary, outings = VaryPatternPosition, false
	}
	f.points = min(f.points, pointsOfRows(outings))
	if f.quick {
		f.points = min(f.points, pointsOfMany(d.counts.Analysed, len(d.withFish())))
	}
	return f
}

// reason returns the warning that explains why a number of the answer is null; empty where none is.
func (n *notes) reason(h Headline) string {
	codes := []string{
		WarnNoCatches, WarnOneArrangement, WarnOnePosition, WarnSeparation, WarnNoMaximum, WarnNotIdentified, WarnNotConverged,
		WarnNoInformation, WarnOneAngler, WarnNoMethod,
	}
	switch {
	case h.LogOdds != nil && h.Low != nil && h.High != nil:
		return ""
	case h.Share != nil: // there is an answer, without a bound
		codes = []string{WarnUnbounded}
	}
	for _, code := range codes {
		for _, w := range n.list {
			if w.Code == code {
				return w.Detail
			}
		}
	}
	return ""
}
