package power

import (
	"context"
	"math"

	"evenrig/stats/num"
)

// MostPlayed is the largest team that is looked for by playing seasons.
const MostPlayed = 200

// tries bounds the teams that are played one after the other.
const tries = 4

// play plays the seasons of the question's team with the smallest effect worth
// knowing and without one; then those of larger teams, and of the same anglers
// with more fish, until one is enough.
func (p planner) play(ctx context.Context, workers int, progress func(done, of int), a *Answer) error {
	if p.Seasons == 0 {
		return nil
	}
	g := game{planner: p, ctx: ctx, workers: workers, progress: progress}
	own, err := g.play(p.Anglers, p.FishEach, num.Logit(p.SmallestShare))
	if err != nil {
		return err
	}
	none, err := g.play(p.Anglers, p.FishEach, 0)
	if err != nil {
		return err
	}
	a.Played, a.NoEffect = &own, &none
	if p.enough(own) {
		team := PlayedTeam{p.cost(p.Anglers, p.FishEach), own}
		a.EnoughByAnglers, a.EnoughByFish = &team, &team
		return nil
	}
	if c := a.ByAnglers; c != nil {
		a.EnoughByAnglers, err = g.search(max(c.Anglers, p.Anglers+1), p.FishEach, func(anglers int, fish, times float64) (int, float64) {
			return max(anglers+1, int(math.Ceil(float64(anglers)*times))), fish
		})
		if err != nil {
			return err
		}
	}
	if c := a.ByFish; c != nil {
		a.EnoughByFish, err = g.search(p.Anglers, math.Max(c.FishEach, p.FishEach+1), func(anglers int, fish, times float64) (int, float64) {
			return anglers, math.Ceil(math.Max(fish+1, fish*times))
		})
	}
	return err
}

// game plays teams one after the other.
type game struct {
	planner
	ctx      context.Context
	workers  int
	progress func(done, of int)
	rounds   int // played so far
}

func (g *game) play(anglers int, fishEach, theta float64) (Played, error) {
	s := g.season()
	s.Theta, s.Anglers, s.FishEach, s.Conditions = theta, anglers, fishEach, g.Question.conditions(anglers)
	var told func(int)
	if g.progress != nil {
		told = func(done int) { g.progress(g.rounds*g.Seasons+done, max(4, g.rounds+1)*g.Seasons) }
	}
	played, err := Play(g.ctx, s, g.stopping(), g.Seasons, g.workers, g.Seed, told)
	g.rounds++
	return played, err
}

// search plays a team and larger ones till one is enough; nil where none of the tries
// is. larger gets the factor by which the information fell short.
func (g *game) search(anglers int, fishEach float64, larger func(anglers int, fishEach, times float64) (int, float64)) (*PlayedTeam, error) {
	for range tries {
		if anglers > MostPlayed || g.work(anglers, fishEach) > mostPlayed {
			return nil, nil
		}
		played, err := g.play(anglers, fishEach, num.Logit(g.SmallestShare))
		if err != nil {
			return nil, err
		}
		if g.enough(played) {
			return &PlayedTeam{g.cost(anglers, fishEach), played}, nil
		}
		anglers, fishEach = larger(anglers, fishEach, g.short(played))
	}
	return nil, nil
}

// enough reports whether seasons reach the power within their Monte Carlo error.
func (p planner) enough(n Played) bool { return n.Settled+n.StdErr >= p.Power }

// short is the factor, above 1, by which the information of seasons falls short: the square of
// the distance asked for over the one shown, both in standard errors.
func (p planner) short(n Played) float64 {
	critical := num.NormalQuantile(1 - p.Alpha/2)
	shown := math.Max(.5, critical+num.NormalQuantile(math.Max(n.Settled, .01)))
	return math.Pow((critical+num.NormalQuantile(p.Power))/shown, 2)
}
