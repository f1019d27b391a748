package analysis_test

import (
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// The real panel is the fish as drawn; in every panel each angler has the same fish at each position, only counted to other
// arrangements, and the same counts give the same line-up.
func TestLineup(t *testing.T) {
	t.Parallel()
	in := drawnTrial(4)
	r := mustRun(t, in, analysis.Settings{Points: 1})
	l, err := analysis.NewLineup(in, r.Fingerprint)
	if err != nil || l == nil || len(l.Panels) != analysis.LineupPanels {
		t.Fatalf("%v %+v", err, l)
	}
	drawn := map[string]bool{}
	for _, b := range in.Draw {
		drawn[b.Angler+b.Block] = true
	}
	want := map[string]*analysis.LineupSlope{}
	for _, tally := range in.Tallies {
		if tally.Exclusion != trial.Analysed || tally.Half == 0 || !drawn[tally.Angler+tally.Block] {
			continue
		}
		if want[tally.Angler] == nil {
			want[tally.Angler] = &analysis.LineupSlope{}
		}
		lower := (tally.Arrangement == trial.TestLower) == (tally.Taken == trial.TookTest)
		at := &want[tally.Angler].ControlLower
		if tally.Drawn == trial.TestLower {
			at = &want[tally.Angler].TestLower
		}
		if lower {
			at.Lower += tally.N
		} else {
			at.Upper += tally.N
		}
	}
	differ := 0
	for i, panel := range l.Panels {
		same := true
		for a, angler := range l.Anglers {
			got, real := panel[a], *want[angler]
			if i == l.Real && got != real {
				t.Errorf("%s in the real panel is %+v, want %+v", angler, got, real)
			}
			same = same && got == real
			if got.TestLower.Lower+got.ControlLower.Lower != real.TestLower.Lower+real.ControlLower.Lower || got.TestLower.Upper+got.ControlLower.Upper != real.TestLower.Upper+real.ControlLower.Upper {
				t.Errorf("panel %d moved %s's fish to other positions", i, angler)
			}
		}
		if !same {
			differ++
		}
	}
	if differ < analysis.LineupPanels-3 {
		t.Errorf("only %d panels differ from the real one", differ)
	}
	again, _ := analysis.NewLineup(in, r.Fingerprint)
	if again.Real != l.Real || again.Panels[(l.Real+1)%20][0] != l.Panels[(l.Real+1)%20][0] {
		t.Error("the same counts give another line-up")
	}
	if none, err := analysis.NewLineup(analysis.Input{Test: "A", Control: "B"}, r.Fingerprint); none != nil || err != nil {
		t.Errorf("a table has a line-up: %v %v", none, err)
	}
}
