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
// knowing and without one, then those of larger teams until one is enough.
func (p planner) play(ctx context.Context, workers int, progress func(done, of int), a *Answer) error {
	if p.Seasons == 0 {
		return nil
	}
	rounds := 0
	play := func(anglers int, theta float64) (Played, error) {
		s := p.season()
		s.Theta, s.Anglers = theta, anglers
		told := func(done int) { progress(rounds*p.Seasons+done, max(3, rounds+1)*p.Seasons) }
		if progress == nil {
			told = nil
		}
		played, err := Play(ctx, s, p.stopping(), p.Seasons, workers, p.Seed, told)
		rounds++
		return played, err
	}
	effect := num.Logit(p.SmallestShare)
	own, err := play(p.Anglers, effect)
	if err != nil {
		return err
	}
	none, err := play(p.Anglers, 0)
	if err != nil {
		return err
	}
	a.Played, a.NoEffect = &own, &none

	team := PlayedTeam{p.cost(p.Anglers, p.FishEach), own}
	if !p.enough(own) && a.ByAnglers != nil {
		team.Anglers = max(a.ByAnglers.Anglers, p.Anglers+1)
	}
	for try := 0; !p.enough(team.Played); try++ {
		if try == tries || team.Anglers > MostPlayed || float64(p.Seasons*team.Anglers)*p.FishEach > mostPlayed {
			return nil
		}
		if try > 0 {
			team.Anglers = max(team.Anglers+1, p.larger(team))
		}
		if team.Played, err = play(team.Anglers, effect); err != nil {
			return err
		}
	}
	team.Cost = p.cost(team.Anglers, p.FishEach)
	a.Enough = &team
	return nil
}

// enough reports whether seasons reach the power within their Monte Carlo error.
func (p planner) enough(n Played) bool { return n.Settled+n.StdErr >= p.Power }

// larger is the number of anglers that a team falls short of, by the distance in standard
// errors that its seasons show: that distance grows with the root of the number.
func (p planner) larger(team PlayedTeam) int {
	critical := num.NormalQuantile(1 - p.Alpha/2)
	shown := math.Max(.5, critical+num.NormalQuantile(math.Max(team.Played.Settled, .01)))
	asked := critical + num.NormalQuantile(p.Power)
	return int(math.Ceil(float64(team.Anglers) * math.Pow(asked/shown, 2)))
}
