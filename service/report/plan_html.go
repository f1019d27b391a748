package report

import (
	"bytes"
	"fmt"
	"html/template"
	"io"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// planPage is what the templates of a plan show: every number already in words.
type planPage struct {
	Style                   template.CSS // our own file, trusted
	Policy, Title           string
	Heading, Sentence       string
	More, Warnings, Formula []string
	Share, Chance, FishEach string
	Equal, ByShare          *graph
	EqualRows, ShareRows    [][2]string
	Teams                   teamTable
	Prices                  []priceRow
	Swaps                   []swapRow
	Played                  []playedRow
	Seasons                 string
	Granted                 []fact
	Care                    string
	Cautions                []trial.Caution
	Program                 string
}

// PlanHTML writes a plan as one file that needs nothing else, like HTML: the same plan gives the same bytes, under the
// same ContentPolicy. Errors come from w only.
func PlanHTML(w io.Writer, a analysis.SizeAnswer, programVersion string) error {
	return planTemplate(w, "plan.tmpl", newPlanPage(a, programVersion))
}

// PlanCurve writes the line of equal power, or where there is none the team's chance against the true share, as an SVG file of
// its own, light and dark, with a text alternative. Errors come from w only.
func PlanCurve(w io.Writer, a analysis.SizeAnswer) error {
	p := newPlanPage(a, "")
	p.Style += ".report .paper { fill: var(--paper); } .report.fig { width: 720px; max-width: 100%; font-family: system-ui, sans-serif; }"
	return planTemplate(w, "plan-curve.tmpl", p)
}

func planTemplate(w io.Writer, name string, p planPage) error {
	var b bytes.Buffer
	if err := templates.ExecuteTemplate(&b, name, p); err != nil {
		return fmt.Errorf("write the plan: %w", err)
	}
	_, err := b.WriteTo(w)
	return err
}

func newPlanPage(a analysis.SizeAnswer, programVersion string) planPage {
	q := a.Question
	p := planPage{
		Style: template.CSS(style), Policy: ContentPolicy, Title: planHeading, Heading: planHeading, Sentence: planSentence(a), More: planMore(a), Formula: planFormula(a),
		Share: hundred(q.SmallestShare), Chance: hundred(q.Power), FishEach: catchOf(q.FishEach),
		Equal: equalGraph(a), ByShare: shareGraph(a), Teams: teamGrid(a), Prices: priceRows(a), Swaps: swapRows(a), Played: playedRows(a),
		Granted: planGranted(a), Care: planCare, Cautions: trial.Cautions(usualCautionC, usualStopC), Program: programVersion,
	}
	for _, w := range a.Warnings {
		p.Warnings = append(p.Warnings, sentence(w.Detail))
	}
	for _, e := range a.EqualPower {
		row := [2]string{Count(int64(e.Anglers)), Missing}
		if e.FishEach != nil {
			row[1] = Count(int64(*e.FishEach))
		}
		p.EqualRows = append(p.EqualRows, row)
	}
	for _, s := range a.ByShare {
		p.ShareRows = append(p.ShareRows, [2]string{hundred(s.Share), chance(s.Power)})
	}
	if a.Played != nil {
		p.Seasons = Count(int64(a.Played.Seasons))
	}
	return p
}
