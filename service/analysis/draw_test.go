package analysis_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/trial"
	"evenrig/stats/stattest"
)

// drawnTrial makes up a drawn trial: 5 anglers with 3 coins each, some periods fished the other way round than drawn.
func drawnTrial(seed uint64) analysis.Input {
	random := rand.New(rand.NewPCG(seed, 3))
	in := analysis.Input{Test: "A", Control: "B", Source: trial.Drawn, Design: trial.Paired, Choices: trial.Draw{Method: trial.CoinPerBlock}}
	for a := range 5 {
		for b := range 3 {
			first := trial.TestLower
			if random.IntN(2) == 1 {
				first = trial.ControlLower
			}
			angler, block := fmt.Sprintf("angler %d", a), fmt.Sprint(b)
			in.Draw = append(in.Draw, trial.DrawnBlock{Angler: angler, Block: block, Group: b + 1, Size: 1, First: first})
			wrong := random.IntN(6) == 0
			for half := 1; half <= 2; half++ {
				drawn := first
				if half == 2 {
					drawn = first.Other()
				}
				fished := drawn
				if wrong {
					fished = drawn.Other()
				}
				for range 1 + random.IntN(3) {
					taken := trial.TookTest
					if random.IntN(5) < 2 {
						taken = trial.TookControl
					}
					in.Tallies = append(in.Tallies, trial.Tally{
						Angler: angler, Outing: "day", Block: block, Half: half, Arrangement: fished, Drawn: drawn, Taken: taken,
						Deviated: wrong, Finished: b < 2, Late: random.IntN(9) == 0, N: 1,
					})
				}
			}
		}
	}
	return in
}

// The randomisation test by its definition: every one of the 2^15 orders of the coins, the position that each fish took held, and T
// the sum over blocks of fish that took the lower fly less their block's mean, counted + with the test pattern lower as drawn.
// (Edgington and Onghena 2007, Randomization Tests.)
func TestRandomisationByEveryOrder(t *testing.T) {
	t.Parallel()
	for seed := range uint64(3) {
		in := drawnTrial(seed)
		type half struct{ lower, all float64 }
		blocks := map[[2]string]*[3]half{}
		for _, tally := range in.Tallies {
			key := [2]string{tally.Angler, tally.Block}
			if blocks[key] == nil {
				blocks[key] = new([3]half)
			}
			h := &blocks[key][tally.Half]
			h.all += float64(tally.N)
			if (tally.Arrangement == trial.TestLower) == (tally.Taken == trial.TookTest) {
				h.lower += float64(tally.N)
			}
		}
		var parts []float64 // with the test pattern lower first
		seen := 0.
		for _, d := range in.Draw {
			b := blocks[[2]string{d.Angler, d.Block}]
			mean := (b[1].lower + b[2].lower) / (b[1].all + b[2].all)
			part := (b[1].lower - mean*b[1].all) - (b[2].lower - mean*b[2].all)
			parts = append(parts, part)
			if d.First == trial.TestLower {
				seen += part
			} else {
				seen -= part
			}
		}
		extreme := 0
		for order := range 1 << len(parts) {
			sum := 0.
			for i, part := range parts {
				if order>>i&1 == 1 {
					sum += part
				} else {
					sum -= part
				}
			}
			if math.Abs(sum) >= math.Abs(seen)-1e-9 {
				extreme++
			}
		}
		r := mustRun(t, in, analysis.Settings{})
		if r.Randomisation == nil || !r.Randomisation.Exact || r.Randomisation.Blocks != 15 || r.Randomisation.Draws != 0 {
			t.Fatalf("%+v", r.Randomisation)
		}
		stattest.Within(t, "p", r.Randomisation.P, float64(extreme)/float64(int(1)<<len(parts)), 1e-12)
	}
}

// As allocated is the headline of a table that holds each fish at the position it took under the arrangement drawn.
func TestAsAllocatedHoldsThePositionTaken(t *testing.T) {
	t.Parallel()
	in := drawnTrial(5)
	r := mustRun(t, in, analysis.Settings{Vary: analysis.VaryPatternPosition, Points: 7})
	table := in
	table.Tallies = nil
	changed := int64(0)
	for _, tally := range in.Tallies {
		lower := (tally.Arrangement == trial.TestLower) == (tally.Taken == trial.TookTest)
		if tally.Arrangement != tally.Drawn {
			changed += tally.N
		}
		tally.Arrangement, tally.Taken = tally.Drawn, trial.TookControl
		if lower == (tally.Drawn == trial.TestLower) {
			tally.Taken = trial.TookTest
		}
		table.Tallies = append(table.Tallies, tally)
	}
	want := mustRun(t, table, analysis.Settings{Vary: analysis.VaryPatternPosition, Points: 7}).Headline
	a := r.AsAllocated
	if a == nil || a.Changed != changed || changed == 0 || a.Analysed != r.Counts.Analysed {
		t.Fatalf("%+v, %d changed", a, changed)
	}
	is(t, "log_odds", a.LogOdds, *want.LogOdds, 1e-9)
	is(t, "low", a.Low, *want.Low, 1e-9)
	is(t, "p", a.P, *want.P, 1e-9)
	row := r.Sensitivity[slices.IndexFunc(r.Sensitivity, func(c analysis.SensitivityCase) bool { return c.Case == analysis.CaseAsAllocated })]
	is(t, "the row's log_odds", row.LogOdds, *want.LogOdds, 1e-9)
}

// A drawn trial fills every part that concerns its draw and its records, and lists the cases that change nothing.
func TestDrawnTrialFillsEveryPart(t *testing.T) {
	t.Parallel()
	in := drawnTrial(1)
	in.Effort.Enrolled = 6
	for i := range in.Tallies {
		in.Tallies[i].Week = fmt.Sprintf("2026-W%02d", 20+i%4)
		in.Tallies[i].Month = "2026-05"
	}
	r := mustRun(t, in, analysis.Settings{})
	if r.Randomisation == nil || r.AsAllocated == nil || r.OrderEffect == nil || r.Drift == nil || r.Sensitivity == nil {
		t.Errorf("a part is null: %+v", r.Warnings)
	}
	seen := map[analysis.Case]bool{}
	for _, row := range r.Sensitivity {
		seen[row.Case] = true
	}
	for _, c := range r.Unchanged {
		seen[c] = true
	}
	for _, c := range []analysis.Case{
		analysis.CaseMain, analysis.CaseNotSureTest, analysis.CaseNotSureControl, analysis.CaseWithLost, analysis.CaseWithFoulHooked,
		analysis.CaseWithSwapping, analysis.CaseWithDoubles, analysis.CaseWithDisputed, analysis.CaseWithoutLate, analysis.CaseFinishedBlocks,
		analysis.CaseWithoutOpenedLate, analysis.CaseWithoutDeviations, analysis.CaseAsAllocated, analysis.CaseWithoutAngler,
		analysis.CaseWithoutLeft, analysis.CaseNotLoggedTest, analysis.CaseNotLoggedControl, analysis.CaseErasedTest, analysis.CaseErasedControl,
	} {
		if !seen[c] {
			t.Errorf("%s is neither a row nor unchanged", c)
		}
	}
}

// Of disputed fish those come back that nothing else leaves out: the row is the answer had nobody disputed them. A table does not say
// which those are.
func TestDisputedFishComeBack(t *testing.T) {
	t.Parallel()
	in := drawnTrial(1)
	in.Effort.Enrolled = 6
	undisputed := in
	undisputed.Tallies = slices.Clone(in.Tallies)
	for i := range in.Tallies {
		switch i % 5 {
		case 1:
			in.Tallies[i].Exclusion, in.Tallies[i].DisputedOnly = trial.Disputed, true
		case 3:
			in.Tallies[i].Exclusion, undisputed.Tallies[i].Exclusion = trial.Disputed, trial.ExcludeLost
		}
	}
	want := mustRun(t, undisputed, analysis.Settings{Vary: analysis.VaryPatternPosition, Points: 7})
	rows := mustRun(t, in, analysis.Settings{}).Sensitivity
	at := slices.IndexFunc(rows, func(c analysis.SensitivityCase) bool { return c.Case == analysis.CaseWithDisputed })
	if at < 0 || rows[at].Analysed != want.Counts.Analysed {
		t.Fatalf("no row with %d fish: %+v", want.Counts.Analysed, rows)
	}
	is(t, "log_odds", rows[at].LogOdds, *want.Headline.LogOdds, 1e-9)
	is(t, "low", rows[at].Low, *want.Headline.Low, 1e-9)
	in.Effort.Enrolled = 0
	r := mustRun(t, in, analysis.Settings{})
	if slices.ContainsFunc(r.Sensitivity, func(c analysis.SensitivityCase) bool { return c.Case == analysis.CaseWithDisputed }) ||
		!slices.ContainsFunc(r.Warnings, func(w analysis.Warning) bool { return strings.Contains(w.Detail, "disputed fish") }) {
		t.Errorf("a table's disputed fish: %+v", r.Warnings)
	}
}

// Input counts are the same bytes as ever without a draw and the new fields; with them they say so.
func TestCanonicalCarriesTheDraw(t *testing.T) {
	t.Parallel()
	plain := analysis.Input{Test: "A", Control: "B", Tallies: []trial.Tally{{Angler: "a", Outing: "1", Arrangement: trial.TestLower, Taken: trial.TookTest, N: 2}}}
	canonical, err := analysis.Canonical(plain)
	const before = `{"control":"B","design":"paired","effort":{"blank_outings":0,"blocks":0,"deviations":0,"enrolled":0,"finished_blocks":0,"late_noted":0,"not_logged":0,"outings":0},` +
		`"tallies":[{"angler":"a","arrangement":"test_lower","block":"","exclusion":"","month":"","n":2,"origin":"","outing":"1","period":"","species":"","taken":"test","week":""}],"test":"A"}`
	if err != nil || string(canonical) != before {
		t.Errorf("%v\n%s\n%s", err, canonical, before)
	}
	in := drawnTrial(1)
	first, err := analysis.Canonical(in)
	if err != nil {
		t.Fatal(err)
	}
	in.Draw[3].First = in.Draw[3].First.Other()
	if second, _ := analysis.Canonical(in); string(second) == string(first) {
		t.Error("another draw, the same input counts")
	}
}
