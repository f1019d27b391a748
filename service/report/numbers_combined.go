package report

import (
	"fmt"

	"evenrig/service/analysis"
)

// combinedRow is one way of combining the anglers' own answers.
type combinedRow struct {
	What, Width, Share, Effect, P, Spread, Another string
}

func combinedRows(r analysis.Result) []combinedRow {
	c := r.Combined
	if c == nil {
		return nil
	}
	rows := make([]combinedRow, 0, len(c.Estimates))
	for _, e := range c.Estimates {
		rows = append(rows, combinedRow{
			What: sentenceCase(EstimatorName(e.Estimator)), Width: AdjustmentName(e.Adjustment),
			Share: Share100(expit(e.LogOdds), expit(e.Low), expit(e.High)), Effect: effect(e.LogOdds, e.Low, e.High, nil, nil), P: PValue(e.P),
			Spread: Number(e.Tau2, 3), Another: Interval100(expit(e.PredictionLow), expit(e.PredictionHigh)),
		})
	}
	if row := c.Conditional; row != nil {
		rows = append(rows, combinedRow{
			What: "Exact tables, no half added", Width: fmt.Sprintf("normal spread, t on %d", row.Anglers-1),
			Share: answerOf{row.LogOdds, row.Low, row.High}.text(), Effect: effect(row.LogOdds, row.Low, row.High, nil, nil), P: PValue(row.P),
			Spread: Number(row.Tau2, 3), Another: Missing,
		})
	}
	return rows
}

func combinedNotes(c *analysis.Combined) []string {
	if c == nil {
		return nil
	}
	notes := []string{
		fmt.Sprintf("Scatter between anglers: Q %s on %d degrees of freedom, p %s; %s of it (I²) is more than chance would give.",
			Number(&c.Q, 3), c.QDF, PValue(&c.QP), Percent(&c.I2)),
	}
	if interval := NumberInterval(c.Tau2Low, c.Tau2High, nil, nil, 3); interval != Missing {
		notes = append(notes, "Variance between anglers (τ²) by Q-profile: "+interval+".")
	}
	if a := c.Asymmetry; a != nil {
		notes = append(notes, fmt.Sprintf("Whether anglers known roughly answer otherwise than those known well (their answers on their standard errors): %s.", saidP(&a.P)))
	}
	if m := c.Regression; m != nil && m.Column == "fish_doubled" && m.LogOdds != nil {
		notes = append(notes, fmt.Sprintf("For twice as many fish an angler's answer changes by %s in log odds (%s; %s).",
			Number(m.LogOdds, 2), NumberInterval(m.Low, m.High, nil, nil, 2), saidP(m.P)))
	}
	if text := leftOut(c.LeftOut); text != "" {
		notes = append(notes, text)
	}
	return notes
}

// withoutRow is the combination without one angler.
type withoutRow struct{ Name, Share, Effect, Weight, Shift, Note string }

func withoutRows(c *analysis.Combined) []withoutRow {
	if c == nil {
		return nil
	}
	rows := make([]withoutRow, 0, len(c.LeaveOneOut))
	for _, l := range c.LeaveOneOut {
		row := withoutRow{
			Name: l.Angler, Share: answerOf{l.LogOdds, l.Low, l.High}.text(), Effect: effect(l.LogOdds, l.Low, l.High, nil, nil),
			Weight: OutOf100(l.Information), Shift: Number(l.Shift, 2),
		}
		if l.Influential {
			row.Note = "moves the answer by more than a quarter in log odds"
		}
		rows = append(rows, row)
	}
	return rows
}

func leftOut(k int) string {
	if k == 0 {
		return ""
	}
	return Counted(int64(k), "angler", "anglers") + " with fish one way round only left out here."
}
