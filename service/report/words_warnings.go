package report

import "evenrig/service/analysis"

// warningWord is what a warning is about, in a few plain words, and whether it says what these records cannot show
// rather than what to know before reading a number.
type warningWord struct {
	About  string
	Cannot bool
}

var warningWords = map[string]warningWord{
	analysis.WarnNoCatches:      {"No fish to analyse", false},
	analysis.WarnOneArrangement: {"Fished one way round only", false},
	analysis.WarnOnePosition:    {"One position took every fish", false},
	analysis.WarnOneAngler:      {"One angler", false},
	analysis.WarnFewAnglers:     {"Few anglers", false},
	analysis.WarnPrevailing:     {"Mostly one angler's fish", false},
	analysis.WarnAnglersDiffer:  {"These anglers do not agree", false},
	analysis.WarnOneStratum:     {"No rounds to compare within", false},
	analysis.WarnNoInformation:  {"Nothing to compare within an angler's fish", false},
	analysis.WarnZeroCell:       {"A count of zero", false},
	analysis.WarnUnbounded:      {"No bound to one side", false},
	analysis.WarnHalfAdded:      {"A half added to small counts", false},
	analysis.WarnLeftOut:        {"Anglers left out of the combination", false},
	analysis.WarnSingular:       {"No spread seen", false},
	analysis.WarnSeparation:     {"Too one-sided for the model", false},
	analysis.WarnNoMaximum:      {"Too few fish for the model", false},
	analysis.WarnNotConverged:   {"The model's search did not end", false},
	analysis.WarnNotIdentified:  {"The model cannot tell its terms apart", false},
	analysis.WarnNoMethod:       {"No method gives an answer", false},
	analysis.WarnOutingsLeftOut: {"Days are not in the model", false},
	analysis.WarnMethodsDiffer:  {"Two ways of counting differ", false},
	analysis.WarnInfluential:    {"The answer leans on few anglers", false},
	analysis.WarnSubgroupPower:  {"Groups of fish are hard to tell apart", false},
	analysis.WarnOrderInBlocks:  {"Second halves were not like first ones", false},

	analysis.WarnNotCombined:   {"The anglers' own answers combined", true},
	analysis.WarnNoHomogeneity: {"Whether the strata agree", true},
	analysis.WarnNoDraw:        {"The draw", true},
	analysis.WarnNoContrast:    {"The draw", true},
	analysis.WarnCasesUnknown:  {"Some other choices of fish", true},
	analysis.WarnNoHalves:      {"First and second halves", true},
	analysis.WarnNoWeeks:       {"Change with time", true},
	analysis.WarnNoColumns:     {"Groups of fish", true},
	analysis.WarnNoEvidence:    {"Evidence while the trial runs", true},
	analysis.WarnManyAnglers:   {"Many anglers, shorter ways", true},
	analysis.WarnPartRefused:   {"A part that these fish cannot carry", true},
}

// notice is one warning as it is read: what it is about, and the sentence.
type notice struct{ About, Text string }

// notices sorts the warnings: what to know before reading a number, and what these records cannot show. One whose code is
// unknown stands among the first, under its own sentence alone; that on groups of fish stands with these.
func notices(r analysis.Result) (before, cannot []notice) {
	for _, w := range r.Warnings {
		if w.Code == analysis.WarnSubgroupPower && len(r.Subgroups) > 0 {
			continue
		}
		word := warningWords[w.Code]
		said := notice{word.About, sentence(w.Detail)}
		if w.Detail == "" {
			said.Text = sentence(spaced(w.Code))
		}
		if word.Cannot {
			cannot = append(cannot, said)
		} else {
			before = append(before, said)
		}
	}
	return before, cannot
}
