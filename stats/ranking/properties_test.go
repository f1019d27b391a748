package ranking_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/exact"
	"evenrig/stats/glmm"
	"evenrig/stats/num"
	"evenrig/stats/ranking"
)

var codes = []string{"A", "B", "C", "D", "E"}

// drawComparisons draws rigs of up to five patterns, some of which may never meet.
func drawComparisons(t *rapid.T) ([]string, []ranking.Comparison) {
	patterns := codes[:rapid.IntRange(2, 5).Draw(t, "patterns")]
	return patterns, rapid.SliceOfN(rapid.Custom(func(t *rapid.T) ranking.Comparison {
		i := rapid.IntRange(0, len(patterns)-1).Draw(t, "lower")
		j := (i + rapid.IntRange(1, len(patterns)-1).Draw(t, "upper")) % len(patterns)
		return ranking.Comparison{
			Angler: rapid.IntRange(0, 3).Draw(t, "angler"), Lower: patterns[i], Upper: patterns[j],
			LowerTaken: rapid.Int64Range(0, 6).Draw(t, "lower taken"), UpperTaken: rapid.Int64Range(0, 6).Draw(t, "upper taken"),
		}
	}), 1, 14).Draw(t, "comparisons")
}

func logLikelihood(patterns []string, all []ranking.Comparison, strengths []float64, position float64) float64 {
	index := map[string]int{}
	for i, p := range patterns {
		index[p] = i
	}
	var l float64
	for _, c := range all {
		eta := strengths[index[c.Lower]] - strengths[index[c.Upper]] + position
		l -= float64(c.LowerTaken)*math.Log1p(math.Exp(-eta)) + float64(c.UpperTaken)*math.Log1p(math.Exp(eta))
	}
	return l
}

// The highest point, by its definition: the likelihood equations hold, which say that
// each pattern takes as many fish as expected, and the lower position too; no point
// around is likelier.
func TestHighestPoint(t *testing.T) {
	t.Parallel()
	fits := 0
	rapid.Check(t, func(t *rapid.T) {
		patterns, all := drawComparisons(t)
		r, err := ranking.Fit(patterns, all, 0.95)
		if err != nil {
			refusal(t, err)
			return
		}
		fits++
		strengths := []float64{0}
		for _, c := range r.Contrasts {
			strengths = append(strengths, c.LogOdds)
		}
		excess, position, fish := map[string]float64{}, 0.0, 0.0
		for _, c := range all {
			var s [2]float64
			for i, p := range patterns {
				if p == c.Lower {
					s[0] = strengths[i]
				}
				if p == c.Upper {
					s[1] = strengths[i]
				}
			}
			n := float64(c.LowerTaken + c.UpperTaken)
			expected := n * num.Expit(s[0]-s[1]+r.Position.LogOdds)
			excess[c.Lower] += float64(c.LowerTaken) - expected
			excess[c.Upper] -= float64(c.LowerTaken) - expected
			position += float64(c.LowerTaken) - expected
			fish += n
		}
		for p, e := range excess {
			if math.Abs(e) > 1e-10*fish {
				t.Errorf("pattern %s takes %g fish more than expected", p, e)
			}
		}
		if math.Abs(position) > 1e-10*fish {
			t.Errorf("the lower position takes %g fish more than expected", position)
		}
		top := logLikelihood(patterns, all, strengths, r.Position.LogOdds)
		if math.Abs(top-r.LogLikelihood) > 1e-10*(1+math.Abs(top)) {
			t.Errorf("log-likelihood %.15g, by definition %.15g", r.LogLikelihood, top)
		}
		if r.Deviance < 0 || r.DevianceP < 0 || r.DevianceP > 1 {
			t.Errorf("deviance %g, p %g", r.Deviance, r.DevianceP)
		}
	})
	if fits == 0 {
		t.Error("no draw had a fit: the test tests nothing")
	}
}

// refusal fails the test unless err is one that legal counts can cause.
func refusal(t *rapid.T, err error) {
	t.Helper()
	for _, legal := range []error{ranking.ErrNotConnected, ranking.ErrSeparation, ranking.ErrPosition} {
		if errors.Is(err, legal) {
			return
		}
	}
	t.Fatal(err)
}

// A fit is refused just if the likelihood has no highest point. By brute force: a
// small penalty gives every likelihood a highest point; halving the penalty again and
// again, it stays where it is or runs away.
func TestExistence(t *testing.T) {
	t.Parallel()
	seen := map[bool]int{}
	rapid.Check(t, func(t *rapid.T) {
		patterns, all := drawComparisons(t)
		_, err := ranking.Fit(patterns, all, 0.95)
		seen[err == nil]++
		near, far := penalised(patterns, all, 1e-5), penalised(patterns, all, 1e-8)
		moved := 0.0
		for i := range near {
			moved = math.Max(moved, math.Abs(near[i]-far[i]))
		}
		// Along a direction that nothing but the penalty holds, a maximum moves by ln 1000 =
		// 6.9 over its steepness, or not at all if it is flat; a held one by about 1e-4.
		if err == nil && moved > 0.1 {
			t.Errorf("fitted, but the highest point of %v runs away: %v, %v", all, near, far)
		}
		if errors.Is(err, ranking.ErrSeparation) && moved < 0.5 {
			t.Errorf("%v, but the highest point of %v stays: %v, %v", err, all, near, far)
		}
	})
	if seen[true] == 0 || seen[false] == 0 {
		t.Errorf("fits and refusals: %v", seen)
	}
}

// penalised returns all strengths and the position effect at the highest point of
// the log-likelihood less penalty times their squares, by Newton's method with
// Gaussian elimination.
func penalised(patterns []string, all []ranking.Comparison, penalty float64) []float64 {
	index := map[string]int{}
	for i, p := range patterns {
		index[p] = i
	}
	n := len(patterns) + 1
	at := make([]float64, n)
	for range 400 {
		system := make([][]float64, n)
		for i := range system {
			system[i] = make([]float64, n+1)
			system[i][i] = 2 * penalty
			system[i][n] = -2 * penalty * at[i]
		}
		for _, c := range all {
			x := make([]float64, n)
			x[index[c.Lower]], x[index[c.Upper]], x[n-1] = 1, -1, 1
			eta := at[index[c.Lower]] - at[index[c.Upper]] + at[n-1]
			p, fish := num.Expit(eta), float64(c.LowerTaken+c.UpperTaken)
			for i := range n {
				system[i][n] += x[i] * (float64(c.LowerTaken) - fish*p)
				for j := range n {
					system[i][j] += x[i] * x[j] * fish * p * (1 - p)
				}
			}
		}
		for i := range n {
			for j := range n {
				if j != i {
					f := system[j][i] / system[i][i]
					for k := i; k <= n; k++ {
						system[j][k] -= f * system[i][k]
					}
				}
			}
		}
		largest := 0.0
		for i := range n {
			largest = math.Max(largest, math.Abs(system[i][n]/system[i][i]))
		}
		for i := range n { // steps of at most 1 keep Newton's method from overshooting
			at[i] += system[i][n] / system[i][i] * math.Min(1, 1/largest)
		}
		if largest < 1e-10 {
			break
		}
	}
	return at
}

// Rows in another order, split in two, or with silent ones between them change
// nothing; positions exchanged change the sign of the position effect alone; another
// control shifts the strengths.
func TestEquivariance(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		patterns, all := drawComparisons(t)
		r, err := ranking.Fit(patterns, all, 0.9)
		if err != nil {
			return
		}
		fit := func(patterns []string, all []ranking.Comparison) *ranking.Result {
			r, err := ranking.Fit(patterns, all, 0.9)
			if err != nil {
				t.Fatal(err)
			}
			return r
		}
		near := func(name string, got, want float64) {
			if !(math.Abs(got-want) <= 1e-8*(1+math.Abs(want))) { // an information as ill-conditioned as 1e8
				t.Errorf("%s: %.15g, want %.15g", name, got, want)
			}
		}
		split := []ranking.Comparison{{Lower: patterns[1], Upper: patterns[0]}}
		exchanged := make([]ranking.Comparison, len(all))
		for _, c := range rapid.Permutation(all).Draw(t, "order") {
			one := c
			one.LowerTaken, c.UpperTaken = 0, 0
			split = append(split, one, c)
		}
		for i, c := range all {
			exchanged[i] = ranking.Comparison{Lower: c.Upper, Upper: c.Lower, LowerTaken: c.UpperTaken, UpperTaken: c.LowerTaken}
		}
		s, x := fit(patterns, split), fit(patterns, exchanged)
		near("position in another order", s.Position.LogOdds, r.Position.LogOdds)
		near("position exchanged", x.Position.LogOdds, -r.Position.LogOdds)
		near("deviance exchanged", x.Deviance, r.Deviance)
		for i, c := range r.Contrasts {
			near("contrast in another order", s.Contrasts[i].LogOdds, c.LogOdds)
			near("SE in another order", s.Contrasts[i].StdErr, c.StdErr)
			near("contrast exchanged", x.Contrasts[i].LogOdds, c.LogOdds)
		}
		// The last pattern as control: its contrast with the first changes sign.
		last := len(patterns) - 1
		other := append([]string{patterns[last]}, patterns[:last]...)
		o := fit(other, all)
		near("against another control", o.Contrasts[0].LogOdds, -r.Contrasts[last-1].LogOdds)
		near("its SE", o.Contrasts[0].StdErr, r.Contrasts[last-1].StdErr)
		near("its p", o.Contrasts[0].P, r.Contrasts[last-1].P)
		near("position with another control", o.Position.LogOdds, r.Position.LogOdds)
	})
}

// Refusals name what is at fault.
func TestRefused(t *testing.T) {
	t.Parallel()
	rig := func(lower, upper string, l, u int64) ranking.Comparison {
		return ranking.Comparison{Lower: lower, Upper: upper, LowerTaken: l, UpperTaken: u}
	}
	both := func(i, j string) []ranking.Comparison {
		return []ranking.Comparison{rig(i, j, 3, 2), rig(j, i, 4, 1)}
	}
	abc, abcd := codes[:3], codes[:4]
	for _, c := range []struct {
		name        string
		patterns    []string
		comparisons []ranking.Comparison
		level       float64
		want        error
		says        string
	}{
		{"one pattern", codes[:1], nil, 0.95, ranking.ErrInput, "1 patterns"},
		{"a pattern twice", []string{"A", "B", "A"}, nil, 0.95, ranking.ErrInput, `"A"`},
		{"a pattern without a name", []string{"A", ""}, nil, 0.95, ranking.ErrInput, "pattern 2"},
		{"an unknown pattern", abc, []ranking.Comparison{rig("A", "X", 1, 1)}, 0.95, ranking.ErrInput, `"X"`},
		{"a pattern with itself", abc, []ranking.Comparison{rig("B", "B", 1, 1)}, 0.95, ranking.ErrInput, `"B"`},
		{"a negative count", abc, []ranking.Comparison{rig("A", "B", -1, 1)}, 0.95, ranking.ErrInput, "-1"},
		{"too many fish", abc, []ranking.Comparison{rig("A", "B", 1, exact.MaxCount+1)}, 0.95, ranking.ErrInput, "1000000001"},
		{"level", abc, both("A", "B"), 1, ranking.ErrLevel, "1"},
		{"no fish", abc, []ranking.Comparison{rig("A", "B", 0, 0)}, 0.95, ranking.ErrNotConnected, `"A" and "B", "C"`},
		{"two parts", abcd, append(both("A", "C"), both("D", "B")...), 0.95, ranking.ErrNotConnected, `"A", "C" and "B", "D"`},
		{"one never took a fish", abc, append(both("A", "B"), rig("A", "C", 3, 0), rig("C", "B", 0, 2)), 0.95, ranking.ErrSeparation, `"C" took no fish from "A", "B"`},
		{"one never lost a fish", abc, append(both("A", "B"), rig("A", "C", 0, 3), rig("C", "B", 4, 0)), 0.95, ranking.ErrSeparation, `"A", "B" took no fish from "C"`},
		{"all took the lower fly", abc, []ranking.Comparison{rig("A", "B", 4, 0), rig("B", "A", 2, 0), rig("A", "C", 4, 0), rig("C", "A", 1, 0)}, 0.95, ranking.ErrSeparation, "lower fly"},
		{"all took the upper fly", abc[:2], []ranking.Comparison{rig("A", "B", 0, 4), rig("B", "A", 0, 2)}, 0.95, ranking.ErrSeparation, "upper fly"},
		{"one way round only", abc, []ranking.Comparison{rig("A", "B", 4, 2), rig("A", "C", 3, 3)}, 0.95, ranking.ErrPosition, "both ways round"},
	} {
		_, err := ranking.Fit(c.patterns, c.comparisons, c.level)
		if !errors.Is(err, c.want) || !strings.Contains(fmt.Sprint(err), c.says) {
			t.Errorf("%s: %v, want %v with %s", c.name, err, c.want, c.says)
		}
		_, err = ranking.FitAnglers(c.patterns, c.comparisons, c.level)
		if !errors.Is(err, c.want) {
			t.Errorf("%s, with anglers: %v, want %v", c.name, err, c.want)
		}
	}
	// A cycle tells position from patterns although no pair was fished both ways round.
	r, err := ranking.Fit(abc, []ranking.Comparison{rig("A", "B", 3, 2), rig("B", "C", 3, 2), rig("C", "A", 3, 2)}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := r.Position.LogOdds, math.Log(1.5); math.Abs(got-want) > 1e-12 {
		t.Errorf("position %g, want %g", got, want)
	}
	if _, err := ranking.FitAnglers(abc[:2], both("A", "B"), 0.95); !errors.Is(err, glmm.ErrOneAngler) {
		t.Errorf("one angler: %v", err)
	}
}

func BenchmarkFit20Patterns(b *testing.B) {
	var patterns []string
	var all []ranking.Comparison
	for i := range 20 {
		patterns = append(patterns, string(rune('A'+i)))
		for j := range i {
			n := int64(i*7+j*3)%11 + 1
			all = append(all, ranking.Comparison{Lower: patterns[i], Upper: patterns[j], LowerTaken: n + 1, UpperTaken: 12 - n},
				ranking.Comparison{Lower: patterns[j], Upper: patterns[i], LowerTaken: n, UpperTaken: 13 - n})
		}
	}
	for b.Loop() {
		if _, err := ranking.Fit(patterns, all, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}

func FuzzFiniteOrError(f *testing.F) {
	f.Add(int64(3), int64(2), int64(4), int64(1), int64(0), int64(2), int64(5), int64(5), 0.95)
	f.Add(int64(1_000_000_000), int64(1), int64(1), int64(1), int64(0), int64(1), int64(1), int64(1_000_000_000), 0.999)
	f.Add(int64(1_000_000_000), int64(1), int64(74), int64(1), int64(5), int64(1), int64(1), int64(1_000_000_000), 0.95) // a step far out left a few fish without weight
	f.Add(int64(-1), int64(0), int64(0), int64(0), int64(0), int64(0), int64(0), int64(0), 2.0)
	f.Fuzz(func(t *testing.T, a, b, c, d, e, g, h, i int64, level float64) {
		all := []ranking.Comparison{
			{Angler: 1, Lower: "A", Upper: "B", LowerTaken: a, UpperTaken: b},
			{Angler: 2, Lower: "B", Upper: "A", LowerTaken: c, UpperTaken: d},
			{Angler: 1, Lower: "B", Upper: "C", LowerTaken: e, UpperTaken: g},
			{Angler: 3, Lower: "A", Upper: "C", LowerTaken: h, UpperTaken: i},
		}
		fits := []func([]string, []ranking.Comparison, float64) (*ranking.Result, error){ranking.Fit}
		if max(a, b, c, d, e, g, h, i) < 1000 {
			fits = append(fits, ranking.FitAnglers)
		}
		for _, fit := range fits {
			r, err := fit(codes[:3], all, level)
			if err != nil {
				if r != nil || errors.Is(err, ranking.ErrNotConverged) {
					t.Errorf("%v: %v, %v", all, r, err)
				}
				continue
			}
			values := []float64{r.Position.LogOdds, r.Position.StdErr, r.Position.Low, r.Position.High, r.Position.P, r.LogLikelihood, r.Deviance, r.DevianceP, r.SDPattern, r.SDPosition}
			for _, c := range append(r.Contrasts, r.Pairs...) {
				values = append(values, c.LogOdds, c.StdErr, c.Low, c.High, c.P, c.AdjustedP)
			}
			for _, v := range values {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Fatalf("%v at level %g: %+v", all, level, r)
				}
			}
		}
	})
}
