package analysis

import (
	"fmt"

	"evenrig/stats/exact"
	"evenrig/stats/num"
)

// fewAnglers is the largest number of anglers with an analysed fish at which the exact method speaks.
const fewAnglers = 4

// headline is the one answer: the method that speaks with its numbers and the reason.
func headline(r Result, conditional *exact.Conditional, k int, by string, n *notes) Headline {
	method, reason := spoken(r, conditional, k, by, n)
	h := answerOf(method, r.MixedModel, conditional)
	h.Reason = reason
	return h
}

// spoken is the choice of the method, the only place where it is made, and why.
//
// With k up to 4 anglers the exact conditional method over strata; from 5 the mixed model, with profile limits whose cut is made
// for few anglers: of all methods tried it alone held its level wherever five anglers or more were simulated, also with one
// who has most of the fish. Where the model was refused, the exact method: with it in that place every cell of five anglers or more
// holds its level, and no other method was measured there (stats/CALIBRATION.md). It does so if all fish of an arrangement took one
// pattern, or if the test of homogeneity does not tell the anglers apart; else none speaks, since the exact method takes one effect
// for all and these anglers say the opposite. The combination of the anglers' own answers stands beside and never speaks.
func spoken(r Result, conditional *exact.Conditional, k int, by string, n *notes) (Method, string) {
	exactly := func(reason string) (Method, string) {
		if conditional == nil {
			return ExactStratified, reason + " would speak, but these fish give it nothing to compare."
		}
		return ExactStratified, reason + " speaks, over " + by + "."
	}
	switch {
	case k == 0:
		return ExactStratified, "No fish could be analysed; the exact method is named, and has nothing to say."
	case k == 1:
		return exactly("One angler has analysed fish: the exact method")
	case k <= fewAnglers:
		return exactly(fmt.Sprintf("%d anglers have analysed fish: up to %d the exact method", k, fewAnglers))
	case r.MixedModel.speaks():
		return MixedModelProfile, fmt.Sprintf("%d anglers have analysed fish: from %d the mixed model speaks, with the limits of its profile likelihood as for %.3g anglers with as many fish each.",
			k, fewAnglers+1, *r.MixedModel.ProfileDF+1)
	case r.MixedModel.Status == Separated && conditional != nil:
		return exactly(fmt.Sprintf("%d anglers have analysed fish, but where a pattern was always taken the mixed model "+
			"cannot be had: the exact method", k))
	case conditional != nil && r.homogeneous():
		return exactly(fmt.Sprintf("%d anglers have analysed fish, but the mixed model cannot be had, "+
			"and nothing shows that the anglers differ: the exact method", k))
	}
	if !n.has(WarnOneArrangement, WarnOnePosition) {
		n.add(WarnNoMethod, "the mixed model is not given, and the exact method, which takes all anglers as alike, cannot stand in: these anglers differ, or that could not be looked at")
	}
	return MixedModelProfile, fmt.Sprintf("%d anglers have analysed fish: from %d the mixed model would speak, but it is not given, and nothing speaks in its place.", k, fewAnglers+1)
}

// answerOf copies the numbers of one method out of the parts of a result. Where the method has no answer every number is null.
// For the exact method log odds and limits are ½ ln of the odds ratio and its limits, with the p that goes with the limits.
func answerOf(method Method, m *MixedModel, conditional *exact.Conditional) Headline {
	h := Headline{Method: method}
	switch {
	case method == ExactStratified && conditional != nil:
		c := conditional
		h.LogOdds, h.Low, h.High, h.P = known2(c.Estimate.Theta()), known2(c.Low.Theta()), known2(c.High.Theta()), known(c.PCentral)
		h.Share, h.ShareLow, h.ShareHigh = known(c.Estimate.Share()), known(c.Low.Share()), known(c.High.Share())
	case method == MixedModelProfile && m.speaks():
		h.LogOdds, h.Low, h.High, h.P, h.DF = m.LogOdds, m.ProfileLow, m.ProfileHigh, m.ProfileP, m.ProfileDF
		h.Share, h.ShareLow, h.ShareHigh = m.Share, orEnd(share(m.ProfileLow), 0), orEnd(share(m.ProfileHigh), 1)
		h.AverageShare, h.AverageLow, h.AverageHigh = m.AverageShare, known(m.averageLow), known(m.averageHigh)
	}
	return h
}

// orEnd returns the share, or the end of the scale where there is no limit.
func orEnd(share *float64, end float64) *float64 {
	if share == nil {
		return known(end)
	}
	return share
}

// HeadlineRow returns the row that stands for the combination, REML with modified_HK; nil where there is none.
func (c *Combined) HeadlineRow() *CombinedEstimate {
	if c == nil || c.Headline < 0 || c.Headline >= len(c.Estimates) {
		return nil
	}
	return &c.Estimates[c.Headline]
}

// TooManyHalves reports whether more than one in ten of the combined anglers needed the ½: then the combination sees far
// less spread between anglers than there is, and speaks neither for these anglers nor of another one. Whole numbers: no rounding.
func (r Result) TooManyHalves() bool {
	var k, halved int
	for _, row := range r.Anglers {
		if row.LogOdds == nil {
			continue
		}
		k++
		if row.HalfAdded {
			halved++
		}
	}
	return 10*halved > k
}

// Prevailing returns the angler who has more analysed fish than all others together, where the headline's method sees or
// allows no spread between two or more anglers: then the answer is mostly that angler's. (Where a spread is estimated the
// weights of the anglers are nearly equal.)
func (r Result) Prevailing() (Angler, bool) {
	var most Angler
	k := 0
	for _, a := range r.Anglers {
		if a.analysed() > 0 {
			k++
		}
		if a.analysed() > most.analysed() {
			most = a
		}
	}
	if k < 2 || 2*most.analysed() <= r.Counts.Analysed || r.Headline.Share == nil {
		return Angler{}, false
	}
	if m := r.MixedModel; r.Headline.Method == MixedModelProfile {
		return most, m != nil && m.SDPattern != nil && *m.SDPattern == 0
	}
	return most, true
}

func (a Angler) analysed() int64 {
	return a.TestLower.Lower + a.TestLower.Upper + a.ControlLower.Lower + a.ControlLower.Upper
}

// anglersDisagree reports whether the exact method speaks for anglers who are not of one effect, by Tarone's test at .05.
func (r Result) anglersDisagree(k int) bool {
	return k > 1 && r.Headline.Method == ExactStratified && r.Stratified != nil && r.Stratified.HomogeneityP != nil && *r.Stratified.HomogeneityP < .05
}

// homogeneous reports whether Tarone's test was made and does not tell the anglers apart at .05.
func (r Result) homogeneous() bool {
	return r.Stratified != nil && r.Stratified.HomogeneityP != nil && *r.Stratified.HomogeneityP >= .05
}

// Prediction returns the interval of shares, 0 to 1, in which another angler's own share is expected, from the
// combination's headline row; nil, nil where it cannot be told: fewer than three anglers' own answers, too many that needed the
// ½, or one angler prevailing.
func (r Result) Prediction() (low, high *float64) {
	e := r.Combined.HeadlineRow()
	if e == nil || r.TooManyHalves() {
		return nil, nil
	}
	if _, one := r.Prevailing(); one {
		return nil, nil
	}
	return share(e.PredictionLow), share(e.PredictionHigh)
}

func share(logOdds *float64) *float64 {
	if logOdds == nil {
		return nil
	}
	return known(num.Expit(*logOdds))
}
