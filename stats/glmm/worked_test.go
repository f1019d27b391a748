package glmm

import (
	"math"
	"testing"

	"evenrig/stats/stattest"
)

// D1 and D2 are invented trials; their values were computed with R 4.2.2 and lme4
// 1.1.31 at its default settings and are known to the digits given.

// workedD1: twelve blocks of 4 + 4 fish of six anglers.
func workedD1() (cells []Cell) {
	angler := []int{0, 1, 2, 0, 3, 4, 5, 1, 2, 3, 4, 5}
	lowerTaken1 := []int{3, 4, 3, 4, 2, 3, 4, 3, 4, 3, 4, 3} // test pattern lower
	lowerTaken2 := []int{2, 2, 1, 3, 2, 1, 2, 3, 1, 1, 2, 2} // control pattern lower
	for block, a := range angler {
		cells = append(
			cells,
			Cell{a, block, true, lowerTaken1[block], 4 - lowerTaken1[block]},
			Cell{a, block, false, 4 - lowerTaken2[block], lowerTaken2[block]},
		)
	}
	return cells
}

// workedD2: six anglers who differ, 24 + 24 fish each.
func workedD2() (cells []Cell) {
	y1, y2 := []int{18, 20, 14, 22, 12, 19}, []int{10, 8, 13, 6, 11, 12}
	for a := range y1 {
		cells = append(cells, Cell{a, 0, true, y1[a], 24 - y1[a]}, Cell{a, 0, false, 24 - y2[a], y2[a]})
	}
	return cells
}

// D1 with one effect per angler, on θ and, in the other coding, on β: its variance
// is 0 in both, so the estimates are those of independent fish.
func TestWorkedD1(t *testing.T) {
	cells := workedD1()
	got := mustFit(t, cells, Options{Vary: VaryPattern, Points: 25})
	stattest.Absolute(t, "theta", got.Theta, .888246, 5e-7)
	stattest.Absolute(t, "beta", got.Beta, .721192, 5e-7)
	stattest.Absolute(t, "SE", got.ThetaSE, .241824, 5e-7)
	if got.SDPattern != 0 || !got.Singular {
		t.Errorf("sd_pattern %v, singular %v", got.SDPattern, got.Singular)
	}
	// The source prints the log-likelihood less that of the saturated model.
	stattest.Absolute(t, "log-likelihood", got.LogLikelihood-saturated(cells), -8.330935, 5e-7)
	for _, a := range got.Anglers {
		if a.U != 0 || a.UCondSD != 0 || a.LogOdds != got.Theta || math.Abs(a.LogOddsSE-got.ThetaSE) > 1e-12 {
			t.Errorf("angler %d: %+v", a.Group, a)
		}
	}
	var position []Row
	for _, c := range cells {
		row := Row{Group: c.Angler, Y: c.Test, N: c.Test + c.Control, X: []float64{1, 1}, U: 1}
		if !c.TestLower {
			row.X, row.U = []float64{1, -1}, -1
		}
		position = append(position, row)
	}
	other, err := Fit(position, Options{Vary: VaryPattern, Points: 25})
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "theta, other coding", other.Coef[0], .888246, 5e-7)
	stattest.Absolute(t, "SE, other coding", other.StdErr[0], .241824, 5e-7)
	stattest.Absolute(t, "log-likelihood, other coding", other.LogLikelihood-saturated(cells), -8.330935, 5e-7)
}

// saturated is the log-likelihood of single fish with a share of its own per cell.
func saturated(cells []Cell) float64 {
	total := 0.0
	for _, c := range cells {
		for _, k := range []int{c.Test, c.Control} {
			if k > 0 {
				total += float64(k) * math.Log(float64(k)/float64(c.Test+c.Control))
			}
		}
	}
	return total
}

// D2 with a position effect for each angler and u random, 25 points.
func TestWorkedD2FixedPositions(t *testing.T) {
	var rows []Row
	for _, c := range workedD2() {
		x := make([]float64, 7)
		x[0] = 1
		x[1+c.Angler] = -1
		if c.TestLower {
			x[1+c.Angler] = 1
		}
		rows = append(rows, Row{Group: c.Angler, Y: c.Test, N: 24, X: x, U: 1})
	}
	got, err := Fit(rows, Options{Vary: VaryPattern, Points: 25})
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "theta", got.Coef[0], .710829, 1e-5)
	stattest.Absolute(t, "SE", got.StdErr[0], .229018, 1e-5)
	stattest.Absolute(t, "sd_pattern", got.SDPattern, .456222, 1e-5)
	// The share of a typical angler and of anglers on average: 67.06 and 66.33 of 100.
	stattest.Absolute(t, "share", AverageShare(.710829, 0), .6706, 5e-5)
	stattest.Absolute(t, "average share", AverageShare(.710829, 0, .456222), .6633, 5e-5)
}

// D2 with u and v by Laplace: lme4 at tightened tolerances (tolPwrss 1e-13, rhoend 1e-9). At its
// default settings it stops short of the maximum, at .693330, .220638 and .436194.
func TestWorkedD2(t *testing.T) {
	got := mustFit(t, workedD2(), Options{Vary: VaryPatternPosition, Points: 1})
	stattest.Absolute(t, "theta", got.Theta, .6933496, 1e-7)
	stattest.Absolute(t, "SE", got.ThetaSE, .2207654, 1e-7)
	stattest.Absolute(t, "sd_pattern", got.SDPattern, .4362096, 1e-7)
	rows, err := trialRows(workedD2())
	if err != nil {
		t.Fatal(err)
	}
	p, err := newProblem(rows, Options{Vary: VaryPatternPosition})
	if err != nil {
		t.Fatal(err)
	}
	printed := newEvaluator(p, 1).evaluate([]float64{.693330, got.Beta, .436194, 0, 0, 0, 0}, make([]float64, 7))
	if printed > got.LogLikelihood {
		t.Errorf("log-likelihood %v at the default settings' estimates, %v at ours", printed, got.LogLikelihood)
	}
	if got.SDPosition != 0 || !got.Singular {
		t.Errorf("sd_position %v, singular %v", got.SDPosition, got.Singular)
	}
}

// Student's quantiles and tails as tabled: t(.975, 5) = 2.570582, t(.995, 10) = 3.169273,
// z(.975) = 1.959964 (Fisher & Yates 1963, Statistical Tables, table III; more digits
// from R 4.2.2's qt, from memory).
func TestWald(t *testing.T) {
	for _, c := range []struct{ level, df, quantile float64 }{
		{.95, 5, 2.570582}, {.99, 10, 3.169273}, {.95, math.Inf(1), 1.959964},
	} {
		low, high, _, err := Wald(.5, .2, c.level, c.df)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Absolute(t, "low", low, .5-.2*c.quantile, 2e-7)
		stattest.Absolute(t, "high", high, .5+.2*c.quantile, 2e-7)
		// p is 1 - level where the limit touches 0.
		_, _, p, err := Wald(c.quantile*.2, .2, .9, c.df)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Absolute(t, "p", p, 1-c.level, 1e-6)
	}
	for _, bad := range [][4]float64{
		{math.NaN(), 1, .95, 5},
		{0, 0, .95, 5},
		{0, -1, .95, 5},
		{0, math.NaN(), .95, 5},
		{0, 1, 0, 5},
		{0, 1, 1, 5},
		{0, 1, .95, 0},
		{0, 1, .95, math.NaN()},
	} {
		if _, _, _, err := Wald(bad[0], bad[1], bad[2], bad[3]); kindOf(err) != ErrInput {
			t.Errorf("%v: %v", bad, err)
		}
	}
}
