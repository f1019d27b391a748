package analysis_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// rig is one angler's fish: test and control taken with the test pattern lower, then with it upper.
type rig struct {
	angler, outing, block string
	a, b, c, d            int64
}

func (r rig) tallies() []trial.Tally {
	cell := func(arrangement trial.Arrangement, taken trial.Taken, n int64) trial.Tally {
		return trial.Tally{Angler: r.angler, Outing: r.outing, Block: r.block, Arrangement: arrangement, Taken: taken, N: n}
	}
	return []trial.Tally{
		cell(trial.TestLower, trial.TookTest, r.a), cell(trial.TestLower, trial.TookControl, r.b),
		cell(trial.ControlLower, trial.TookTest, r.c), cell(trial.ControlLower, trial.TookControl, r.d),
	}
}

func input(rigs ...rig) analysis.Input {
	in := analysis.Input{Test: "A", Control: "B"}
	for _, r := range rigs {
		in.Tallies = append(in.Tallies, r.tallies()...)
	}
	return in
}

// anglers gives n anglers the same fish.
func anglers(n int, a, b, c, d int64) analysis.Input {
	var rigs []rig
	for i := range n {
		rigs = append(rigs, rig{angler: fmt.Sprintf("angler %02d", i), a: a, b: b, c: c, d: d})
	}
	return input(rigs...)
}

// What data can do to a method: every case is a result with the warnings that say why, never an error.
func TestDataThatMethodsCannotUse(t *testing.T) {
	t.Parallel()
	mixedRigs := func(k int, extreme rig) analysis.Input {
		rigs := []rig{extreme}
		for i := range k - 1 {
			rigs = append(rigs, rig{angler: fmt.Sprintf("angler %02d", i), a: 7, b: 3, c: 5, d: 4})
		}
		return input(rigs...)
	}
	for _, c := range []struct {
		name     string
		in       analysis.Input
		warnings []string
		method   analysis.Method
		verdict  analysis.VerdictCode
		look     func(t *testing.T, r analysis.Result)
	}{
		{
			name: "no tallies at all", in: input(),
			warnings: []string{analysis.WarnNoCatches}, method: analysis.ExactStratified, verdict: analysis.NotSettled,
			look: func(t *testing.T, r analysis.Result) {
				if r.RawShare != nil || r.PooledTable != nil || r.Stratified != nil || r.MixedModel != nil || r.Combined != nil {
					t.Error("something was estimated from nothing")
				}
			},
		},
		{
			name: "only fish that are not analysed",
			in: analysis.Input{Test: "A", Control: "B", Tallies: []trial.Tally{
				{Angler: "a", Exclusion: trial.FoulHooked, Taken: trial.TookTest, Arrangement: trial.TestLower, N: 2},
				{Angler: "a", Exclusion: trial.NotSure, Taken: trial.TookUnknown, N: 3},
			}},
			warnings: []string{analysis.WarnNoCatches}, method: analysis.ExactStratified, verdict: analysis.NotSettled,
			look: func(t *testing.T, r analysis.Result) {
				if r.Counts.Catches != 5 || r.Counts.Excluded[trial.NotSure] != 3 || r.Counts.Excluded[trial.FoulHooked] != 2 || len(r.Anglers) != 1 {
					t.Errorf("counts %+v, %d anglers", r.Counts, len(r.Anglers))
				}
			},
		},
		{
			name: "one angler in one table", in: input(rig{angler: "me", a: 9, b: 3, c: 6, d: 4}),
			warnings: []string{analysis.WarnOneAngler, analysis.WarnOneStratum}, method: analysis.ExactStratified, verdict: analysis.NotSettled,
			look: func(t *testing.T, r analysis.Result) {
				if r.MixedModel.Status != analysis.NotFitted || r.Combined != nil || r.Stratified.Strata != 1 {
					t.Errorf("mixed model %s, combined %v, %d strata", r.MixedModel.Status, r.Combined, r.Stratified.Strata)
				}
			},
		},
		{
			name:     "one angler, strata by outing",
			in:       input(rig{angler: "me", outing: "1", a: 5, b: 1, c: 4, d: 2}, rig{angler: "me", outing: "2", a: 4, b: 2, c: 4, d: 2}, rig{angler: "me", outing: "3", a: 4}),
			warnings: []string{analysis.WarnOneAngler}, method: analysis.ExactStratified, verdict: analysis.NotSettled,
			look: func(t *testing.T, r analysis.Result) {
				if r.Stratified.Strata != 2 || !strings.Contains(r.Headline.Reason, "outings") {
					t.Errorf("%d strata: %s", r.Stratified.Strata, r.Headline.Reason)
				}
			},
		},
		{
			name: "one angler, blocks that each hold one arrangement give way to outings",
			in: input(rig{angler: "me", outing: "1", block: "1", a: 5, b: 1}, rig{angler: "me", outing: "1", block: "2", c: 4, d: 2},
				rig{angler: "me", outing: "2", block: "3", a: 4, b: 2, c: 0, d: 0}),
			warnings: []string{analysis.WarnOneAngler}, method: analysis.ExactStratified, verdict: analysis.NotSettled,
			look: func(t *testing.T, r analysis.Result) {
				if r.Stratified.Strata != 1 || !strings.Contains(r.Headline.Reason, "outings") {
					t.Errorf("%d strata: %s", r.Stratified.Strata, r.Headline.Reason)
				}
			},
		},
		{
			name: "one arrangement", in: anglers(6, 8, 2, 0, 0),
			warnings: []string{analysis.WarnOneArrangement, analysis.WarnLeftOut, analysis.WarnNotCombined}, method: analysis.MixedModelProfile, verdict: analysis.NotSettled,
			look: func(t *testing.T, r analysis.Result) {
				if r.PooledTable != nil || r.Stratified != nil || r.Combined != nil || r.Headline.Share != nil || r.Headline.ShareLow != nil {
					t.Error("a position-free part was estimated from one arrangement")
				}
				is(t, "raw share", &r.RawShare.Estimate, .8, 1e-15)
				if r.MixedModel.Status != analysis.NotFitted {
					t.Errorf("mixed model %s", r.MixedModel.Status)
				}
			},
		},
		{
			name: "only the lower fly is ever taken", in: anglers(6, 8, 0, 0, 7),
			warnings: []string{analysis.WarnOnePosition, analysis.WarnSeparation, analysis.WarnHalfAdded}, method: analysis.MixedModelProfile, verdict: analysis.NotSettled,
		},
		{
			name: "complete separation: only the test pattern is ever taken", in: anglers(6, 8, 0, 7, 0),
			warnings: []string{analysis.WarnSeparation, analysis.WarnZeroCell, analysis.WarnHalfAdded, analysis.WarnUnbounded},
			method:   analysis.ExactStratified, verdict: analysis.TestTakesMore,
			look: func(t *testing.T, r analysis.Result) {
				h := r.Headline
				if h.LogOdds != nil || h.High != nil || h.Low == nil {
					t.Errorf("headline %v %v %v", h.LogOdds, h.Low, h.High)
				}
				is(t, "share", h.Share, 1, 0)
				is(t, "share_high", h.ShareHigh, 1, 0)
				if r.MixedModel.Status != analysis.Separated || r.PooledTable.LogOdds != nil || r.PooledTable.Conditional != nil {
					t.Errorf("mixed model %s, pooled table %+v", r.MixedModel.Status, r.PooledTable)
				}
			},
		},
		{
			name: "complete separation the other way", in: anglers(3, 0, 8, 0, 7),
			warnings: []string{analysis.WarnUnbounded, analysis.WarnFewAnglers}, method: analysis.ExactStratified, verdict: analysis.ControlTakesMore,
			look: func(t *testing.T, r analysis.Result) {
				is(t, "share", r.Headline.Share, 0, 0)
				is(t, "exact_odds_ratio", r.Stratified.ExactOddsRatio, 0, 0)
			},
		},
		{
			name: "a zero cell of one angler", in: mixedRigs(6, rig{angler: "zero", a: 6, b: 0, c: 5, d: 2}),
			warnings: []string{analysis.WarnHalfAdded}, method: analysis.MixedModelProfile, verdict: analysis.TestTakesMore,
			look: func(t *testing.T, r analysis.Result) {
				for _, a := range r.Anglers {
					if a.HalfAdded != (a.Angler == "zero") {
						t.Errorf("angler %s: half added %v", a.Angler, a.HalfAdded)
					}
				}
			},
		},
		{
			name: "anglers with one arrangement are left out of the combination only", in: mixedRigs(6, rig{angler: "lower only", a: 6, b: 3}),
			warnings: []string{analysis.WarnLeftOut}, method: analysis.MixedModelProfile, verdict: analysis.TestTakesMore,
			look: func(t *testing.T, r analysis.Result) {
				if r.Combined.LeftOut != 1 || r.Combined.QDF != 4 {
					t.Errorf("left out %d, q_df %d", r.Combined.LeftOut, r.Combined.QDF)
				}
				// Five anglers with 19 fish and one with 9: ∛(6·(104²/(5·19²+9²))²) - 1.
				is(t, "df", r.Headline.DF, math.Cbrt(6*math.Pow(104*104/1886., 2))-1, 1e-12)
			},
		},
		{
			name: "no variation between anglers", in: anglers(8, 6, 4, 5, 5),
			warnings: []string{analysis.WarnSingular}, method: analysis.MixedModelProfile, verdict: analysis.NotSettled,
			look: func(t *testing.T, r analysis.Result) {
				is(t, "sd_pattern", r.MixedModel.SDPattern, 0, 0)
				is(t, "tau2_high", r.Combined.Tau2High, 0, 0)
			},
		},
		{
			name: "a million fish in a cell", in: mixedRigs(6, rig{angler: "many", a: 1_000_000, b: 600_000, c: 900_000, d: 800_000}),
			method: analysis.MixedModelProfile, verdict: analysis.TestTakesMore,
		},
		{
			name: "a million fish in a cell of a lone angler", in: input(rig{angler: "many", a: 1_000_000, b: 400_000, c: 900_000, d: 500_000}),
			warnings: []string{analysis.WarnOneAngler}, method: analysis.ExactStratified, verdict: analysis.TestTakesMore,
		},
		{
			name: "two anglers with one fish each", in: input(rig{angler: "a", a: 1}, rig{angler: "b", d: 1}),
			warnings: []string{analysis.WarnFewAnglers}, method: analysis.ExactStratified, verdict: analysis.NotSettled,
		},
		{
			name: "every angler has one arrangement, both occur", in: input(rig{angler: "a", a: 3, b: 2}, rig{angler: "b", c: 2, d: 3}),
			warnings: []string{analysis.WarnFewAnglers, analysis.WarnLeftOut, analysis.WarnNoInformation}, method: analysis.ExactStratified, verdict: analysis.NotSettled,
		},
		{
			name: "anglers of opposite minds: the exact method, which takes them as one, must not call the patterns even",
			in: input(rig{angler: "a", a: 8, c: 8}, rig{angler: "b", a: 8, c: 8}, rig{angler: "c", a: 8, c: 8},
				rig{angler: "d", b: 8, d: 8}, rig{angler: "e", b: 8, d: 8}, rig{angler: "f", b: 8, d: 8}),
			warnings: []string{analysis.WarnNoMaximum, analysis.WarnNoMethod, analysis.WarnHalfAdded}, method: analysis.MixedModelProfile, verdict: analysis.NotSettled,
			look: func(t *testing.T, r analysis.Result) {
				if r.Headline.Share != nil || !strings.Contains(r.Verdict.Sentence, "not enough to tell") {
					t.Errorf("share %v: %s", r.Headline.Share, r.Verdict.Sentence)
				}
			},
		},
		{
			name:     "four anglers of opposite minds",
			in:       input(rig{angler: "a", a: 40, b: 9, c: 38, d: 8}, rig{angler: "b", a: 40, b: 9, c: 38, d: 8}, rig{angler: "c", a: 9, b: 40, c: 8, d: 38}, rig{angler: "d", a: 9, b: 40, c: 8, d: 38}),
			warnings: []string{analysis.WarnFewAnglers, analysis.WarnAnglersDiffer}, method: analysis.ExactStratified, verdict: analysis.Even,
			look: func(t *testing.T, r analysis.Result) {
				if !strings.Contains(r.Verdict.Sentence, "do not agree") {
					t.Error(r.Verdict.Sentence)
				}
			},
		},
		{
			name: "one angler has nearly all fish", in: mixedRigs(6, rig{angler: "many", a: 3300, b: 1700, c: 2700, d: 2300}),
			warnings: []string{analysis.WarnPrevailing, analysis.WarnSingular}, method: analysis.MixedModelProfile, verdict: analysis.TestTakesMore,
			look: func(t *testing.T, r analysis.Result) {
				all := r.Verdict.Sentence + strings.Join(r.Verdict.Limits, " ")
				for _, text := range []string{"99 of 100 by one angler", "mostly one angler's answer", "One angler caught 10000 of the 10095 analysed fish"} {
					if !strings.Contains(all, text) {
						t.Errorf("%q does not say %q", all, text)
					}
				}
				if low, _ := r.Prediction(); low != nil || strings.Contains(all, "anglers like ours") {
					t.Errorf("it speaks of other anglers (%v): %s", low, all)
				}
			},
		},
		{
			name: "one angler has most fish, but anglers differ", in: mixedRigs(6, rig{angler: "many", a: 60, b: 90, c: 20, d: 130}),
			method: analysis.MixedModelProfile, verdict: analysis.NotSettled,
			look: func(t *testing.T, r analysis.Result) {
				if _, one := r.Prevailing(); one || *r.MixedModel.SDPattern == 0 {
					t.Errorf("prevailing with sd_pattern %g", *r.MixedModel.SDPattern)
				}
			},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := mustRun(t, c.in, analysis.Settings{})
			mustWarn(t, r, c.warnings...)
			if r.Headline.Method != c.method || r.Verdict.Code != c.verdict {
				t.Errorf("%s says %s, want %s and %s (%s)", r.Headline.Method, r.Verdict.Code, c.method, c.verdict, r.Headline.Reason)
			}
			if r.Verdict.Sentence == "" || len(r.Verdict.Limits) < 3 || !strings.Contains(r.Verdict.Limits[0], "choice when both flies are in the water") {
				t.Errorf("verdict %+v", r.Verdict)
			}
			if c.look != nil {
				c.look(t, r)
			}
		})
	}
}

// From five anglers the mixed model speaks, up to four the exact method.
func TestHeadlineByNumberOfAnglers(t *testing.T) {
	t.Parallel()
	for k := 1; k <= 6; k++ {
		in := input()
		for i := range k {
			in.Tallies = append(in.Tallies, rig{angler: fmt.Sprint(i), a: 7 + int64(i), b: 3, c: 6, d: 4}.tallies()...)
		}
		in.Tallies = append(in.Tallies, trial.Tally{Angler: "blank", Exclusion: trial.NotSure, Taken: trial.TookUnknown, N: 4})
		r := mustRun(t, in, analysis.Settings{})
		want := analysis.ExactStratified
		if k >= 5 {
			want = analysis.MixedModelProfile
		}
		if r.Headline.Method != want {
			t.Errorf("%d anglers: %s, want %s", k, r.Headline.Method, want)
		}
		if int(r.Counts.Anglers) != k+1 || len(r.Anglers) != k+1 {
			t.Errorf("%d anglers: counted %d, listed %d; one has no analysed fish", k, r.Counts.Anglers, len(r.Anglers))
		}
	}
}

// Outings enter the model when they can be told from anglers, and only then.
func TestDefaultVary(t *testing.T) {
	t.Parallel()
	days := func(anglers, outings int, fish int64, outing func(int) string) analysis.Input {
		in := input()
		for i := range anglers {
			for o := range outings {
				in.Tallies = append(in.Tallies, rig{angler: fmt.Sprint(i), outing: outing(o), a: fish, b: fish, c: fish, d: fish}.tallies()...)
			}
		}
		return in
	}
	day := func(o int) string { return fmt.Sprintf("day %d", o) }
	single := analysis.Input{Test: "A", Control: "B"}
	for i := range 5 {
		single.Tallies = append(single.Tallies, rig{angler: fmt.Sprint(i), outing: "1", a: 3, b: 2}.tallies()...)
		single.Tallies = append(single.Tallies, rig{angler: fmt.Sprint(i), outing: "2", c: 3, d: 1}.tallies()...)
	}
	singles := analysis.Input{Test: "A", Control: "B"}
	for i := range 6 * 12 {
		singles.Tallies = append(singles.Tallies, rig{angler: fmt.Sprint(i % 6), outing: fmt.Sprint(i / 6), a: int64(i % 2), d: int64((i + 1) % 2)}.tallies()...)
		singles.Tallies = append(singles.Tallies, rig{angler: fmt.Sprint(i % 6), outing: fmt.Sprint("and ", i/6), b: int64((i / 3) % 2), c: int64((i/3 + 1) % 2)}.tallies()...)
	}
	for _, c := range []struct {
		name   string
		in     analysis.Input
		design trial.Design
		vary   analysis.Vary
		points int
		warn   bool
	}{
		{"two outings each", days(5, 2, 1, day), trial.Paired, analysis.VaryPatternPositionOuting, 7, false},
		{"one outing each", days(5, 1, 1, day), trial.Paired, analysis.VaryPatternPosition, 15, true},
		{"days not known", days(5, 2, 1, func(int) string { return "" }), trial.Paired, analysis.VaryPatternPosition, 15, true},
		{"one fish an outing", singles, trial.PairedByOuting, analysis.VaryPatternPosition, 15, true},
		{"one arrangement an outing", single, trial.PairedByOuting, analysis.VaryPatternPositionOuting, 7, false},
	} {
		r := mustRun(t, c.in, analysis.Settings{})
		warned := false
		for _, w := range r.Warnings {
			warned = warned || w.Code == analysis.WarnOutingsLeftOut
		}
		if r.Design != c.design || r.Settings.Vary != c.vary || r.Settings.Points != c.points || warned != c.warn {
			t.Errorf("%s: %s, %s with %d points, warned %v", c.name, r.Design, r.Settings.Vary, r.Settings.Points, warned)
		}
		if c.vary == analysis.VaryPatternPositionOuting && r.MixedModel.Status == analysis.Converged && r.MixedModel.SDOuting == nil {
			t.Errorf("%s: sd_outing is null", c.name)
		}
	}
}

// Every fault of input and settings is named at once.
func TestRefusedInput(t *testing.T) {
	t.Parallel()
	in := input(rig{angler: "a", a: 1, d: 1})
	in.SmallestShare, in.Alpha, in.Control = 1.2, 2, "A"
	in.Subgroups = []string{"species", "species"}
	in.Draw = []trial.DrawnBlock{{Angler: "a", Block: "1"}}
	_, err := analysis.Run(in, analysis.Settings{Vary: "everything", Points: -1})
	for _, field := range []string{"smallest_share", "alpha", "patterns", "vary", "points", "subgroups", "draw"} {
		if err == nil || trial.KindOf(err) != trial.Invalid || !strings.Contains(err.Error(), field) {
			t.Errorf("the error does not name %s: %v", field, err)
		}
	}
	half := analysis.Input{Test: "A", Control: "B", Tallies: []trial.Tally{{Angler: "a", Taken: trial.TookTest, N: 1}}}
	if _, err := analysis.Run(half, analysis.Settings{}); trial.KindOf(err) != trial.Invalid {
		t.Errorf("an analysed fish without an arrangement: %v", err)
	}
	two := input(rig{angler: "a", outing: "1", a: 2, b: 2, c: 2, d: 2}, rig{angler: "a", outing: "2", a: 2, b: 2, c: 2, d: 2},
		rig{angler: "b", outing: "1", a: 2, b: 2, c: 2, d: 2}, rig{angler: "b", outing: "2", a: 2, b: 2, c: 2, d: 2})
	if _, err := analysis.Run(two, analysis.Settings{Correlated: true, Vary: analysis.VaryPattern}); trial.KindOf(err) != trial.Invalid {
		t.Errorf("one effect, correlated: %v", err)
	}
	if r := mustRun(t, two, analysis.Settings{Points: 9}); r.Settings.Points != 9 || r.Settings.Vary != analysis.VaryPatternPositionOuting {
		t.Errorf("%d points with %s", r.Settings.Points, r.Settings.Vary)
	}
	if r := mustRun(t, two, analysis.Settings{Points: 9, Vary: analysis.VaryPattern}); r.MixedModel.Points != 9 {
		t.Errorf("%d points, want 9", r.MixedModel.Points)
	}
}
