package report

import (
	"fmt"
	"math"
	"math/rand/v2"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// season is an invented trial with everything that a result can show: drawn rounds with halves, ten weeks, species and
// kinds of water, not-sure fish and lost ones, and the plan of its stopping rule. Its fish are drawn by the trial's model.
func season(rule trial.Stopping) analysis.Input {
	random := rand.New(rand.NewPCG(11, 4))
	species := []string{"Salmo trutta", "Salmo trutta", "Thymallus thymallus"}
	water := []string{"freestone_river", "chalk_stream"}
	in := analysis.Input{
		Design: trial.Paired, Test: "A", Control: "B", Source: trial.Drawn, Choices: trial.Draw{Method: trial.CoinPerBlock, GroupSizes: []int{1}},
		Subgroups: []string{"species"}, Plan: &analysis.Plan{Closing: true, Rule: rule, Power: .8},
	}
	if rule == trial.GroupSequential {
		in.Plan.Looks = &trial.Looks{Planned: 3, Spending: trial.SpendOBrienFleming, Method: trial.LookMixedModel}
		low, high, p1, p2 := .32, .47, .24, .017
		i1, i2 := 5., 10.
		in.Plan.Earlier = []analysis.EarlierLook{
			{N: 1, Week: "2026-W39", Fish: 110, Decision: trial.GoOn, LogOdds: &low, P: &p1, Information: &i1},
			{N: 2, Week: "2026-W42", Fish: 220, Decision: trial.GoOn, LogOdds: &high, P: &p2, Information: &i2},
		}
	}
	for a := range 9 {
		name := fmt.Sprintf("%c%d%c%d%c%d", 'A'+a, a, 'K'+a, 9-a, 'P'+a, a)
		u := .4 * random.NormFloat64()
		for week := range 10 {
			if random.IntN(10) < 3 {
				continue
			}
			block := trial.DrawnBlock{Angler: name, Block: fmt.Sprintf("%s-%d", name, week), Group: week + 1, Size: 1, First: trial.TestLower}
			if random.IntN(2) == 0 {
				block.First = trial.ControlLower
			}
			in.Draw = append(in.Draw, block)
			for half, arrangement := range []trial.Arrangement{block.First, other(block.First)} {
				for range 1 + random.IntN(4) {
					t := trial.Tally{
						Angler: name, Outing: block.Block, Block: block.Block, Half: half + 1, Arrangement: arrangement, Drawn: arrangement, Finished: true,
						Week: fmt.Sprintf("2026-W%d", 36+week), Species: species[random.IntN(3)], WaterType: water[random.IntN(2)], Taken: trial.TookControl, N: 1,
					}
					if random.Float64() < 1/(1+math.Exp(-.6-u-.5*float64(arrangement.Sign()))) {
						t.Taken = trial.TookTest
					}
					switch k := random.IntN(20); {
					case k == 0:
						t.Taken, t.Exclusion = trial.TookUnknown, trial.NotSure
					case k == 1:
						t.Exclusion = trial.ExcludeLost
					}
					in.Tallies = append(in.Tallies, t)
				}
			}
		}
	}
	return in
}

func other(a trial.Arrangement) trial.Arrangement {
	if a == trial.TestLower {
		return trial.ControlLower
	}
	return trial.TestLower
}
