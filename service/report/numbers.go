package report

import (
	"math"
	"strconv"
	"strings"

	"evenrig/service/analysis"
)

// countRow is one row of the table of counts by arrangement and position taken.
type countRow struct {
	What                    string
	Lower, Upper, All, Took string
}

func countRows(c analysis.Counts, n names) []countRow {
	row := func(what string, b analysis.ByPosition, test int64) countRow {
		return countRow{
			what, Count(b.Lower), Count(b.Upper), Count(all(b)),
			Share100(shareOf(test, all(b)), nil, nil),
		}
	}
	both := analysis.ByPosition{Lower: c.TestLower.Lower + c.ControlLower.Lower, Upper: c.TestLower.Upper + c.ControlLower.Upper}
	return []countRow{
		row(n.Test+" at the "+n.Lower, c.TestLower, c.TestLower.Lower),
		row(n.Control+" at the "+n.Lower, c.ControlLower, c.ControlLower.Upper),
		row("both ways round", both, c.TestLower.Lower+c.ControlLower.Upper),
	}
}

// methodRow is one method's answer: out of 100, as an effect on the log odds scale, its p, and in words what it is.
type methodRow struct {
	What, Share, Effect, P string
	Notes                  []string
	Speaks                 bool
}

func methodRows(r analysis.Result) []methodRow {
	var rows []methodRow
	if s := r.RawShare; s != nil {
		rows = append(rows, methodRow{
			What: "All fish as one heap", Share: Share100(&s.Estimate, &s.Low, &s.High), Effect: Missing, P: PValue(&s.P),
			Notes: []string{"Position not taken out: right only if both ways round caught as many fish."},
		})
	}
	if t := r.PooledTable; t != nil {
		rows = append(rows, methodRow{
			What: "All fish in one table, position out", Share: Share100(t.Share, t.ShareLow, t.ShareHigh),
			Effect: effect(t.LogOdds, t.Low, t.High, t.ShareLow, t.ShareHigh), P: PValue(t.P),
			Notes: []string{
				"Takes every fish as independent of the others.",
				"Exact p " + PValue(t.FisherP) + "; conditional odds ratio " + oddsRatio(t.Conditional, t.ConditionalLow, t.ConditionalHigh) + ".",
			},
		})
	}
	rows = append(rows, stratifiedRows(r)...)
	if m := r.MixedModel; m != nil {
		rows = append(rows, mixedRow(*m, r))
	}
	if e := r.Combined.HeadlineRow(); e != nil {
		rows = append(rows, methodRow{
			What: "Anglers' own answers combined", Share: Share100(expit(e.LogOdds), expit(e.Low), expit(e.High)),
			Effect: effect(e.LogOdds, e.Low, e.High, nil, nil), P: PValue(e.P),
			Notes: []string{"Spread between anglers: " + EstimatorName(e.Estimator) + "; interval: " + AdjustmentName(e.Adjustment) + ".", leftOut(r.Combined.LeftOut)},
		})
	}
	return rows
}

// speaks reports whether the answer comes from the method.
func speaks(r analysis.Result, method analysis.Method) bool {
	return r.Headline.Method == method && isShare(r.Headline.Share)
}

func stratifiedRows(r analysis.Result) []methodRow {
	s := r.Stratified
	if s == nil {
		return nil
	}
	over := "Within " + Counted(int64(s.Strata), "stratum", "strata") + ", so that no angler's or day's position effect leaks in."
	homogeneity := "Whether the strata agree: p " + PValue(s.HomogeneityP) + "."
	exact := methodRow{
		What: "Stratum by stratum, exact", Share: Share100(ratioShare(s.ExactOddsRatio, s.ExactLow), ratioShare(s.ExactLow, s.ExactLow), ratioShare(s.ExactHigh, s.ExactLow)),
		Effect: oddsRatioEffect(s.ExactOddsRatio, s.ExactLow, s.ExactHigh), P: PValue(s.ExactPCentral),
		Speaks: speaks(r, analysis.ExactStratified),
		Notes:  []string{"Right however few the fish are. Odds ratio " + oddsRatio(s.ExactOddsRatio, s.ExactLow, s.ExactHigh) + "; p by minimum likelihood " + PValue(s.ExactP) + "."},
	}
	if h := r.Headline; exact.Speaks && !lookedAt(r) {
		exact.Share = Share100(h.Share, h.ShareLow, h.ShareHigh)
		exact.Effect, exact.P = effect(h.LogOdds, h.Low, h.High, h.ShareLow, h.ShareHigh), PValue(h.P)
	}
	return []methodRow{
		{
			What: "Stratum by stratum", Share: Share100(ratioShare(s.OddsRatio, s.OddsRatio), ratioShare(s.Low, s.OddsRatio), ratioShare(s.High, s.OddsRatio)),
			Effect: oddsRatioEffect(s.OddsRatio, s.Low, s.High), P: PValue(s.P), Notes: []string{over, homogeneity},
		},
		exact,
	}
}

// effect is θ with its interval; an estimate that is infinite is said so.
func effect(logOdds, low, high, shareLow, shareHigh *float64) string {
	estimate, interval := Number(logOdds, 3), NumberInterval(low, high, shareLow, shareHigh, 3)
	switch {
	case estimate == Missing && interval == Missing:
		return Missing
	case estimate == Missing:
		return "without bound (" + interval + ")"
	case interval == Missing:
		return estimate
	default:
		return estimate + " (" + interval + ")"
	}
}

// Odds ratios are exp(2θ). One that is nil beside a finite lower limit is infinite.

func ratioShare(ratio, low *float64) *float64 {
	if ratio == nil {
		if low == nil {
			return nil
		}
		one := 1.0
		return &one
	}
	root := math.Sqrt(*ratio)
	share := root / (1 + root)
	return &share
}

func oddsRatioEffect(ratio, low, high *float64) string {
	if ratio == nil && low == nil {
		return Missing
	}
	return effect(halfLog(ratio), halfLog(low), halfLog(high), ratioShare(low, low), ratioShare(high, low))
}

func halfLog(ratio *float64) *float64 {
	if ratio == nil || *ratio <= 0 {
		return nil
	}
	theta := math.Log(*ratio) / 2
	return &theta
}

func oddsRatio(ratio, low, high *float64) string {
	switch {
	case low == nil && ratio == nil:
		return Missing
	case ratio == nil:
		return "without bound (" + ratioNumber(low) + " to no upper bound)"
	case low == nil:
		return ratioNumber(ratio)
	case high == nil:
		return ratioNumber(ratio) + " (" + ratioNumber(low) + " to no upper bound)"
	default:
		return ratioNumber(ratio) + " (" + ratioNumber(low) + " to " + ratioNumber(high) + ")"
	}
}

// ratioNumber shows an odds ratio to three figures or two decimals, whichever is finer.
func ratioNumber(x *float64) string {
	if x != nil && *x > 0 && *x < .1 {
		return strconv.FormatFloat(*x, 'g', 3, 64)
	}
	return Number(x, 2)
}

// sentenceCase gives text a capital and no full stop.
func sentenceCase(text string) string { return strings.TrimSuffix(sentence(text), ".") }
