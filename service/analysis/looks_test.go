package analysis_test

import (
	"fmt"
	"math"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// workedSeason is the worked example D1: twelve blocks of four and four fish by six anglers, each finished, drawn by coin.
func workedSeason() analysis.Input {
	anglers := []string{"a", "b", "c", "a", "d", "e", "f", "b", "c", "d", "e", "f"}
	first, second := []int64{3, 4, 3, 4, 2, 3, 4, 3, 4, 3, 4, 3}, []int64{2, 2, 1, 3, 2, 1, 2, 3, 1, 1, 2, 2} // lower takes, test and control lower
	in := analysis.Input{Test: "A", Control: "B", Source: trial.Drawn, Choices: trial.Draw{Method: trial.CoinPerBlock}}
	for i, angler := range anglers {
		block := fmt.Sprint(i + 1)
		tally := trial.Tally{Angler: angler, Outing: block, Block: block, Week: fmt.Sprintf("2026-W%02d", 20+i), Finished: true, Half: 1, Drawn: trial.TestLower, Arrangement: trial.TestLower}
		add := func(taken trial.Taken, n int64) {
			tally.Taken, tally.N = taken, n
			in.Tallies = append(in.Tallies, tally)
		}
		add(trial.TookTest, first[i])
		add(trial.TookControl, 4-first[i])
		tally.Half, tally.Drawn, tally.Arrangement = 2, trial.ControlLower, trial.ControlLower
		add(trial.TookControl, second[i])
		add(trial.TookTest, 4-second[i])
		in.Draw = append(in.Draw, trial.DrawnBlock{Angler: angler, Block: block, Group: i + 1, Size: 1, First: trial.TestLower})
	}
	return in
}

// The evidence of the worked example: E by the draw 270.5859, conditional 176.4635, sequence of ln OR .265 to 3.332 and so of
// shares .533 to .841, after 12 blocks; 5.2335 by the draw after 4 (four and three digits, as they are printed there).
func TestEvidenceOfTheWorkedExample(t *testing.T) {
	t.Parallel()
	result, err := analysis.Run(workedSeason(), analysis.Settings{})
	if err != nil {
		t.Fatal(err)
	}
	m := result.Monitoring
	if m == nil || m.Evidence == nil || m.Evidence.Draw == nil {
		t.Fatalf("no evidence: %+v", m)
	}
	for what, c := range map[string][3]float64{
		"by the draw": {*m.EValue, 270.5859, 5e-5}, "conditional": {*m.Evidence.Conditional, 176.4635, 5e-5},
		"low": {2 * *m.SequenceLow, .265, 5e-4}, "high": {2 * *m.SequenceHigh, 3.332, 5e-4},
		"low share": {*m.SequenceShareLow, .533, 5e-4}, "high share": {*m.SequenceShareHigh, .841, 5e-4},
	} {
		if !(math.Abs(c[0]-c[1]) <= c[2]) {
			t.Errorf("%s: %.6f, want %g", what, c[0], c[1])
		}
	}
	if path := m.Evidence.Path; len(path) != 12 || m.Evidence.Blocks != 12 || !(math.Abs(*path[3].EValue-5.2335) <= 5e-5) {
		t.Errorf("the path: %+v", path)
	}
}

// Under anytime the headline speaks with the sequence and the evidence's p; a stop needs evidence of 1/alpha.
func TestAnytimeSpeaksWithTheEvidence(t *testing.T) {
	t.Parallel()
	in := workedSeason()
	in.Plan = &analysis.Plan{Rule: trial.Anytime, Look: 1, Power: .8}
	result, err := analysis.Run(in, analysis.Settings{})
	if err != nil {
		t.Fatal(err)
	}
	m, h := result.Monitoring, result.Headline
	if m.Decision != trial.Stop || *h.P != 1 / *m.EValue || *h.Low != *m.SequenceLow || h.AverageShare != nil {
		t.Errorf("%+v, %+v", m, h)
	}
	in.Alpha = .003 // 270 is below 1/.003
	if result, err = analysis.Run(in, analysis.Settings{}); err != nil || result.Monitoring.Decision != trial.GoOn {
		t.Errorf("%v, %v", result.Monitoring, err)
	}
}

// A look without an answer of its method decides nothing and spends nothing; the closing count still spends all.
func TestLookWithoutAnAnswer(t *testing.T) {
	t.Parallel()
	in := workedSeason()
	in.Plan = &analysis.Plan{
		Rule: trial.GroupSequential, Power: .8, Closing: true, Looks: &trial.Looks{Planned: 3, Spending: trial.SpendPocock, Method: trial.LookMixedModel},
		Earlier: []analysis.EarlierLook{{N: 1, Fish: 30, Decision: trial.NoDecision}},
	}
	result, err := analysis.Run(in, analysis.Settings{})
	if err != nil {
		t.Fatal(err)
	}
	m := result.Monitoring
	if len(m.Looks) != 2 || m.Looks[0].Decision != trial.NoDecision || m.Looks[0].Spent != nil || m.Looks[1].N != 3 || m.Adjusted == nil {
		t.Fatalf("%+v", m)
	}
	if math.Abs(*m.Spent-.05) > 1e-12 {
		t.Errorf("spent %g of .05", *m.Spent)
	}
}
