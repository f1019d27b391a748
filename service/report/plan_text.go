package report

import (
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// PlanText writes a plan as a page for a terminal, in UTF-8 and at most 78 columns wide: the answer in one paragraph, what
// must be known before a number is read, teams beside each other, the price of smaller differences, what the swap rule
// leaves, the seasons played, what was taken for granted, and the usual cautions. Errors come from w only.
func PlanText(w io.Writer, a analysis.SizeAnswer, programVersion string) error {
	var t textPage
	t.line(planHeading)
	t.section("The answer")
	t.wrap("  ", planSentence(a))
	t.line("")
	for _, s := range planMore(a) {
		t.wrap("  · ", s)
	}
	var warnings []string
	for _, w := range a.Warnings {
		warnings = append(warnings, sentence(w.Detail))
	}
	t.list("Before you read a number", warnings)
	t.section("More anglers, or more fish each?")
	t.teams(a)
	t.section("What a smaller difference costs")
	t.prices(a)
	t.section("What the swap leaves in finished rounds")
	t.swapRules(a)
	if rows := playedRows(a); rows != nil {
		t.section("Seasons played by chance, of 100")
		t.line("  " + pad("", 34) + padLeft(hundred(a.Question.SmallestShare)+" of 100", 18) + padLeft("flies alike", 18))
		for _, row := range rows {
			t.line("  " + pad(row.What, 34) + padLeft(row.Share, 18) + padLeft(row.Alike, 18))
		}
	}
	t.section("What was taken for granted")
	for _, f := range planGranted(a) {
		t.wrap("  "+pad(f.What, 34)+"  ", f.Value)
	}
	t.line("")
	for _, s := range planFormula(a) {
		t.wrap("  · ", s)
	}
	var cautions []string
	for _, c := range trial.Cautions(usualCautionC, usualStopC) {
		cautions = append(cautions, c.Topic+": "+c.Text)
	}
	t.list("On the water", append([]string{planCare}, cautions...))
	t.line("")
	t.line("  Worked out by evenrig " + programVersion + ".")
	_, err := t.b.WriteTo(w)
	return err
}

// planCare is said wherever numbers of fish are planned.
const planCare = "Every fish planned is a fish handled: plan for no more than the question needs, and stop where the rule sheet says so."

// teams are the chances of a table of anglers by fish each.
func (t *textPage) teams(a analysis.SizeAnswer) {
	q := a.Question
	t.wrap("  ", "Seasons of 100 that would see "+hundred(q.SmallestShare)+" of 100, worked out; in brackets if all anglers were alike. "+
		"A ● stands where it is "+hundred(q.Power)+" or more; your own team stands between › ‹.")
	t.line("")
	grid := teamGrid(a)
	head := "  " + pad("anglers", 10)
	for i, m := range grid.Fish {
		text := catchOf(m)
		if i == 0 {
			text += " fish each"
		}
		head += padLeft(text, 16)
	}
	t.line(head)
	for _, row := range grid.Rows {
		line := "  " + padLeft(Count(int64(row.Anglers)), 7) + "   "
		for _, cell := range row.Cells {
			mark := "  "
			if cell.Enough {
				mark = "● "
			}
			text := mark + cell.Chance + " (" + cell.Alike + ")"
			if cell.Own {
				text = "› " + text + " ‹"
			} else {
				text += "  "
			}
			line += padLeft(text, 16)
		}
		t.line(line)
	}
}

// teamTable is the table of teams: a row for every number of anglers, a column for every number of fish each.
type teamTable struct {
	Fish []float64
	Rows []teamRow
}

type teamRow struct {
	Anglers int
	Cells   []teamCell
}

type teamCell struct {
	Chance, Alike string
	Enough, Own   bool
}

func teamGrid(a analysis.SizeAnswer) teamTable {
	var g teamTable
	for _, team := range a.Teams {
		if !slices.Contains(g.Fish, team.FishEach) {
			g.Fish = append(g.Fish, team.FishEach)
		}
		if n := len(g.Rows); n == 0 || g.Rows[n-1].Anglers != team.Anglers {
			g.Rows = append(g.Rows, teamRow{Anglers: team.Anglers})
		}
		row := &g.Rows[len(g.Rows)-1]
		row.Cells = append(row.Cells, teamCell{
			briefly(team.Power), briefly(team.PowerAlike), team.Power >= a.Question.Power,
			team.Anglers == a.Question.Anglers && team.FishEach == a.Question.FishEach,
		})
	}
	return g
}

// briefly is a chance for a narrow cell.
func briefly(x float64) string {
	if x >= .995 && x < 1 {
		return ">99"
	}
	return chance(x)
}

// priceRow is what one share costs.
type priceRow struct {
	Share, Alike, Anglers, Fish, Outings string
	Own                                  bool
}

func priceRows(a analysis.SizeAnswer) []priceRow {
	var rows []priceRow
	for _, s := range a.Shares {
		row := priceRow{
			Share: hundred(s.Share) + " of 100", Alike: Count(int64(s.Alike)), Anglers: Missing, Fish: Missing, Outings: Missing,
			Own: s.Share == a.Question.SmallestShare,
		}
		if s.Team != nil {
			row.Anglers, row.Fish, row.Outings = Count(int64(s.Team.Anglers)), Count(int64(s.Team.Fish)), Count(int64(s.Team.Outings))
		}
		rows = append(rows, row)
	}
	return rows
}

func (t *textPage) prices(a analysis.SizeAnswer) {
	t.line("  " + pad("to see", 14) + padLeft("fish analysed,", 16) + padLeft("anglers with", 16) + padLeft("fish", 12) + padLeft("outings", 12))
	t.line("  " + pad("", 14) + padLeft("anglers alike", 16) + padLeft(catchOf(a.Question.FishEach)+" fish each", 16) + padLeft("in all", 12) + padLeft("in all", 12))
	missing := false
	for _, row := range priceRows(a) {
		t.line("  " + pad(row.Share, 14) + padLeft(row.Alike, 16) + padLeft(row.Anglers, 16) + padLeft(row.Fish, 12) + padLeft(row.Outings, 12))
		missing = missing || row.Anglers == Missing
	}
	if missing {
		t.line("")
		t.line("  " + Missing + "  no number of anglers is enough.")
	}
}

// swapRow is what one swap rule leaves.
type swapRow struct {
	Rule, Finished, Swapped, Rounds string
	Own                             bool
}

func swapRows(a analysis.SizeAnswer) []swapRow {
	var rows []swapRow
	for i, s := range a.Swaps {
		rows = append(rows, swapRow{plannedSwap(s.Rule), chance(s.Finished), chance(s.Swapped), Number(&s.Blocks, 1), i == 0})
	}
	return rows
}

func (t *textPage) swapRules(a analysis.SizeAnswer) {
	rows := swapRows(a)
	wide := 20
	for _, row := range rows {
		wide = max(wide, utf8.RuneCountInString(row.Rule)+4)
	}
	t.line("  " + pad("swap", wide) + padLeft("fish in finished", 17) + padLeft("outings that", 13) + padLeft("rounds an", 10))
	t.line("  " + strings.Repeat(" ", wide) + padLeft("rounds, of 100", 17) + padLeft("swap, of 100", 13) + padLeft("outing", 10))
	for _, row := range rows {
		mark := "  "
		if row.Own {
			mark = "› "
		}
		t.line("  " + pad(mark+row.Rule, wide) + padLeft(row.Finished, 17) + padLeft(row.Swapped, 13) + padLeft(row.Rounds, 10))
	}
}
