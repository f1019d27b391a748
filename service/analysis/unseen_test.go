package analysis_test

import (
	"strings"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

func rowOf(r analysis.Result, name analysis.Case) *analysis.SensitivityCase {
	for i, c := range r.Sensitivity {
		if c.Case == name {
			return &r.Sensitivity[i]
		}
	}
	return nil
}

// Fish that were not logged are asked about at both ends: each row is the analysis of the table in which they stand, spread as the
// angler's logged fish are, all with one pattern.
func TestNotLoggedFishAreBounded(t *testing.T) {
	t.Parallel()
	table := func(testTest, testControl, controlTest, controlControl int64) (in analysis.Input) {
		in = analysis.Input{Test: "A", Control: "B", Source: trial.Drawn, Effort: trial.Effort{Enrolled: 1}}
		for _, f := range []struct {
			arrangement trial.Arrangement
			taken       trial.Taken
			n           int64
		}{
			{trial.TestLower, trial.TookTest, testTest},
			{trial.TestLower, trial.TookControl, testControl},
			{trial.ControlLower, trial.TookTest, controlTest},
			{trial.ControlLower, trial.TookControl, controlControl},
		} {
			in.Tallies = append(in.Tallies, trial.Tally{Angler: "a", Outing: "1", Arrangement: f.arrangement, Taken: f.taken, N: f.n})
		}
		return in
	}
	in := table(12, 8, 6, 14)
	in.NotLogged = []analysis.AnglerCount{{Angler: "a", N: 3}, {Angler: "a", N: 1}}
	r := mustRun(t, in, analysis.Settings{})
	// 20 fish each way round: of 4 fish two each.
	for name, as := range map[analysis.Case]analysis.Input{
		analysis.CaseNotLoggedTest: table(14, 8, 8, 14), analysis.CaseNotLoggedControl: table(12, 10, 6, 16),
	} {
		want, row := mustRun(t, as, analysis.Settings{}).Headline, rowOf(r, name)
		if row == nil || row.Analysed != 44 {
			t.Fatalf("%s: %+v", name, row)
		}
		is(t, string(name), row.LogOdds, *want.LogOdds, 1e-12)
		is(t, string(name)+", low", row.Low, *want.Low, 1e-12)
	}
	if r.Counts.Analysed != 40 {
		t.Errorf("the main set has %d fish", r.Counts.Analysed)
	}
}

// An angler of whom no fish was analysed has the unlogged ones half each way round; erased anglers likewise, by as many as they were.
func TestFishOfNobodyKnownAreHalved(t *testing.T) {
	t.Parallel()
	in := drawnTrial(2)
	in.Effort = trial.Effort{Enrolled: 6, ErasedAnglers: 2, ErasedFish: 9}
	in.NotLogged = []analysis.AnglerCount{{Angler: "nobody yet", N: 3}}
	in.Left = []string{in.Tallies[0].Angler}
	r := mustRun(t, in, analysis.Settings{Points: 1})
	own := int64(0)
	for _, tally := range in.Tallies {
		if tally.Angler == in.Left[0] && tally.Exclusion == trial.Analysed {
			own += tally.N
		}
	}
	for name, fish := range map[analysis.Case]int64{
		analysis.CaseNotLoggedTest: 3, analysis.CaseNotLoggedControl: 3, analysis.CaseErasedTest: 9, analysis.CaseErasedControl: 9, analysis.CaseWithoutLeft: -own,
	} {
		if row := rowOf(r, name); row == nil || row.Analysed != r.Counts.Analysed+fish {
			t.Errorf("%s: %+v, want %d fish", name, row, r.Counts.Analysed+fish)
		}
	}
	// More fish on one pattern never move the answer to the other.
	up, down := rowOf(r, analysis.CaseErasedTest), rowOf(r, analysis.CaseErasedControl)
	if up.LogOdds != nil && down.LogOdds != nil && *up.LogOdds <= *down.LogOdds {
		t.Errorf("erased fish on the test pattern give %v, on the control pattern %v", *up.LogOdds, *down.LogOdds)
	}
}

// A table knows of no fish outside it, a kit's marks what its columns say: neither claims that nothing was late.
func TestTablesClaimNothingOfWhatTheyDoNotHold(t *testing.T) {
	t.Parallel()
	in := drawnTrial(3) // drawn, and no outing was opened here: a kit
	r := mustRun(t, in, analysis.Settings{Points: 1})
	for _, c := range r.Unchanged {
		switch c {
		case analysis.CaseWithoutLate, analysis.CaseWithoutOpenedLate, analysis.CaseNotLoggedTest, analysis.CaseErasedTest, analysis.CaseWithoutLeft:
			t.Errorf("%s is said to change nothing", c)
		}
	}
	if r.Harms == nil || r.Harms.Noted {
		t.Errorf("%+v", r.Harms)
	}
}

// Who left and what was not logged is part of the fingerprint, and of nothing where there is none.
func TestUnseenFishAreInTheFingerprint(t *testing.T) {
	t.Parallel()
	in := drawnTrial(1)
	plain, err := analysis.Canonical(in)
	if err != nil || strings.Contains(string(plain), "not_logged\":[") || strings.Contains(string(plain), `"left"`) {
		t.Fatalf("%v %s", err, plain)
	}
	in.NotLogged, in.Left = []analysis.AnglerCount{{Angler: "b", N: 2}, {Angler: "a", N: 1}, {Angler: "b", N: 1}}, []string{"y", "x"}
	with, err := analysis.Canonical(in)
	if want := `"left":["x","y"],"not_logged":[{"angler":"a","n":1},{"angler":"b","n":3}],"tallies"`; err != nil || !strings.Contains(string(with), want) {
		t.Errorf("%v %s", err, with)
	}
	again, err := analysis.ReadInput(trial.Template(), with)
	if err != nil || len(again.NotLogged) != 2 || len(again.Left) != 2 || len(again.Tallies) == 0 {
		t.Errorf("%v %+v", err, again)
	}
}

// Harms are counts of landed fish by what they took and where it hung.
func TestHarmsAreCounted(t *testing.T) {
	t.Parallel()
	fish := func(arrangement trial.Arrangement, taken trial.Taken, exclusion trial.Exclusion, welfare string, n int64) trial.Tally {
		return trial.Tally{Angler: "a", Outing: "1", Arrangement: arrangement, Taken: taken, Exclusion: exclusion, Welfare: welfare, N: n}
	}
	r := mustRun(t, analysis.Input{Test: "A", Control: "B", Tallies: []trial.Tally{
		fish(trial.TestLower, trial.TookTest, trial.Analysed, "", 5),
		fish(trial.TestLower, trial.TookTest, trial.Analysed, "bleeding+deep_hooked", 1),
		fish(trial.ControlLower, trial.TookTest, trial.FoulHooked, "dead", 2),
		fish(trial.TestLower, trial.TookControl, trial.Analysed, "", 3),
		fish(trial.TestLower, trial.TookTest, trial.ExcludeLost, "", 9),
		fish("", trial.TookUnknown, trial.NotSure, "dead", 1),
		fish(trial.TestLower, trial.TookTest, trial.SameFlyCheck, "", 4),
		fish(trial.TestLower, trial.TookTest, trial.Void, "dead", 7),
	}}, analysis.Settings{})
	want := []analysis.HarmsRow{
		{Taken: "test", Position: "lower", Landed: 6, Bleeding: 1, DeepHooked: 1},
		{Taken: "test", Position: "upper", Landed: 2, Dead: 2, FoulHooked: 2},
		{Taken: "control", Position: "lower", Landed: 4},
		{Taken: "control", Position: "upper", Landed: 3},
		{Taken: "not_known", Position: "not_known", Landed: 1, Dead: 1},
	}
	if r.Harms == nil || !r.Harms.Noted || len(r.Harms.Rows) != len(want) {
		t.Fatalf("%+v", r.Harms)
	}
	for i, row := range r.Harms.Rows {
		if row != want[i] {
			t.Errorf("row %d is %+v, want %+v", i, row, want[i])
		}
	}
}

// The answer calls a pattern by its name, with the code that tables carry once.
func TestSentenceNamesThePatterns(t *testing.T) {
	t.Parallel()
	p := trial.Template()
	p.Patterns = []trial.Pattern{{Code: "A", Name: "collared hare's ear", Part: trial.Test}, {Code: "B", Name: "plain hare's ear", Part: trial.Control}}
	in := analysis.InputOf(p)
	in.Tallies = []trial.Tally{
		{Angler: "a", Outing: "1", Arrangement: trial.TestLower, Taken: trial.TookControl, N: 90},
		{Angler: "a", Outing: "1", Arrangement: trial.TestLower, Taken: trial.TookTest, N: 10},
		{Angler: "a", Outing: "1", Arrangement: trial.ControlLower, Taken: trial.TookControl, N: 90},
		{Angler: "a", Outing: "1", Arrangement: trial.ControlLower, Taken: trial.TookTest, N: 10},
	}
	says := mustRun(t, in, analysis.Settings{}).Verdict.Sentence
	if !strings.Contains(says, "would take collared hare's ear (A), the test pattern. The data favour plain hare's ear (B), the control pattern.") {
		t.Errorf("%s", says)
	}
	in.TestName, in.ControlName = "", ""
	if says := mustRun(t, in, analysis.Settings{}).Verdict.Sentence; !strings.Contains(says, "would take A, the test pattern. The data favour B, the control pattern.") {
		t.Errorf("%s", says)
	}
}
