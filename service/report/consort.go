package report

import (
	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// consortItem is one item of the CONSORT 2025 checklist, in our own words, and where it stands; an empty Where is not reported.
type consortItem struct{ N, What, Where string }

// consort goes through the 30 items of CONSORT 2025 (Hopewell et al. 2025, PLoS Medicine 22(4):e1004587), whose numbers and
// sub-items stand as printed there. A fish takes the place of the participant's outcome, a half that of the group: anglers fish both
// ways round, as in the extensions for crossover (Dwan et al. 2019, BMJ 366:l4378) and within-person trials (Pandis et al. 2017, BMJ 357:j2835).
func consort(r analysis.Result, about About) []consortItem {
	p, drawn := about.Protocol, r.Settings.Source == trial.Drawn
	if p == nil {
		p = &trial.Protocol{}
	}
	when := func(is bool, where string) string {
		if is {
			return where
		}
		return ""
	}
	sheet := about.Protocol != nil
	registered := false
	for _, d := range about.Dates {
		registered = registered || d.What == "registered" || d.What == "Registered"
	}
	return []consortItem{
		{"1a", "named as a randomised trial", when(drawn, "under the title")},
		{"1b", "a summary", "the answer and “How sure is that?”; the one-page summary"},
		{"2", "where and when it was registered", when(registered, "“About this report”: day and check codes")},
		{"3", "where rule sheet and plan of analysis are", when(sheet, "“About this report”: fingerprint of the rule sheet; in the data package")},
		{"4", "data, dictionary and program", when(about.Checkpoint != "", "“About this report”; in the data package once it is published")},
		{"5a", "who paid, and who gave flies", when(about.Funding != "", about.Funding)},
		{"5b", "who gains from a result", when(about.Conflicts != "", about.Conflicts)},
		{"6", "why it was asked", ""},
		{"7", "the question, for benefit and harm", when(sheet, "the heading; what would be worth knowing, under “How sure is that?”; “Harm to fish”")},
		{"8", "the part of those whom it concerns", when(sheet, "the club asked, fished and decided; its anglers are the participants")},
		{"9", "kind of trial, share of each order, aim", when(drawn, "under the title; “How it was fished”; two-sided, each order as often as the other")},
		{"10", "changes after it began", when(sheet, "“Changes to the rules”; none if there are none")},
		{"11", "where it was done", when(len(p.Waters) > 0, "“How it was fished”: kinds of water only, so that no spot is given away")},
		{"12a", "who could take part, which fish count", when(sheet, "“What exactly was estimated”; “How it was fished”")},
		{"12b", "who could tie, type and help", when(len(about.Flies) > 0 || about.Helpers != Helpers{}, "“Who could still have cheated?”")},
		{"13", "the two flies, so that they can be tied again", when(p.FeatureChanged != "", "“How it was fished”")},
		{"14", "what was counted and how", "“What exactly was estimated”"},
		{"15", "what counts as harm, and how it was asked", when(r.Harms != nil && r.Harms.Noted, "“Harm to fish”")},
		{"16a", "how its size was set", when(sheet && p.MaxFish > 0, "the rule sheet: most fish, share worth knowing, chance of seeing it; the plan")},
		{"16b", "planned counts and when to stop", when(r.Monitoring != nil, "“As the trial went”; “Settings”")},
		{"17a", "who made the random order, and how", when(drawn, "“The draw”")},
		{"17b", "kind of draw, and its groups", when(drawn && sheet, "“The draw”; the rule sheet")},
		{"18", "how the next order was hidden", when(drawn, "“The draw”")},
		{"19", "whether those who enrol could know it", when(drawn, "“The draw”; “Who could still have cheated?”")},
		{"20a", "who did not know which fly is which", "“The draw”: the fish; nobody else"},
		{"20b", "how, and how like the flies are", when(p.FeatureChanged != "", "“How it was fished”: one feature changed")},
		{"21a", "how the flies were compared", "“How it was worked out”"},
		{"21b", "which fish are in which count", "“From anglers to analysed fish”; “Does it hang on which fish are counted?”"},
		{"21c", "what was done about what is missing", "“What exactly was estimated”; the rows of not-sure and not-logged fish"},
		{"21d", "further analyses, named beforehand or not", when(len(r.Subgroups) > 0, "“Groups of fish”")},
		{"22a", "how many came to where", "“From anglers to analysed fish”"},
		{"22b", "what was lost, and why", "“From anglers to analysed fish”"},
		{"23a", "from when to when", when(len(about.Dates) > 1, "“About this report”")},
		{"23b", "why it ended", when(r.Monitoring != nil || p.SeasonEnd != "", "“As the trial went”; the rule sheet's end")},
		{"24a", "what was really fished", when(drawn, "“Was it fished as planned?”; as fished beside as drawn")},
		{"24b", "what else could sway a fish", when(p.Rig.SpacingCM > 0, "“How it was fished”: alike for both flies, which hang on one line")},
		{"25", "what the anglers were like", when(len(r.Anglers) > 0, "“Angler by angler”: fish each; nothing else of them is asked")},
		{"26", "numbers, answers, intervals, of 100 and as odds", "“The numbers”"},
		{"27", "harm", when(r.Harms != nil, "“Harm to fish”")},
		{"28", "answers to further questions", when(len(r.Sensitivity) > 1, "“Does it hang on which fish are counted?”; “Did it change with the weeks?”; “Groups of fish”")},
		{"29", "what it means", "the answer; “What it does not show”"},
		{"30", "what speaks against it", "“What it does not show”; “Who could still have cheated?”"},
	}
}
