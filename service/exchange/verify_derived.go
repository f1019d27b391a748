package exchange

import (
	"cmp"
	"slices"

	"evenrig/service/trial"
)

// derivedOf works out what follows from the angler's rows, as far as it does without the times that are not published.
func (v *verifier) derivedOf(a publishedAngler) {
	outings := map[trial.ID]Outing{}
	for _, o := range a.outings {
		outings[o.ID] = o
	}
	units := map[trial.ID]Unit{}
	for _, u := range a.units {
		units[u.ID] = u
	}
	reports := map[trial.ID][]Deviation{} // by period, and by outing
	for _, d := range a.deviations {
		reports[cmp.Or(d.Period, d.Outing)] = append(reports[cmp.Or(d.Period, d.Outing)], d)
	}
	ended, begun := map[trial.ID]int{}, map[trial.ID]int{}
	for _, p := range a.periods {
		begun[p.Unit]++
		if p.End == trial.EndedByRule || v.plan.Design == trial.PairedByOuting && p.End == endedWithOuting {
			ended[p.Unit]++
		}
	}
	periods := map[trial.ID]Period{}
	for _, p := range a.periods {
		periods[p.ID] = p
		unit := units[p.Unit]
		switch {
		case p.Finished != (!p.Unit.IsZero() && ended[p.Unit] == 2):
			v.found.differs(partDerived, "period %s of %s is wrongly said to be of a finished block, or not", p.ID, a.Pseudonym)
		case v.plan.Source == trial.Drawn && (unit.ID.IsZero() || p.Half < 1 || p.Half > 2 || begun[p.Unit] > 2):
			v.found.differs(partDerived, "period %s of %s is no half of a unit that is here", p.ID, a.Pseudonym)
		case v.plan.Source == trial.Drawn && (p.Drawn != (trial.Unit{First: unit.First}).Drawn(p.Half) || p.Block != numberText(unit.N) || p.Number != numberText(p.Half)):
			v.found.differs(partDerived, "period %s of %s is not the half of the unit that it is said to be", p.ID, a.Pseudonym)
		case !p.Outing.IsZero() && outings[p.Outing].ID.IsZero():
			v.found.differs(partDerived, "period %s of %s belongs to an outing that is not here", p.ID, a.Pseudonym)
		}
	}
	for _, c := range a.fish {
		p, known := periods[c.Period]
		if !known || p.Outing != c.Outing {
			v.found.differs(partDerived, "fish %s of %s belongs to a period that is not here, or to another outing", c.ID, a.Pseudonym)
			continue
		}
		if outings[p.Outing].Disputed {
			c.Disputed = true // what was agreed of an outing holds for its fish
		}
		v.fish(c, p, units[p.Unit], slices.Concat(reports[p.ID], reports[p.Outing]))
	}
}

// fish works out what a fish took and why it is not analysed.
func (v *verifier) fish(c Fish, p Period, u Unit, reports []Deviation) {
	turned := slices.ContainsFunc(reports, func(d Deviation) bool { return d.Kind == trial.WrongWayRound })
	if c.Arrangement != p.Fished && !(turned && c.Arrangement == p.Fished.Other()) {
		v.found.differs(partDerived, "fish %s of %s: the rig is said to have been %q, its period %q", c.ID, c.Angler, c.Arrangement, p.Fished)
	}
	given := trial.Catch{TakenPattern: c.TakenPattern, TakenPosition: c.TakenPosition}
	if taken, _ := given.TakenIn(v.plan, c.Arrangement); taken != c.Taken {
		v.found.differs(partDerived, "fish %s of %s is said to have taken %q; what was given says %q", c.ID, c.Angler, c.Taken, taken)
	}
	if c.Deviated && len(reports) == 0 {
		v.found.differs(partDerived, "fish %s of %s is said to be of a time with a report, and there is none", c.ID, c.Angler)
	}
	v.disputedOnly(c, p, u, reports)
	for _, reason := range trial.Exclusions() {
		applies := v.applies(reason, c, p, u, reports)
		switch {
		case reason == c.Exclusion && applies == no:
			v.found.differs(partDerived, "fish %s of %s is left out as %q, which does not follow from its row", c.ID, c.Angler, reason)
			return
		case reason == c.Exclusion:
			if applies == perhaps {
				v.onTimes++
			}
			return
		case applies == yes:
			v.found.differs(partDerived, "fish %s of %s has the reason %q, and is %q in the table", c.ID, c.Angler, reason, c.Exclusion)
			return
		}
	}
}

// disputedOnly holds what is said of a disputed fish, that nothing else leaves it out, against its row.
func (v *verifier) disputedOnly(c Fish, p Period, u Unit, reports []Deviation) {
	alone := c.Exclusion == trial.Disputed && !slices.ContainsFunc(trial.Exclusions(), func(reason trial.Exclusion) bool {
		return reason != trial.Disputed && v.applies(reason, c, p, u, reports) == yes
	})
	switch {
	case c.DisputedOnly && !alone:
		v.found.differs(partDerived, "fish %s of %s is said to be left out by a dispute alone, which does not follow from its row", c.ID, c.Angler)
	case c.Disputed && alone && !c.DisputedOnly:
		v.onTimes++
	}
}

// certainty says whether a reason applies to a fish, as far as its row tells.
type certainty int

const (
	no certainty = iota
	perhaps
	yes
)

func surely(applies bool) certainty {
	if applies {
		return yes
	}
	return no
}

func perhapsIf(may bool) certainty {
	if may {
		return perhaps
	}
	return no
}

// rigReports are reports that the rig was other than the rule sheet's.
var rigReports = []trial.DeviationKind{trial.ThirdFly, trial.WrongFly, trial.FlyLost, trial.SpacingChanged, trial.DepthChanged}

func (v *verifier) applies(reason trial.Exclusion, c Fish, p Period, u Unit, reports []Deviation) certainty {
	drawn := v.plan.Source == trial.Drawn
	if !drawn && c.Exclusion == reason {
		return perhaps // an imported table may give its own reason
	}
	switch reason {
	case trial.Void:
		return surely(c.Void)
	case trial.Disputed:
		return surely(c.Disputed)
	case trial.AfterLock:
		return surely(c.AfterLock)
	case trial.SameFlyCheck:
		return surely(u.SameFlyCheck)
	case trial.ExcludeLost:
		return surely(c.Outcome == trial.Lost)
	case trial.ExcludeTouched:
		return surely(c.Outcome == trial.Touched)
	case trial.FoulHooked:
		return surely(c.FoulHooked)
	case trial.WrongSpecies:
		if slices.Contains(c.Withheld, "species") {
			return perhaps
		}
		return surely(!slices.Contains(v.plan.Species, c.Species) && (drawn || c.Species != ""))
	case trial.TooShort:
		switch {
		case c.LengthCM == nil || *c.LengthCM*10 >= v.plan.MinLengthMM:
			return no
		case *c.LengthCM*10+9 < v.plan.MinLengthMM:
			return yes
		}
		return perhaps
	case trial.NotConfirmed:
		if !p.Confirmed && (drawn || c.Taken == trial.TookTest || c.Taken == trial.TookControl) {
			return yes
		}
		return perhaps // before its period began, after it ended, or off trial
	case trial.RigNotIntact:
		if !c.RigIntact {
			return yes
		}
		return perhapsIf(slices.ContainsFunc(reports, func(d Deviation) bool { return slices.Contains(rigReports, d.Kind) }))
	case trial.WhileSwapping:
		return perhapsIf(drawn)
	case trial.Double:
		return surely(!c.Double.IsZero())
	case trial.OtherFly:
		return surely(c.Taken == trial.TookOther)
	case trial.NotSure:
		return surely(c.Taken == trial.TookUnknown)
	}
	return perhaps
}
