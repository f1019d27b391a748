package report

import (
	"fmt"

	"evenrig/service/analysis"
)

// subgroupFigure compares groups of fish: the columns named beforehand, or those that were only looked through. Columns and
// levels keep the order of the result, which is never that of the effect.
func subgroupFigure(r analysis.Result, n names, named bool) *rowsFigure {
	id, title := "groups", "Groups of fish that were named beforehand"
	if !named {
		id, title = "looked", "Groups of fish that were only looked through"
	}
	f := newRows(id, title, r, n)
	var by []string
	for _, g := range r.Subgroups {
		if g.Named != named {
			continue
		}
		by = append(by, ColumnName(g.Column))
		f.head("by "+ColumnName(g.Column), false)
		for _, l := range g.Levels {
			f.over(levelName(l.Level), l.Catches, answerOf{l.LogOdds, l.Low, l.High}, "")
			row := &f.Table[len(f.Table)-1]
			row.What = ColumnName(g.Column) + ": " + row.What
			row.Note = OutOf100(&l.LowerShare.Estimate) + " (" + Interval100(&l.LowerShare.Low, &l.LowerShare.High) + ")"
		}
	}
	if len(f.Rows) == 0 {
		return nil
	}
	return f.close(fmt.Sprintf("%s, by %s, each drawn towards the mean of the groups beside it by as much as its few fish ask for.",
		Counted(int64(len(f.Rows)), "group of fish", "groups of fish"), listed(by)))
}

func levelName(level string) string {
	switch level {
	case "unknown":
		return "not recorded"
	case "other levels":
		return "small groups together"
	default:
		return spaced(level)
	}
}

// groupTest says of one column whether its groups differ.
type groupTest struct{ What, Text string }

func groupTests(r analysis.Result, named bool) []groupTest {
	var list []groupTest
	for _, g := range r.Subgroups {
		if g.Named != named {
			continue
		}
		t := groupTest{What: sentenceCase(ColumnName(g.Column))}
		switch {
		case g.P != nil && g.AdjustedP != nil && *g.AdjustedP != *g.P:
			t.Text = fmt.Sprintf("whether these groups differ, %s; allowing for how many comparisons there are, %s (%s)", saidP(g.P), saidP(g.AdjustedP), CorrectionName(g.Correction))
		case g.P != nil:
			t.Text = "whether these groups differ, " + saidP(g.P)
		case g.Reason != "":
			t.Text = "not tested: " + g.Reason
		default:
			t.Text = "not tested"
		}
		if g.Tau2 != nil && *g.Tau2 == 0 {
			t.Text += "; no spread between the groups can be seen, so that all are drawn to one answer"
		}
		for _, l := range g.Levels {
			if len(l.Joined) > 0 {
				t.Text += "; small groups together: " + listed(spacedAll(l.Joined))
			}
		}
		list = append(list, t)
	}
	return list
}

func spacedAll(codes []string) []string {
	words := make([]string, len(codes))
	for i, c := range codes {
		words[i] = spaced(c)
	}
	return words
}

// groupCaveat stands before any group is shown, with what the analysis warns of.
func groupCaveat(r analysis.Result) string {
	s := "Before you look at groups: of many that are looked through one will stand out by chance alone, and groups that were not told apart need not be alike."
	for _, w := range r.Warnings {
		if w.Code == analysis.WarnSubgroupPower {
			s += " " + sentence(w.Detail)
		}
	}
	return s
}

// positionRow is the pull of the position in one level of what was recorded.
type positionRow struct{ Column, Level, Fish, Share, P string }

// positionRows compares the position effect between waters and ways of fishing: what the lower fly would get of 100 fish were the
// patterns alike.
func positionRows(r analysis.Result) []positionRow {
	var rows []positionRow
	for _, by := range r.PositionBy {
		for i, l := range by.Levels {
			row := positionRow{Level: levelName(l.Level), Fish: Count(l.Catches), Share: answerOf{l.LogOdds, l.Low, l.High}.text()}
			if i == 0 {
				row.Column, row.P = sentenceCase(ColumnName(by.Column)), PValue(by.P)
			}
			rows = append(rows, row)
		}
	}
	return rows
}
