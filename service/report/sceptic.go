package report

import (
	"cmp"
	"fmt"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// estimand says what exactly was estimated, by the five attributes of ICH E9(R1) 2019.
func estimand(r analysis.Result, about About, n names) []fact {
	whose := "Anglers like those of this trial"
	if landing(r.Anglers) == 1 {
		whose = "This one angler"
	}
	species := "the species of the trial"
	if p := about.Protocol; p != nil && len(p.Species) > 0 {
		species = listed(p.Species)
		if p.MinLengthMM > 0 {
			species += fmt.Sprintf(", %d mm or longer", p.MinLengthMM)
		}
	}
	number := "The share, out of 100, of a typical angler with the position effect taken out"
	if share, _, _ := answer(r.Headline); share != nil && share == r.Headline.AverageShare {
		number = "The share, out of 100, averaged over anglers, outings and both ways round"
	}
	happened := "A wrong fly, a missed swap or another spacing does not take a fish out: it is counted the way round that was fished, and beside that the way round that was drawn. " +
		"An angler who stops keeps the fish caught until then; one whose records were erased has none. Fish of which nobody is sure, and fish not logged, are not guessed; what they could change is shown."
	if r.Settings.Source != trial.Drawn {
		happened = "What the table marks as not to be analysed is left out and counted. What it does not tell, for instance fish that were not logged, cannot be looked at."
	}
	return []fact{
		{"Whose fish", whose + ", and the fish that such anglers land: " + species + ", fairly hooked."},
		{"Compared", sentence(fmt.Sprintf("%s with %s, both in the water on one line, each at the %s half the time", n.Test, n.Control, n.Lower))},
		{"Counted", "Which of the two a landed fish took. Not how many fish there are, nor how many more are caught."},
		{"What came between", happened},
		{"The number", number + ": 50 if neither is taken more."},
	}
}

// doubt is one way in which somebody could still have cheated, or been misled: who and how, what would show it, and what this
// trial's own record says, empty where it has no number.
type doubt struct{ Who, How, Shows, Record string }

// doubts are what a sceptic should still ask, with the record's answer where it has one.
func doubts(r analysis.Result, about About, n names) []doubt {
	drawn := r.Settings.Source == trial.Drawn
	e := about.Effort
	if e == nil {
		e = &trial.Effort{}
	}
	list := []doubt{
		{
			"An angler who knows which fly is which", "logs the fish of the fly believed in and forgets others, or ends a half while it does well",
			"halves that the rule did not end; the closing question on fish not logged; the answer with all of those on one fly and on the other; blank outings",
			anglerRecord(r, e),
		},
		{
			"An angler who would rather fish the other way round", "rigs it so and logs it so, or does not swap",
			"the answer as it was fished beside the answer as it was drawn: a choice made at the water moves the one and not the other", otherWayRecord(r),
		},
		{
			"Whoever tied the flies", "ties one of the two with more care, on a better hook, or with another weight",
			"several numbered flies of one batch, looked over by somebody else; the answer by tyer", tyerRecord(r, about),
		},
		{
			"Whoever types paper cards", "types another fly, or leaves a card out",
			"the card itself, numbered beforehand; the role of who typed it stands with every fish", typistRecord(about),
		},
	}
	if drawn {
		list = append(list,
			doubt{
				"Whoever printed the slips, or holds one to the light", "knows the next order and picks the outing for it",
				"slips opened out of order or never fished; the split without the rounds from slips", slipRecord(about),
			},
			doubt{
				"Whoever runs the server", "looks ahead in the draw, or tries seeds until one pleases",
				"the commitment, made before anybody joined, the members' words and the anglers' own codes: the draw can be recomputed and not chosen; looking ahead leaves no trace", serverRecord(about),
			},
			doubt{
				"Somebody with skill and a phone", "reads the rounds that the phone carries, or tosses the phone's coin again",
				"rounds opened and not fished; rounds drawn by coin; rounds of lost phones", phoneRecord(about),
			},
		)
	}
	return append(list,
		doubt{
			"Whoever leads the trial", "stops while it is going well, changes a rule, or throws fish out afterwards",
			"the rule of stopping, written down beforehand; rule changes with their reasons; fish disputed and decided by two who did not see the fly", leaderRecord(r, about),
		},
		doubt{
			"Everybody together", "talk about which fly is ahead, and fish as they then believe",
			"nothing shows it for sure; the answer week by week, and by what anglers believed beforehand, may", talkRecord(r),
		})
}

func anglerRecord(r analysis.Result, e *trial.Effort) string {
	var s string
	if e.Blocks > 0 {
		s = fmt.Sprintf("%s of %s rounds ended by the rule. %s not logged. %s of %s outings blank and closed all the same.",
			Count(e.FinishedBlocks), Count(e.Blocks), Counted(e.NotLogged, "fish", "fish"), Count(e.BlankOutings), Count(e.Outings))
	}
	return s + bounds(r, " All not-logged fish on one fly or on the other: %s.", analysis.CaseNotLoggedTest, analysis.CaseNotLoggedControl)
}

// bounds says the answers of two cases, where both were asked.
func bounds(r analysis.Result, format string, a, b analysis.Case) string {
	var said []string
	for _, c := range r.Sensitivity {
		if c.Case == a || c.Case == b {
			share, low, high := (answerOf{c.LogOdds, c.Low, c.High}).shares()
			said = append(said, Share100(share, low, high))
		}
	}
	if len(said) < 2 {
		return ""
	}
	return fmt.Sprintf(format, said[0]+" and "+said[1])
}

func otherWayRecord(r analysis.Result) string {
	a := r.AsAllocated
	if a == nil {
		return ""
	}
	s := fmt.Sprintf("%s of %s were caught the other way round than drawn.", Count(a.Changed), Counted(a.Analysed, "fish", "fish"))
	if share, low, high := (answerOf{a.LogOdds, a.Low, a.High}).shares(); isShare(share) && len(r.Sensitivity) > 0 {
		main := r.Sensitivity[0]
		fished, l, h := (answerOf{main.LogOdds, main.Low, main.High}).shares()
		s += fmt.Sprintf(" As fished %s, as drawn %s.", Share100(fished, l, h), Share100(share, low, high))
	}
	return s
}

func tyerRecord(r analysis.Result, about About) string {
	var s string
	for _, f := range about.Flies {
		s += fmt.Sprintf("%s tied by %s, %s, %s handed out, %s lost, %s tied anew at the water. ", cmp.Or(f.Batch, "A batch"), cmp.Or(f.TiedBy, "somebody not stated"),
			inspectedInWords(f.Inspected), Count(f.Issued), Count(f.Lost), Count(f.Retied))
	}
	if p := about.Protocol; s == "" && p != nil && p.Rig.SpecimensPerPattern > 0 {
		s = fmt.Sprintf("Planned: %s of each pattern for every angler. ", Counted(int64(p.Rig.SpecimensPerPattern), "fly", "flies"))
	}
	for _, c := range r.Sensitivity {
		if c.Case == analysis.CaseOnlyTyer {
			share, low, high := (answerOf{c.LogOdds, c.Low, c.High}).shares()
			s += fmt.Sprintf("Only %s's flies: %s. ", c.Of, Share100(share, low, high))
		}
	}
	return s
}

func typistRecord(about About) string {
	if about.Effort == nil || about.Effort.Enrolled == 0 {
		return ""
	}
	h := about.Helpers
	s := "No fish was typed by somebody else than the angler."
	if h.TypedByOthers > 0 {
		s = Counted(h.TypedByOthers, "fish", "fish") + " typed by somebody else than the angler."
	}
	if h.PaperCards > 0 {
		s += " " + Counted(h.PaperCards, "paper card", "paper cards") + "."
	}
	if h.CardsIn != "" {
		s += " The organiser said that every card was in before the 30 days for cards were over: " + sentence(h.CardsIn)
	}
	if h.Guests > 0 {
		s += " " + Counted(h.Guests, "guest", "guests") + " for a day."
	}
	return s
}

func slipRecord(about About) string {
	d := about.Draw
	if d.UnitsByPaper == 0 && d.Slips == "" {
		return ""
	}
	s := Counted(d.UnitsByPaper, "round", "rounds") + " from slips."
	if d.Slips != "" {
		s += " " + sentence(d.Slips)
	}
	return s
}

func serverRecord(about About) string {
	d := about.Draw
	switch {
	case d.Commitment == "":
		return ""
	case len(d.Words) > 0:
		return Counted(int64(len(d.Words)), "word", "words") + " from members on draw night; commitment and seed stand under “The draw”."
	}
	return "No member added a word; commitment and seed stand under “The draw”."
}

func phoneRecord(about About) string {
	d := about.Draw
	if d.Units+d.UnitsByCoin+d.UnitsLost == 0 {
		return ""
	}
	return fmt.Sprintf("%s by coin, %s of lost phones, never dealt again.", Counted(d.UnitsByCoin, "round", "rounds"), Count(d.UnitsLost))
}

func leaderRecord(r analysis.Result, about About) string {
	var s string
	if m := r.Monitoring; m != nil && r.Settings.Source == trial.Drawn {
		s = sentence(StoppingName(m.Rule)) + " "
		if len(m.Looks) > 0 {
			s += Counted(int64(len(m.Looks)), "planned count", "planned counts") + " made. "
		}
	}
	if about.Protocol != nil {
		s += Counted(int64(len(about.RuleChanges)), "rule change", "rule changes") + ". "
	}
	if len(about.Disputes) > 0 {
		out := 0
		for _, d := range about.Disputes {
			if d.Outcome == "exclude" {
				out++
			}
		}
		s += fmt.Sprintf("%s, %d of them left out.", Counted(int64(len(about.Disputes)), "dispute", "disputes"), out)
	}
	return s
}

func talkRecord(r analysis.Result) string {
	if r.Drift == nil || r.Drift.P == nil {
		return ""
	}
	return "Change with the weeks: " + saidP(r.Drift.P) + "."
}

// beside is one of the two ways to count a fish whose half was not fished as drawn.
type besideRow struct{ What, Fish, Share, P string }

// fishedBesideDrawn are the answers as fished and as drawn, plain of looks, side by side; nil without a draw.
func fishedBesideDrawn(r analysis.Result) []besideRow {
	a := r.AsAllocated
	if a == nil || len(r.Sensitivity) == 0 {
		return nil
	}
	main := r.Sensitivity[0]
	share, low, high := (answerOf{main.LogOdds, main.Low, main.High}).shares()
	fishedP := PValue(r.Headline.P)
	if lookedAt(r) {
		fishedP = Missing
	}
	drawnShare, drawnLow, drawnHigh := (answerOf{a.LogOdds, a.Low, a.High}).shares()
	return []besideRow{
		{"the way round that was fished", Count(main.Analysed), Share100(share, low, high), fishedP},
		{"the way round that was drawn", Count(a.Analysed), Share100(drawnShare, drawnLow, drawnHigh), PValue(a.P)},
	}
}

// harmRow is one fly at one position.
type harmRow struct{ What, Landed, Dead, Bleeding, DeepHooked, FoulHooked string }

// harmRows are the harms by fly and position; what was not asked is a dash.
func harmRows(r analysis.Result, n names) (rows []harmRow) {
	if r.Harms == nil {
		return nil
	}
	taken := map[string]string{"test": n.Test, "control": n.Control, "other": "a third fly", "not_known": "not sure which fly"}
	place := map[string]string{"lower": " at the " + n.Lower, "upper": " at the " + n.Upper}
	for _, h := range r.Harms.Rows {
		row := harmRow{What: taken[h.Taken] + place[h.Position], Landed: Count(h.Landed), Dead: Missing, Bleeding: Missing, DeepHooked: Missing, FoulHooked: Count(h.FoulHooked)}
		if r.Harms.Noted {
			row.Dead, row.Bleeding, row.DeepHooked = Count(h.Dead), Count(h.Bleeding), Count(h.DeepHooked)
		}
		rows = append(rows, row)
	}
	return rows
}

// disputeOutcome says how a dispute ended.
func disputeOutcome(outcome string) string {
	switch outcome {
	case "keep":
		return "kept, both deciders agreed"
	case "exclude":
		return "left out, both deciders agreed"
	case "disagreed":
		return "kept, the deciders did not agree"
	case "open":
		return "kept, not decided before the trial was locked"
	}
	return spaced(outcome)
}
