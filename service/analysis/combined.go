package analysis

import (
	"errors"
	"fmt"
	"math"

	"evenrig/stats/glmm"
	"evenrig/stats/meta"
)

// anglerRows returns one row an angler, and the effects that can be combined with the labels of their anglers. fit may be
// nil: then nothing is shrunk.
func anglerRows(d dataset, fit *glmm.TrialResult, n *notes) (rows []Angler, effects []meta.Effect, labels []string, err error) {
	shrunk := map[int]glmm.AnglerEffect{}
	if fit != nil {
		for _, effect := range fit.Anglers {
			shrunk[effect.Group] = effect
		}
	}
	rows = []Angler{}
	var halved, left []string
	for i, a := range d.anglers {
		row := Angler{Angler: a.label, TestLower: testLower(a.table), ControlLower: controlLower(a.table)}
		switch effect, half, err := meta.AnglerEffect(a.table); {
		case errors.Is(err, meta.ErrEmptyArrangement):
			if a.table.Total() > 0 {
				left = append(left, a.label)
			}
		case err != nil:
			return nil, nil, nil, fmt.Errorf("angler %q: %w", a.label, err)
		default:
			row.LogOdds, row.StdError, row.HalfAdded = known(effect.Y), known(math.Sqrt(effect.V)), half
			effects, labels = append(effects, effect), append(labels, a.label)
			if half {
				halved = append(halved, a.label)
			}
		}
		if s, ok := shrunk[i]; ok {
			row.ShrunkLogOdds, row.ShrunkStdError = known(s.LogOdds), known(s.LogOddsSE)
		}
		rows = append(rows, row)
	}
	if len(halved) > 0 {
		n.add(WarnHalfAdded, "a count of %s is zero: for their own answers, and only there, ½ was added to all four counts (Haldane 1956)", listed(halved))
	}
	if len(left) > 0 {
		n.add(WarnLeftOut, "left out of the combination, and kept everywhere else, for having analysed fish one way round only: %s", listed(left))
	}
	return rows, effects, labels, nil
}

// ways are the rows of the combination in the order in which they stand in the result.
func ways() []CombinedEstimate {
	rows := []CombinedEstimate{{Estimator: CommonEffect, Adjustment: Unadjusted}}
	for _, estimator := range []Estimator{DL, PM, REML, ML} {
		for _, adjustment := range []Adjustment{Unadjusted, HK, ModifiedHK} {
			rows = append(rows, CombinedEstimate{Estimator: estimator, Adjustment: adjustment})
		}
	}
	return rows
}

// combined pools the anglers' own answers; nil unless there are two. left is the number of anglers left out.
func combined(effects []meta.Effect, labels []string, left int, level float64, n *notes) (*Combined, error) {
	if len(effects) < 2 {
		if len(effects)+left > 1 {
			n.add(WarnNotCombined, "the anglers' own answers are not combined: fewer than two anglers have analysed fish both ways round")
		}
		return nil, nil
	}
	h, err := meta.MeasureHeterogeneity(effects, level)
	if err != nil {
		return nil, fmt.Errorf("combined: %w", err)
	}
	c := Combined{
		Estimates: ways(), Q: h.Q, QDF: h.DF, QP: h.P, I2: h.I2, Tau2Low: known(h.Tau2Low), Tau2High: known(h.Tau2High),
		LeftOut: left, LeaveOneOut: []LeftOneOut{},
	}
	for i := range c.Estimates {
		e := &c.Estimates[i]
		row, err := meta.Pool(effects, meta.Estimator(e.Estimator), meta.Adjustment(e.Adjustment), level)
		if err != nil {
			return nil, fmt.Errorf("combined, %s with %s: %w", e.Estimator, e.Adjustment, err)
		}
		e.LogOdds, e.StdError, e.Low, e.High, e.P, e.Tau2 = known(row.Mu), known(row.StdErr), known(row.Low), known(row.High), known(row.P), known(row.Tau2)
		if row.HasPrediction {
			e.PredictionLow, e.PredictionHigh = known(row.PredictionLow), known(row.PredictionHigh)
		}
		if e.Estimator == REML && e.Adjustment == ModifiedHK {
			c.Headline = i
		}
	}
	return &c, nil
}
