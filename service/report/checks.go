package report

import (
	"fmt"
	"math"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// compliance is what tells whether the trial was fished as planned: rounds finished, halves and outings not as planned, fish
// noted late or of an arrangement that nobody confirmed. What the records do not tell is left out.
func compliance(r analysis.Result, about About) []fact {
	var list []fact
	of := func(what string, k, n int64, noun string) {
		if n > 0 {
			list = append(list, fact{what, fmt.Sprintf("%s of %s %s, %s of 100", Count(k), Count(n), noun, OutOf100(shareOf(k, n)))})
		}
	}
	count := func(what string, k int64) { list = append(list, fact{what, Count(k)}) }
	if e := about.Effort; e != nil && e.Enrolled > 0 {
		of("Rounds finished by the rule", e.FinishedBlocks, e.Blocks, "rounds opened")
		of("Blank outings, closed all the same", e.BlankOutings, e.Outings, "outings")
		count("Reports of a wrong fly, a missed swap, another spacing", e.Deviations)
		count("Fish noted late, analysed all the same", e.LateNoted)
		count("Fish not logged, by the closing question", e.NotLogged)
	}
	if a := r.AsAllocated; a != nil {
		of("Fished the other way round than drawn", a.Changed, a.Analysed, "fish of drawn halves")
	}
	for _, reason := range []trial.Exclusion{trial.NotConfirmed, trial.RigNotIntact, trial.WhileSwapping, trial.NotSure} {
		if k := r.Counts.Excluded[reason]; k > 0 {
			of("Left out: "+ExclusionName(reason), k, r.Counts.Catches, "fish recorded")
		}
	}
	return list
}

// orderChecks are the checks of order and draw, in words; empty where the records can give none.
func orderChecks(r analysis.Result, n names) []string {
	var s []string
	if o := r.OrderEffect; o != nil {
		s = append(s, orderSays(r, *o, n))
		if c := o.CarryOver; c != nil {
			s = append(s, carryOverSays(*c, n))
		}
	}
	if a := r.Randomisation; a != nil {
		s = append(s, redrawnSays(*a))
	}
	if a := r.AsAllocated; a != nil {
		s = append(s, allocatedSays(*a, n, r.Counts.Analysed))
	}
	return s
}

func orderSays(r analysis.Result, o analysis.OrderEffect, n names) string {
	s := fmt.Sprintf("First and second halves of a round (%s): ", Counted(o.Analysed, "fish", "fish"))
	if theta := r.Headline.LogOdds; theta != nil {
		first, second := *theta-o.LogOdds/2, *theta+o.LogOdds/2
		s += fmt.Sprintf("about the main answer, %s of 100 on %s in first halves and %s in second ones, ", OutOf100(expit(&first)), n.Test, OutOf100(expit(&second)))
	}
	s += fmt.Sprintf("a change of %s in log odds (%s; %s). ", Number(&o.LogOdds, 2), NumberInterval(&o.Low, &o.High, nil, nil, 2), saidP(&o.P))
	if o.Low <= 0 && o.High >= 0 {
		return s + "These fish do not tell the two halves apart."
	}
	return s + "The halves differ; since each order came as often as the other, the main answer stands between them."
}

func carryOverSays(c analysis.Coefficient, n names) string {
	s := fmt.Sprintf("The pull of the %s from first to second halves changes by %s in log odds (%s; %s), ", n.Lower, Number(&c.LogOdds, 2), NumberInterval(&c.Low, &c.High, nil, nil, 2), saidP(&c.P))
	if c.Low <= 0 && c.High >= 0 {
		return s + "which these fish do not tell from none: what was fished before shows no trace that they could show."
	}
	return s + "so that what was fished before, or light and depth within the round, may have left a trace."
}

func redrawnSays(a analysis.Randomisation) string {
	how := fmt.Sprintf("in %s orders drawn anew", Count(a.Draws))
	switch {
	case a.Exact:
		how = "over every order that the draw could have given"
	case a.Draws == 0:
		how = "by the saddlepoint approximation for so many rounds (Lugannani and Rice 1980)"
	}
	s := fmt.Sprintf("The draw, drawn again: with the positions taken held and only the order of the %s drawn anew, chance alone gives a split at least so uneven with %s, %s.",
		Counted(a.Blocks, "round", "rounds"), saidP(&a.P), how)
	if a.AnglersP != nil {
		s += fmt.Sprintf(" Angler by angler, %s.", saidP(a.AnglersP))
	}
	return s + fmt.Sprintf(" The smallest p that so many rounds could have given is %s. It rests on nothing but the draw, and tests \"no effect for any angler\".", PValue(&a.SmallestP))
}

func allocatedSays(a analysis.AsAllocated, n names, all int64) string {
	if a.Changed == 0 && a.Analysed == all {
		return "As it was drawn: every analysed fish was caught the way round that was drawn, so that counting by the draw gives the same answer."
	}
	s := fmt.Sprintf("As it was drawn: counted by the way round that was drawn in place of the one that was fished, %s of %s change.", Count(a.Changed), Counted(a.Analysed, "fish", "fish"))
	if share, low, high := (answerOf{a.LogOdds, a.Low, a.High}).shares(); isShare(share) {
		return s + fmt.Sprintf(" The answer is then %s on %s.", Share100(share, low, high), n.Test)
	}
	return s + " " + sentence(a.Reason)
}

// looksFigure is the planned counts, one row each from the first: its own answer as a knot, and at either side the post that the
// answer must pass to end the trial there. Nil outside planned counts.
func looksFigure(r analysis.Result, n names) *rowsFigure {
	m := r.Monitoring
	if m == nil || len(m.Looks) == 0 {
		return nil
	}
	f := newRows("looks", "The planned counts and their boundaries", r, n)
	f.Main, f.MainAt = nil, ""
	passed := 0
	for _, look := range m.Looks {
		a, note := answerOf{}, DecisionName(look.Decision)
		if look.LogOdds != nil {
			a = answerOf{LogOdds: look.LogOdds, Low: look.LogOdds, High: look.LogOdds}
		}
		row := f.over(fmt.Sprintf("count %d of %d: %s", look.N, m.Planned, note), look.Fish, a, note)
		row.Stretch = nil
		if share := expit(look.LogOdds); share != nil {
			row.Numbers = label{Wide: OutOf100(share) + " of 100", Narrow: OutOf100(share)}
		}
		if low, high := boundaryShares(look); low != nil {
			row.Posts = rowsScale.stretch(low, high)
			f.Table[len(f.Table)-1].Note = "under " + Limit100(low) + " or over " + Limit100(high) + "; " + note
		}
		f.Table[len(f.Table)-1].Share = OutOf100(expit(look.LogOdds))
		f.Table[len(f.Table)-1].What = fmt.Sprintf("%d of %d", look.N, m.Planned)
		if look.Decision == trial.Stop {
			passed = look.N
		}
	}
	s := fmt.Sprintf("%s of %d planned.", Counted(int64(len(m.Looks)), "count", "counts"), m.Planned)
	if passed > 0 {
		s += fmt.Sprintf(" At count %d the answer passed its post, which ends the trial.", passed)
	} else {
		s += " No answer passed its post."
	}
	return f.close(s)
}

// boundaryShares are the shares beyond which a planned count ends the trial; nil where it had nothing to spend or was not judged.
func boundaryShares(look analysis.MonitoredLook) (low, high *float64) {
	if look.BoundaryZ == nil || *look.BoundaryZ <= 0 || look.Information == nil || *look.Information <= 0 {
		return nil, nil
	}
	far := *look.BoundaryZ / math.Sqrt(*look.Information)
	near := -far
	return expit(&near), expit(&far)
}
