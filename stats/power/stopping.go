package power

import (
	"fmt"

	"evenrig/stats/evalue"
	"evenrig/stats/exact"
	"evenrig/stats/glmm"
	"evenrig/stats/sequential"
)

// The stopping rules of a trial.
const (
	Fixed           = "fixed"            // counted once, at the end
	GroupSequential = "group_sequential" // counted at planned looks as well
	Anytime         = "anytime"          // the evidence is weighed after every finished block
)

// The ways to spread alpha over planned looks.
const (
	SpendOBrienFleming = "obrien_fleming"
	SpendPocock        = "pocock"
)

// FewestAtLook is the least number of anglers with an analysed fish at which a
// planned look is made.
const FewestAtLook = 6

// Stopping is when a trial is counted and what each count must show. Looks, the
// closing one among them, Spending and Effect are read with GroupSequential only. With
// Anytime every block's order is drawn by a coin.
type Stopping struct {
	Test
	Rule     string
	Looks    int
	Spending string
	Effect   float64 // the smallest worth knowing, log odds, for which looks are planned
}

// judge returns what makes a drawn season's answer.
func (r Stopping) judge(s Season) (func(catch) ended, error) {
	if err := r.check(); err != nil {
		return nil, err
	}
	if (s.OneFly || s.Patterns > 2) && r.Rule != Fixed {
		return nil, fmt.Errorf("%w: stopping rule %q with one fly at a time or more than two patterns; accepted is %s", ErrArgument, r.Rule, Fixed)
	}
	switch r.Rule {
	case Fixed:
		method := headline
		switch {
		case s.OneFly:
			method = rates
		case s.Patterns > 2:
			method = s.robin
		}
		return func(c catch) ended {
			e := whole(c)
			e.says = method(c, e.anglers, r.Alpha)
			return e
		}, nil
	case GroupSequential:
		plan, err := r.plan()
		if err != nil {
			return nil, err
		}
		return func(c catch) ended { return r.looks(c, plan, s.kept()) }, nil
	case Anytime:
		return func(c catch) ended { return r.evidence(c) }, nil
	default:
		return nil, fmt.Errorf("%w: stopping rule %q; accepted are %s, %s, %s", ErrArgument, r.Rule, Fixed, GroupSequential, Anytime)
	}
}

// kept is the number of fish of a season that are expected to be analysed.
func (s Season) kept() float64 {
	return float64(s.Anglers) * s.FishEach * (1 - s.Dropout/2) * (1 - s.NotSure)
}

func (r Stopping) plan() (sequential.Plan, error) {
	spending := sequential.OBrienFleming
	switch r.Spending {
	case SpendOBrienFleming:
	case SpendPocock:
		spending = sequential.Pocock
	default:
		return sequential.Plan{}, fmt.Errorf("%w: spending %q; accepted are %s, %s", ErrArgument, r.Spending, SpendOBrienFleming, SpendPocock)
	}
	plan, err := sequential.PlanFor(r.Looks, spending, r.Alpha, r.Power, r.Effect)
	if err != nil {
		return plan, fmt.Errorf("%w: %w", ErrArgument, err)
	}
	return plan, nil
}

// looks counts the fish of finished blocks at equal parts of the fish that are
// expected, by the mixed model, and all fish at the end.
func (r Stopping) looks(c catch, plan sequential.Plan, expected float64) ended {
	monitor, err := sequential.NewMonitor(plan)
	if err != nil {
		return ended{}
	}
	var cells []glmm.Cell
	fish, next := 0, 1
	for i, b := range c.blocks {
		if !b.finished() {
			continue
		}
		for half, n := range b.half {
			cells = append(cells, glmm.Cell{
				Angler: b.angler, Outing: b.outing[half], TestLower: b.testFirst == (half == 0), Test: n.test, Control: n.control,
			})
			fish += n.fish()
		}
		if next >= r.Looks || float64(fish) < expected*float64(next)/float64(r.Looks) {
			continue
		}
		anglers := withFish(cells)
		if anglers < FewestAtLook {
			continue
		}
		next++
		if says, over := look(monitor, cells, anglers, false); over {
			return c.until(i, says)
		}
	}
	e := whole(c)
	if e.says = none; e.anglers > FewAnglers {
		e.says, _ = look(monitor, c.cells, e.anglers, true)
	}
	return e
}

// look is what one count says, and whether the trial is over with it: it crossed its
// boundary, or the planned information is in.
func look(monitor *sequential.Monitor, cells []glmm.Cell, anglers int, closing bool) (says side, over bool) {
	fit, p, err := mixed(cells, anglers)
	if err != nil {
		return none, false
	}
	judged, err := monitor.Look(sequential.Result{Estimate: fit.Theta, StdErr: fit.ThetaSE, P: p}, closing)
	switch {
	case err != nil:
		return none, false
	case judged.Crossed:
		return sideOf(fit.Theta), true
	default:
		return open, judged.Last
	}
}

// until is the season as it stands after its first blocks, i the last of them.
func (c catch) until(i int, says side) ended {
	e := ended{says: says, early: true}
	anglers := map[int]bool{}
	for _, b := range c.blocks[:i+1] {
		e.landed += b.landed
		n := b.half[0].fish() + b.half[1].fish()
		if e.analysed += n; n > 0 {
			anglers[b.angler] = true
		}
	}
	e.anglers = len(anglers)
	for _, day := range c.days {
		if day <= c.blocks[i].at {
			e.outings++
		}
	}
	return e
}

// evidence bets on the draw of every finished block until the bets have come to
// 1/alpha; the side is that to which the blocks lean.
func (r Stopping) evidence(c catch) ended {
	bets, err := evalue.NewDesignBased(nil)
	if err != nil {
		return ended{}
	}
	lean := 0
	for i, b := range c.blocks {
		if !b.finished() {
			continue
		}
		drawn := exact.DrawnBlock{Size: 1, TestFirst: b.testFirst, First: takes(b.half[0], b.testFirst), Second: takes(b.half[1], !b.testFirst)}
		if bets.Add("", drawn) != nil {
			return ended{}
		}
		lean += b.half[0].test + b.half[1].test - b.half[0].control - b.half[1].control
		if bets.Log().Reaches(r.Alpha) {
			return c.until(i, sideOf(float64(lean)))
		}
	}
	e := whole(c)
	e.says = open
	return e
}

func takes(c count, testLower bool) exact.Takes {
	if testLower {
		return exact.Takes{Lower: int64(c.test), Upper: int64(c.control)}
	}
	return exact.Takes{Lower: int64(c.control), Upper: int64(c.test)}
}
