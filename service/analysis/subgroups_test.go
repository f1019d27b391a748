package analysis_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/trial"
	"evenrig/stats/stattest"
)

// levelled gives each angler's fish a species by turns: the same counts, in cells of the table a b c d, for every level.
func levelled(anglers int, levels []string, cells func(level, angler int) [4]int64) analysis.Input {
	in := analysis.Input{Test: "A", Control: "B", Subgroups: []string{"species"}}
	for a := range anglers {
		for l, species := range levels {
			n := cells(l, a)
			for _, tally := range (rig{angler: fmt.Sprint(a), a: n[0], b: n[1], c: n[2], d: n[3]}).tallies() {
				tally.Species = species
				in.Tallies = append(in.Tallies, tally)
			}
		}
	}
	return in
}

func group(t *testing.T, r analysis.Result, column string) analysis.Subgroup {
	t.Helper()
	i := slices.IndexFunc(r.Subgroups, func(g analysis.Subgroup) bool { return g.Column == column })
	if i < 0 {
		t.Fatalf("no subgroup %s among %+v", column, r.Subgroups)
	}
	return r.Subgroups[i]
}

// Levels with the same counts are not told apart: the statistic is 0, p is 1, and all levels are the whole.
func TestLevelsThatAreAlike(t *testing.T) {
	t.Parallel()
	in := levelled(6, []string{"one", "two", "three"}, func(_, a int) [4]int64 { return [4]int64{4 + int64(a%3), 3, 3, 2 + int64(a%2)} })
	r := mustRun(t, in, analysis.Settings{Points: 1})
	g := group(t, r, "species")
	is(t, "statistic", g.Statistic, 0, 1e-8)
	is(t, "p", g.P, 1, 1e-4)
	is(t, "adjusted p", g.AdjustedP, 1, 1e-4)
	is(t, "τ²", g.Tau2, 0, 0)
	if *g.DF != 2 || g.Correction != analysis.ByHolm {
		t.Errorf("%d degrees of freedom, %s", *g.DF, g.Correction)
	}
	for i, label := range []string{"one", "three", "two"} {
		if g.Levels[i].Level != label || g.Levels[i].Catches != r.Counts.Analysed/3 {
			t.Errorf("level %d is %q with %d fish", i, g.Levels[i].Level, g.Levels[i].Catches)
		}
		is(t, label, g.Levels[i].LogOdds, *r.MixedModel.LogOdds, 1e-5)
	}
}

// A level whose fish all took the test pattern has its θ without bound; the statistic is that of the likelihoods' suprema. With
// anglers who are alike and no position effect these have closed forms: n log n - Σ y log y - …, summed over levels.
func TestLevelWithoutBound(t *testing.T) {
	t.Parallel()
	counts := map[string][2]int64{"all": {3, 0}, "some": {4, 2}}
	levels := []string{"all", "some"}
	in := levelled(8, levels, func(l, _ int) [4]int64 {
		n := counts[levels[l]]
		return [4]int64{n[0], n[1], n[0], n[1]} // as many of each pattern either way round: no position effect
	})
	r := mustRun(t, in, analysis.Settings{Vary: analysis.VaryPattern, Points: 1})
	if *r.MixedModel.SDPattern != 0 {
		t.Fatalf("these anglers are alike, sd_pattern %g", *r.MixedModel.SDPattern)
	}
	entropy := func(y, n float64) float64 {
		sum := 0.
		for _, part := range []float64{y, n - y} {
			if part > 0 {
				sum += part * math.Log(part/n)
			}
		}
		return sum
	}
	want := 2 * (entropy(8*8, 8*12) - entropy(8*14, 8*18))
	g := group(t, r, "species")
	is(t, "statistic", g.Statistic, want, 1e-7)
	if g.Levels[0].LogOdds != nil || g.Levels[1].LogOdds == nil || *g.DF != 1 {
		t.Errorf("%+v", g)
	}
	stattest.Within(t, "lower share", g.Levels[0].LowerShare.Estimate, .5, 1e-15)
}

// Small levels stand together and are named, what is not recorded is a level of its own, both last; more than twenty are cut.
func TestSmallAndManyLevels(t *testing.T) {
	t.Parallel()
	var levels []string
	for i := range 24 {
		levels = append(levels, fmt.Sprintf("kind %02d", i))
	}
	levels = append(levels, "rare", "rarer", "")
	in := levelled(5, levels, func(l, a int) [4]int64 {
		if l == 24 || l == 25 {
			return [4]int64{1, 0, 0, 0}
		}
		return [4]int64{1 + int64((l+a)%2), 1, 1, 1}
	})
	g := group(t, mustRun(t, in, analysis.Settings{Points: 1}), "species")
	if len(g.Levels) != 20 {
		t.Fatalf("%d levels", len(g.Levels))
	}
	last := g.Levels[19]
	if last.Level != "other levels" || len(last.Joined) != len(levels)-19 || !slices.Contains(last.Joined, "rarer") || !slices.IsSorted(last.Joined) {
		t.Errorf("%+v", last)
	}
	total := int64(0)
	for _, l := range g.Levels {
		total += l.Catches
	}
	if all := fishOf(in); total != all {
		t.Errorf("levels hold %d fish of %d", total, all)
	}
}

func fishOf(in analysis.Input) (n int64) {
	for _, tally := range in.Tallies {
		n += tally.N
	}
	return n
}

// Columns that are not there, or have one level, are answered with a reason; only those named beforehand are.
func TestColumnsWithoutLevels(t *testing.T) {
	t.Parallel()
	in := levelled(5, []string{"one"}, func(_, a int) [4]int64 { return [4]int64{3, 2, 2 + int64(a%2), 3} })
	in.Subgroups = []string{"species", "moon"}
	r := mustRun(t, in, analysis.Settings{})
	for _, column := range in.Subgroups {
		if g := group(t, r, column); g.P != nil || g.Reason == "" || !g.Named || len(g.Levels) != 1 {
			t.Errorf("%+v", g)
		}
	}
	in.Subgroups = nil
	r = mustRun(t, in, analysis.Settings{})
	if r.Subgroups == nil || len(r.Subgroups) != 0 {
		t.Errorf("%+v", r.Subgroups)
	}
	mustWarn(t, r, analysis.WarnNoColumns)
}

// A further column is a level by its text, screened without being named, its p adjusted with the other screened ones.
func TestFurtherColumnIsScreened(t *testing.T) {
	t.Parallel()
	in := levelled(6, []string{"one", "two"}, func(l, a int) [4]int64 { return [4]int64{4 + int64(l), 3, 3, 2 + int64(a%2)} })
	in.Subgroups = nil
	for i := range in.Tallies {
		in.Tallies[i].Columns = string(trial.NewFurther(map[string]string{"leader": []string{"long", "short"}[i%8/4]}))
	}
	r := mustRun(t, in, analysis.Settings{})
	g := group(t, r, "leader")
	if g.Named || g.Correction != analysis.ByBH || g.P == nil || *g.AdjustedP < *g.P {
		t.Errorf("%+v", g)
	}
	mustWarn(t, r, analysis.WarnSubgroupPower)
}
