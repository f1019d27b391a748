package report

import "evenrig/service/analysis"

// PlanBrief is a plan in a few sentences and two small tables, for a page that shows it beside the rule sheet it is of.
type PlanBrief struct {
	Sentence       string
	More, Warnings []string
	Share, Chance  string // what was asked for, of 100
	Teams          teamTable
	Swaps          []swapRow
	Granted        []fact
	Care           string
	Played         int // seasons played by chance beside the formula
}

// NewPlanBrief returns the plan's answer in words.
func NewPlanBrief(a analysis.SizeAnswer) PlanBrief {
	b := PlanBrief{
		Sentence: planSentence(a), More: planMore(a), Share: hundred(a.Question.SmallestShare), Chance: hundred(a.Question.Power), Teams: teamGrid(a), Swaps: swapRows(a),
		Granted: planGranted(a), Care: planCare,
	}
	if a.Played != nil {
		b.Played = a.Played.Seasons
	}
	for _, w := range a.Warnings {
		b.Warnings = append(b.Warnings, sentence(w.Detail))
	}
	return b
}
