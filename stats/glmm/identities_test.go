package glmm

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/stattest"
)

// inventedCells is inventedRows as cells of a trial.
func inventedCells(seed uint64, anglers, outings int, su, sv, sw float64) []Cell {
	var cells []Cell
	for _, r := range inventedRows(seed, anglers, outings, 8, .4, .5, su, sv, sw) {
		cells = append(cells, Cell{r.Group, r.Subgroup, r.V > 0, r.Y, r.N - r.Y})
	}
	return cells
}

func mustFit(t *testing.T, cells []Cell, options Options) *TrialResult {
	t.Helper()
	r, err := FitTrial(cells, options)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

var everyModel = []Options{
	{Vary: VaryPattern, Points: 1},
	{Vary: VaryPattern, Points: 7},
	{Vary: VaryPatternPosition, Points: 1},
	{Vary: VaryPatternPosition, Points: 7},
	{Vary: VaryPatternOuting, Points: 1},
	{Vary: VaryPatternPositionOuting, Points: 1},
	{Vary: VaryPatternOuting, Points: 5},
	{Vary: VaryPatternPositionOuting, Points: 3},
	{Vary: VaryPatternPosition, Points: 5, Correlated: true},
	{Vary: VaryPatternPositionOuting, Points: 1, Correlated: true},
}

// With one point the quadrature route is the Laplace approximation: value and
// gradient agree although nothing of their code but the mode is shared.
func TestOnePointIsLaplace(t *testing.T) {
	p, err := newProblem(inventedRows(3, 7, 1, 6, .4, .3, .8, .4, 0), Options{Vary: VaryPatternPosition})
	if err != nil {
		t.Fatal(err)
	}
	psi := []float64{.4, .3, .7, -.5, 0, 0, 0}
	laplace, onePoint := newEvaluator(p, 1), newEvaluator(p, 2)
	onePoint.rule = newRule(1)
	a, b := make([]float64, 7), make([]float64, 7)
	stattest.Relative(t, "log-likelihood", onePoint.evaluate(psi, b), laplace.evaluate(psi, a), 1e-14)
	for k := range a {
		stattest.Within(t, "gradient", b[k], a[k], 1e-12)
	}
}

// With every SD at 0 the likelihood is that of independent fish, whatever the points.
func TestNoVariationIsBinomial(t *testing.T) {
	rows := inventedRows(4, 6, 2, 6, .4, .3, .5, .4, .2)
	theta, beta := .35, .2
	want := 0.0
	for _, r := range rows {
		p := 1 / (1 + math.Exp(-(theta + beta*r.V)))
		want += float64(r.Y)*math.Log(p) + float64(r.N-r.Y)*math.Log1p(-p)
	}
	for _, o := range everyModel {
		p, err := newProblem(rows, o)
		if err != nil {
			t.Fatal(err)
		}
		gradient := make([]float64, 7)
		got := newEvaluator(p, o.Points).evaluate([]float64{theta, beta, 0, 0, 0, 0, 0}, gradient)
		stattest.Relative(t, o.Vary.String(), got, want, 1e-13)
	}
}

// Swapping the labels of the patterns turns θ round and leaves β; swapping the
// codes of the positions turns β round and leaves θ.
func TestSwaps(t *testing.T) {
	cells := inventedCells(5, 9, 3, .6, .5, .4)
	patterns, positions := slices.Clone(cells), slices.Clone(cells)
	for i, c := range cells {
		// The test pattern becomes the control: lower test is now lower control.
		patterns[i].Test, patterns[i].Control, patterns[i].TestLower = c.Control, c.Test, !c.TestLower
		positions[i].TestLower = !c.TestLower
	}
	for _, o := range everyModel {
		plain := mustFit(t, cells, o)
		for name, swapped := range map[string]struct {
			cells       []Cell
			theta, beta float64
		}{"patterns": {patterns, -1, 1}, "positions": {positions, 1, -1}} {
			got := mustFit(t, swapped.cells, o)
			stattest.Absolute(t, name+" theta", got.Theta, swapped.theta*plain.Theta, 1e-9)
			stattest.Absolute(t, name+" beta", got.Beta, swapped.beta*plain.Beta, 1e-9)
			stattest.Relative(t, name+" SE", got.ThetaSE, plain.ThetaSE, 1e-7)
			stattest.Absolute(t, name+" log-likelihood", got.LogLikelihood, plain.LogLikelihood, 1e-9)
			stattest.Absolute(t, name+" sd_pattern", got.SDPattern, plain.SDPattern, 1e-8)
			stattest.Absolute(t, name+" sd_position", got.SDPosition, plain.SDPosition, 1e-8)
			stattest.Absolute(t, name+" sd_outing", got.SDOuting, plain.SDOuting, 1e-8)
		}
	}
}

// The order of anglers, outings and cells, the labels used, and whether fish are
// counted together or one by one change nothing.
func TestOrderAndGrouping(t *testing.T) {
	cells := inventedCells(6, 8, 3, .6, .5, .4)
	var single []Cell
	for _, c := range cells {
		for range c.Test {
			single = append(single, Cell{-7 * c.Angler, 10 - c.Outing, c.TestLower, 1, 0})
		}
		for range c.Control {
			single = append(single, Cell{-7 * c.Angler, 10 - c.Outing, c.TestLower, 0, 1})
		}
	}
	rng := rand.New(rand.NewPCG(6, 6))
	rng.Shuffle(len(single), func(i, j int) { single[i], single[j] = single[j], single[i] })
	for _, o := range everyModel {
		plain, got := mustFit(t, cells, o), mustFit(t, single, o)
		stattest.Absolute(t, "theta", got.Theta, plain.Theta, 1e-9)
		stattest.Absolute(t, "beta", got.Beta, plain.Beta, 1e-9)
		stattest.Relative(t, "SE", got.ThetaSE, plain.ThetaSE, 1e-7)
		stattest.Absolute(t, "log-likelihood", got.LogLikelihood, plain.LogLikelihood, 1e-9)
		byAngler := map[int]AnglerEffect{}
		for _, a := range got.Anglers {
			byAngler[a.Group/-7] = a
		}
		for _, a := range plain.Anglers {
			b := byAngler[a.Group]
			stattest.Absolute(t, "mode", b.U, a.U, 1e-9)
			stattest.Absolute(t, "shrunk SE", b.LogOddsSE, a.LogOddsSE, 1e-7)
		}
	}
}

// Cells without fish change nothing, wherever they stand: among others' cells, or alone.
func TestCellsWithoutFish(t *testing.T) {
	first := []Cell{{0, 0, true, 1, 1}, {0, 0, false, 0, 0}, {1, 0, true, 0, 0}, {1, 0, false, 1, 1}}
	if p, err := newProblem(mustRows(t, first), Options{Vary: VaryPattern}); err != nil || len(p.groups) != 2 {
		t.Errorf("two anglers' fish with cells of none between: %v", err)
	}
	rapid.Check(t, func(t *rapid.T) {
		fish := rapid.OneOf(rapid.Just(0), rapid.IntRange(0, 2))
		var cells, kept []Cell
		for range rapid.IntRange(1, 12).Draw(t, "cells") {
			c := Cell{
				rapid.IntRange(0, 3).Draw(t, "angler"), rapid.IntRange(0, 1).Draw(t, "outing"), rapid.Bool().Draw(t, "lower"),
				fish.Draw(t, "test"), fish.Draw(t, "control"),
			}
			cells = append(cells, c)
			if c.Test+c.Control > 0 {
				kept = append(kept, c)
			}
		}
		options := rapid.SampledFrom(everyModel).Draw(t, "model")
		got, err := FitTrial(cells, options)
		want, wantErr := FitTrial(kept, options)
		if (err == nil) != (wantErr == nil) || (err != nil && err.Error() != wantErr.Error()) {
			t.Fatalf("with cells without fish %v, without them %v", err, wantErr)
		}
		if err == nil && (got.Theta != want.Theta || got.LogLikelihood != want.LogLikelihood || !slices.Equal(got.Anglers, want.Anglers)) {
			t.Fatalf("with cells without fish %+v, without them %+v", got, want)
		}
	})
}

func mustRows(t *testing.T, cells []Cell) []Row {
	t.Helper()
	rows, err := trialRows(cells)
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// In the lower-taken coding θ multiplies c and β stands alone; with u carried over as
// a slope on c and v as an intercept it is the same model.
func TestCodingsAgree(t *testing.T) {
	cells := inventedCells(7, 9, 1, .7, .5, 0)
	var lower []Row
	for _, c := range cells {
		row := Row{Group: c.Angler, N: c.Test + c.Control, Y: c.Test, X: []float64{1, 1}, U: 1, V: 1}
		if !c.TestLower {
			row.Y, row.X, row.U = c.Control, []float64{-1, 1}, -1
		}
		lower = append(lower, row)
	}
	for _, o := range everyModel {
		if o.Vary.Outing() {
			continue // w would need a slope on c there; see the next test
		}
		a := mustFit(t, cells, o)
		b, err := Fit(lower, o)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Absolute(t, "theta", b.Coef[0], a.Theta, 1e-9)
		stattest.Absolute(t, "beta", b.Coef[1], a.Beta, 1e-9)
		stattest.Relative(t, "SE of theta", b.StdErr[0], a.ThetaSE, 1e-8)
		stattest.Relative(t, "SE of beta", b.StdErr[1], a.BetaSE, 1e-8)
		stattest.Absolute(t, "log-likelihood", b.LogLikelihood, a.LogLikelihood, 1e-9)
	}
}

// With one arrangement in each outing the slope of w on c is w again, up to its sign: the
// codings agree with outings too.
func TestCodingsAgreeByOuting(t *testing.T) {
	var cells []Cell
	var lower []Row
	for _, c := range inventedCells(17, 9, 4, .7, .5, .5) {
		if c.TestLower != (c.Outing%2 == 0) {
			continue
		}
		cells = append(cells, c)
		row := Row{Group: c.Angler, Subgroup: c.Outing, N: c.Test + c.Control, Y: c.Test, X: []float64{1, 1}, U: 1, V: 1}
		if !c.TestLower {
			row.Y, row.X, row.U = c.Control, []float64{-1, 1}, -1
		}
		lower = append(lower, row)
	}
	for _, o := range everyModel {
		a := mustFit(t, cells, o)
		b, err := Fit(lower, o)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Absolute(t, "theta", b.Coef[0], a.Theta, 1e-8)
		stattest.Relative(t, "SE of theta", b.StdErr[0], a.ThetaSE, 1e-7)
		stattest.Absolute(t, "sd_outing", b.SDOuting, a.SDOuting, 1e-7)
		stattest.Absolute(t, "log-likelihood", b.LogLikelihood, a.LogLikelihood, 1e-9)
	}
}

// Standard errors against second differences of the log-likelihood itself, which
// share no derivative code with them.
func TestInformation(t *testing.T) {
	invented := inventedCells(8, 10, 4, .7, .6, .6)
	cases := []struct {
		cells   []Cell
		options Options
	}{{workedD2(), Options{Vary: VaryPattern, Points: 1}}}
	for _, o := range everyModel {
		cases = append(cases, struct {
			cells   []Cell
			options Options
		}{invented, o})
	}
	for _, c := range cases {
		o := c.options
		rows, err := trialRows(c.cells)
		if err != nil {
			t.Fatal(err)
		}
		m, _, err := fit(rows, o)
		if err != nil {
			t.Fatal(err)
		}
		if m.singular {
			t.Fatalf("%v: these data were to have every SD above 0", o.Vary)
		}
		scratch := make([]float64, len(m.psi))
		at := func(i, j int, hi, hj float64) float64 {
			psi := slices.Clone(m.psi)
			psi[m.free[i]] += hi
			psi[m.free[j]] += hj
			return m.evaluator.evaluate(psi, scratch)
		}
		n := len(m.free)
		second := func(i, j int, h float64) float64 {
			return -(at(i, j, h, h) - at(i, j, h, -h) - at(i, j, -h, h) + at(i, j, -h, -h)) / (4 * h * h)
		}
		// information·covariance is the identity.
		for i := range n {
			for j := range n {
				product := 0.0
				for k := range n {
					coarse, fine := second(i, k, .02), second(i, k, .01)
					product += (4*fine - coarse) / 3 * m.covariance.at(k, j)
				}
				want := 0.0
				if i == j {
					want = 1
				}
				stattest.Absolute(t, o.Vary.String(), product, want, 2e-5)
			}
		}
	}
}

// With a million fish in each cell an angler's own log odds are as good as known, and
// the model is the normal one: θ is their mean, sd_pattern their root mean square
// deviation, the standard error sd/√K (maximum likelihood of normal means).
func TestMillionFish(t *testing.T) {
	u := []float64{.31, -.52, .77, .12, -.28, .05, .9, -.6}
	v := []float64{.2, .5, -.1, .3, .65, .05, .45, .75}
	const n = 1_000_000
	var cells []Cell
	var theta, beta []float64
	for a := range u {
		up, down := .4+u[a]+v[a], .4+u[a]-v[a]
		x, y := int(math.Round(n/(1+math.Exp(-up)))), int(math.Round(n/(1+math.Exp(-down))))
		cells = append(cells, Cell{a, 0, true, x, n - x}, Cell{a, 0, false, y, n - y})
		lx, ly := math.Log(float64(x)/float64(n-x)), math.Log(float64(y)/float64(n-y))
		theta, beta = append(theta, (lx+ly)/2), append(beta, (lx-ly)/2)
	}
	moments := func(x []float64) (mean, sd float64) {
		for _, v := range x {
			mean += v / float64(len(x))
		}
		for _, v := range x {
			sd += (v - mean) * (v - mean) / float64(len(x))
		}
		return mean, math.Sqrt(sd)
	}
	m, sd := moments(theta)
	mb, sdb := moments(beta)
	for _, points := range []int{1, 15} {
		r := mustFit(t, cells, Options{Vary: VaryPatternPosition, Points: points})
		stattest.Absolute(t, "theta", r.Theta, m, 1e-5)
		stattest.Absolute(t, "beta", r.Beta, mb, 1e-5)
		stattest.Absolute(t, "sd_pattern", r.SDPattern, sd, 1e-5)
		stattest.Absolute(t, "sd_position", r.SDPosition, sdb, 1e-5)
		stattest.Relative(t, "SE", r.ThetaSE, sd/math.Sqrt(8), 1e-4)
	}
}
