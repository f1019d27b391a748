package power

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"evenrig/stats/exact"
)

// Plan answers a question. The seasons, if any were asked for, are played on the
// given number of workers, which do not change the answer; progress, if not nil,
// is called now and then with the number played of how many.
//
// Errors: Faults; the context's.
func Plan(ctx context.Context, q Question, workers int, progress func(done, of int)) (Answer, error) {
	if err := q.Check(); err != nil {
		return Answer{}, err
	}
	p := planner{Question: q, t: q.test(), inflation: 1}
	p.t.Alpha /= q.against()
	if q.Stopping == GroupSequential {
		plan, err := q.stopping().plan()
		if err != nil {
			return Answer{}, err
		}
		c, err := plan.Characteristics()
		if err != nil {
			return Answer{}, fmt.Errorf("size of a trial with looks: %w", err)
		}
		p.inflation = c.Inflation
	}
	a := Answer{Question: q, Kept: q.kept(), Inflation: p.inflation, Shares: []ShareCost{}, Teams: []Team{}, EqualPower: []EqualPower{}, ByShare: []SharePower{}, Warnings: []Warning{}}
	for _, step := range []func(*Answer) error{p.team, p.costs, p.sizes, p.curves, p.thumb} {
		if err := step(&a); err != nil {
			return Answer{}, err
		}
	}
	if err := p.swaps(ctx, workers, &a); err != nil {
		return Answer{}, err
	}
	if err := p.play(ctx, workers, progress, &a); err != nil {
		return Answer{}, err
	}
	p.warn(&a)
	return a, nil
}

// planner puts the question to the closed forms.
type planner struct {
	Question
	t         Test
	inflation float64
}

// conditions are the question's, every variance made larger by the looks.
func (p planner) conditions(anglers int, alike bool) Conditions {
	c := p.Question.conditions(anglers)
	c.FishPerOuting *= 1 - p.NotSure // outings end with the angler who stops
	if alike {
		c.SDPattern, c.SDOuting = 0, 0
	}
	c.SDPattern *= math.Sqrt(p.inflation)
	return c
}

// counting is how many of an angler's landed fish count in the closed forms, as if they
// were fish of two patterns: of P patterns fished equally often in pairs a contrast
// has the variance (P-1)/(n·information).
func (p planner) counting(fishEach float64) float64 {
	return fishEach * p.kept() / (p.inflation * p.against())
}

func (p planner) power(share float64, anglers int, fishEach float64, alike bool) (float64, error) {
	return p.t.TeamPower(share, p.conditions(anglers, alike), anglers, p.counting(fishEach))
}

func (p planner) cost(anglers int, fishEach float64) Cost {
	fish := float64(anglers) * fishEach * (1 - p.Dropout/2)
	return Cost{anglers, fishEach, int(math.Ceil(fish - 1e-9)), p.outings(fish)}
}

// team is what the question's own team can see.
func (p planner) team(a *Answer) (err error) {
	fish, err := p.t.Fish(p.SmallestShare, p.conditions(p.Anglers, true))
	if err != nil {
		return err
	}
	a.Fish = int(math.Ceil(fish * p.inflation * p.against()))
	if a.Power, err = p.power(p.SmallestShare, p.Anglers, p.FishEach, false); err != nil {
		return err
	}
	if a.PowerAlike, err = p.power(p.SmallestShare, p.Anglers, p.FishEach, true); err != nil {
		return err
	}
	if p.Anglers == 1 && p.Patterns == 2 {
		each := max(1, int(math.Round(p.FishEach*p.kept()/2)))
		if p.Design == Alternating {
			// Given the fish in all, those on the test pattern are binomial.
			all := p.t.binomialPower(p.SmallestShare, 2*each)
			a.PowerExact = &all
		} else if all, err := p.t.OneAngler(p.SmallestShare, p.conditions(1, false).Beta, each, each); err == nil {
			a.PowerExact = &all
		}
	}
	share, err := p.t.Detectable(p.conditions(p.Anglers, false), p.Anglers, p.counting(p.FishEach))
	if err == nil {
		a.Detectable = &share
	}
	return known(err)
}

// known lets pass that no number is enough: the answer says so by null.
func known(err error) error {
	if errors.Is(err, ErrNever) {
		return nil
	}
	return err
}

// costs are the ways to the power asked for, and the prices of other shares.
func (p planner) costs(a *Answer) (err error) {
	if a.ByAnglers, err = p.anglers(p.SmallestShare); err != nil {
		return err
	}
	m, err := p.fishEach(p.Anglers)
	if err != nil {
		return err
	}
	if m != nil {
		c := p.cost(p.Anglers, float64(*m))
		a.ByFish = &c
	}
	shares := []float64{.55, .60, .65, .70, p.SmallestShare}
	slices.Sort(shares)
	for _, share := range slices.Compact(shares) {
		fish, err := p.t.Fish(share, p.conditions(p.Anglers, true))
		if err != nil {
			return err
		}
		team, err := p.anglers(share)
		if err != nil {
			return err
		}
		a.Shares = append(a.Shares, ShareCost{share, int(math.Ceil(fish * p.inflation * p.against())), team})
	}
	return nil
}

func (p planner) anglers(share float64) (*Cost, error) {
	k, err := p.t.Anglers(share, p.conditions(FewAnglers+1, false), p.counting(p.FishEach))
	if err != nil {
		return nil, known(err)
	}
	c := p.cost(k, p.FishEach)
	return &c, nil
}

// fishEach is what every one of so many anglers must land.
func (p planner) fishEach(anglers int) (*int, error) {
	counting, err := p.t.FishEach(p.SmallestShare, p.conditions(anglers, false), anglers)
	if err != nil {
		return nil, known(err)
	}
	m := int(math.Ceil(float64(counting)*p.inflation*p.against()/p.kept() - 1e-9))
	return &m, nil
}

// sizes are teams about the question's.
func (p planner) sizes(a *Answer) error {
	// Up to FewAnglers the answer is another, about these anglers only: they stand in
	// the table only where the question is about so few.
	least := FewAnglers + 1
	if p.Anglers <= FewAnglers {
		least = 1
	}
	var anglers []int
	for _, times := range []float64{.5, .75, 1, 1.5, 2, 3} {
		anglers = append(anglers, max(least, int(math.Round(times*float64(p.Anglers)))))
	}
	var fish []float64
	for _, times := range []float64{.5, 1, 2, 4} {
		fish = append(fish, math.Max(1, math.Round(times*p.FishEach)))
	}
	for _, k := range slices.Compact(anglers) {
		for _, m := range slices.Compact(fish) {
			team := Team{Cost: p.cost(k, m)}
			var err error
			if team.Power, err = p.power(p.SmallestShare, k, m, false); err != nil {
				return err
			}
			if team.PowerAlike, err = p.power(p.SmallestShare, k, m, true); err != nil {
				return err
			}
			a.Teams = append(a.Teams, team)
		}
	}
	return nil
}

// curvePoints is the number of anglers up to which every size has its point on the
// curve of equal power.
const curvePoints = 40

func (p planner) curves(a *Answer) error {
	most := curvePoints
	if a.ByAnglers != nil {
		most = max(most, min(a.ByAnglers.Anglers*3/2, 400))
	}
	most = max(most, min(p.Anglers*3/2, 400))
	for k := FewAnglers + 1; k <= most; k += 1 + k/curvePoints {
		m, err := p.fishEach(k)
		if err != nil {
			return err
		}
		a.EqualPower = append(a.EqualPower, EqualPower{k, m})
	}
	for percent := 50; percent <= 80; percent++ {
		share := float64(percent) / 100
		power, err := p.power(share, p.Anglers, p.FishEach, false)
		if err != nil {
			return err
		}
		a.ByShare = append(a.ByShare, SharePower{share, power})
	}
	return nil
}

// thumb holds the anglers' own rule of thumb beside the plan.
func (p planner) thumb(a *Answer) error {
	const percent = 55
	n := max(1, int64(math.Round(float64(p.Anglers)*p.FishEach*p.kept())))
	rule, err := exact.RuleOfShare(percent, n, .5)
	if err != nil {
		return fmt.Errorf("rule of thumb: %w", err)
	}
	a.Thumb = Thumb{percent, int(n), int(rule.Least), rule.FalseAlarm}
	return nil
}

// swaps looks at the question's rule and, where fish count, at those after 1, 2 and 4.
func (p planner) swaps(ctx context.Context, workers int, a *Answer) error {
	rules := []SwapRule{p.Swap}
	if own := p.Swap.AfterFish; own != nil {
		for _, n := range []int{1, 2, 4} {
			if n != *own {
				rules = append(rules, SwapRule{&n, p.Swap.AfterMinutes, p.Swap.BlockMaySpan})
			}
		}
	}
	for _, rule := range rules {
		q := p.Question
		q.Swap = rule
		f, err := FinishedBlocks(ctx, q.season(), workers, p.Seed)
		if err != nil {
			return err
		}
		a.Swaps = append(a.Swaps, SwapOutcome{rule, f.Share, f.StdErr, f.Swapped, f.Blocks})
	}
	return nil
}
