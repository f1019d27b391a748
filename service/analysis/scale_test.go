package analysis_test

import (
	"fmt"
	"math"
	"math/rand/v2"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// season makes up a drawn trial of so many anglers, each with one block on each outing and about so many fish in all, at two waters,
// of two species, over twelve weeks; anglers differ. One fish in twenty is not sure, one in forty was noted late.
func season(anglers, outings, fish int) analysis.Input {
	random := rand.New(rand.NewPCG(11, 4))
	in := input()
	in.Source, in.Choices = trial.Drawn, trial.Draw{Method: trial.CoinPerBlock}
	in.Subgroups = []string{"water_type"}
	in.Effort = trial.Effort{Enrolled: int64(anglers), Outings: int64(anglers * outings)}
	each := int64(max(1, fish/anglers/outings/2))
	for i := range anglers {
		u, v := .4*random.NormFloat64(), .3*random.NormFloat64()
		angler := fmt.Sprintf("%06d", i)
		for o := range outings {
			w := .3 * random.NormFloat64()
			first := trial.TestLower
			if random.IntN(2) == 0 {
				first = trial.ControlLower
			}
			block, week := fmt.Sprint(o+1), random.IntN(12)
			in.Draw = append(in.Draw, trial.DrawnBlock{Angler: angler, Block: block, Group: o + 1, Size: 1, First: first})
			like := trial.Tally{
				Angler: angler, Outing: fmt.Sprintf("day %02d", o), Block: block, Origin: trial.Wild, Finished: true,
				Species: []string{"Salmo trutta", "Thymallus thymallus"}[random.IntN(2)], WaterType: []string{"river", "lake"}[i%2],
				Week: fmt.Sprintf("2026-W%02d", 20+week), Month: fmt.Sprintf("2026-%02d", 5+week/5),
			}
			for half := 1; half <= 2; half++ {
				like.Half, like.Period = half, fmt.Sprint(half)
				like.Arrangement = first
				if half == 2 {
					like.Arrangement = map[trial.Arrangement]trial.Arrangement{trial.TestLower: trial.ControlLower, trial.ControlLower: trial.TestLower}[first]
				}
				like.Drawn = like.Arrangement
				c := float64(like.Arrangement.Sign())
				test := binomial(random, each, 1/(1+math.Exp(-(.1+u+(.3+v)*c+w))))
				add := func(taken trial.Taken, n int64, mark func(*trial.Tally)) {
					if n > 0 {
						t := like
						t.Taken, t.N = taken, n
						mark(&t)
						in.Tallies = append(in.Tallies, t)
					}
				}
				add(trial.TookTest, test, func(*trial.Tally) {})
				add(trial.TookControl, each-test, func(*trial.Tally) {})
				if random.IntN(4) == 0 {
					add(trial.TookUnknown, max(1, each/20), func(t *trial.Tally) { t.Exclusion = trial.NotSure })
				}
				if random.IntN(8) == 0 {
					add(trial.TookTest, max(1, each/40), func(t *trial.Tally) { t.Late = true })
				}
			}
		}
	}
	return in
}

// binomial draws how many of n fish take the test pattern, by the normal distribution where there are many.
func binomial(random *rand.Rand, n int64, p float64) (k int64) {
	if n > 200 {
		return min(n, max(0, int64(math.Round(float64(n)*p+math.Sqrt(float64(n)*p*(1-p))*random.NormFloat64()))))
	}
	for range n {
		if random.Float64() < p {
			k++
		}
	}
	return k
}
