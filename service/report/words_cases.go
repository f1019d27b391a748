package report

import (
	"strings"

	"evenrig/service/analysis"
)

// CaseName says which fish a row of the sensitivity analysis takes; of is the angler or the level that it is about.
func CaseName(c analysis.Case, of string, n names) string {
	words, ok := caseNames[c]
	if !ok {
		words = spaced(string(c))
		if of != "" {
			words += " {of}"
		}
	}
	return strings.NewReplacer("{of}", of, "{test}", n.Test, "{control}", n.Control).Replace(words)
}

// caseNames are short, so that they stand above their rows on a phone too.
var caseNames = map[analysis.Case]string{
	analysis.CaseMain:              "the main answer",
	analysis.CaseNotSureTest:       "not sure: all took {test}",
	analysis.CaseNotSureControl:    "not sure: all took {control}",
	analysis.CaseWithLost:          "with fish that came off",
	analysis.CaseWithFoulHooked:    "with foul-hooked fish",
	analysis.CaseWithSwapping:      "with fish caught while swapping",
	analysis.CaseWithDoubles:       "with two fish at once",
	analysis.CaseWithDisputed:      "with disputed fish",
	analysis.CaseWithoutLate:       "without fish noted late",
	analysis.CaseFinishedBlocks:    "finished rounds only",
	analysis.CaseWithoutOpenedLate: "without outings opened late",
	analysis.CaseWithoutDeviations: "without halves not as planned",
	analysis.CaseAsAllocated:       "the way round as it was drawn",
	analysis.CaseNotLoggedTest:     "not logged: all took {test}",
	analysis.CaseNotLoggedControl:  "not logged: all took {control}",
	analysis.CaseWithoutLeft:       "without anglers who left",
	analysis.CaseErasedTest:        "erased: all had taken {test}",
	analysis.CaseErasedControl:     "erased: all had taken {control}",
	analysis.CaseWithoutAngler:     "without {of}",
	analysis.CaseOnlyFly:           "only the dressing {of}",
	analysis.CaseOnlyTyer:          "only flies tied by {of}",
	analysis.CaseOnlyBelief:        "belief beforehand: {of}",
}

// ColumnName says what a recorded column tells of a fish.
func ColumnName(column string) string {
	if words, ok := columnNames[column]; ok {
		return words
	}
	return spaced(column)
}

var columnNames = map[string]string{
	"species": "species", "origin": "wild or stocked", "water_type": "kind of water", "fly": "dressing that carries the change", "month": "month",
	"presentation": "how the flies were fished",
}

// PartName names a third of the trial.
func PartName(label string) string {
	switch label {
	case "first", "second", "last":
		return label + " third of the trial"
	default:
		return spaced(label)
	}
}

// CorrectionName says how p was adjusted for how many columns were compared.
func CorrectionName(c analysis.Correction) string {
	switch c {
	case analysis.ByHolm:
		return "Holm 1979"
	case analysis.ByBH:
		return "Benjamini and Hochberg 1995"
	default:
		return spaced(string(c))
	}
}
