package glmm

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// benchmarkCells is an invented trial of 24 fish an angler and arrangement, in the given outings.
func benchmarkCells(anglers, outings int) (cells []Cell) {
	for _, r := range inventedRows(5, anglers, outings, 24/outings, .4, .5, .5, .4, .3) {
		cells = append(cells, Cell{r.Group, r.Subgroup, r.V > 0, r.Y, r.N - r.Y})
	}
	return cells
}

// BenchmarkFit times whole fits, predictions of the anglers included. The outing models
// have four outings per angler.
func BenchmarkFit(b *testing.B) {
	for _, anglers := range []int{12, 400, 5000} {
		for _, model := range []struct {
			options Options
			outings int
		}{
			{Options{Vary: VaryPatternPosition, Points: 1}, 1},
			{Options{Vary: VaryPatternPosition, Points: 7}, 1},
			{Options{Vary: VaryPatternPosition, Points: 15}, 1},
			{Options{Vary: VaryPatternPosition, Points: 7, Correlated: true}, 1},
			{Options{Vary: VaryPatternPositionOuting, Points: 1}, 4},
			{Options{Vary: VaryPatternPositionOuting, Points: 7}, 4},
		} {
			if anglers == 5000 && model.outings > 1 && model.options.Points > 1 {
				continue // seconds; linear from 400
			}
			name := fmt.Sprintf("%d/%v/%d", anglers, model.options.Vary, model.options.Points)
			if model.options.Correlated {
				name += "/correlated"
			}
			b.Run(name, func(b *testing.B) {
				cells := benchmarkCells(anglers, model.outings)
				evaluations := 0
				b.ReportAllocs()
				for b.Loop() {
					r, err := FitTrial(cells, model.options)
					if err != nil {
						b.Fatal(err)
					}
					evaluations = r.Evaluations
				}
				b.ReportMetric(float64(evaluations), "evaluations")
			})
		}
	}
}

// fastest is the least time of f in about a second of runs, what a quiet machine takes.
func fastest(b *testing.B, f func()) float64 {
	b.Helper()
	least := time.Hour
	for begin := time.Now(); time.Since(begin) < time.Second; {
		start := time.Now()
		f()
		least = min(least, time.Since(start))
	}
	return float64(least.Nanoseconds())
}

// BenchmarkRatios compares evaluations of the log-likelihood and its gradient in one run: the
// Laplace approximation and 15 × 15 points against 7 × 7, nested 7 × 7 × 7 against 7 × 7 with as
// many cells, and twice the outings or anglers against once.
func BenchmarkRatios(b *testing.B) {
	evaluation := func(o Options, anglers, outings int) float64 {
		rows, err := trialRows(benchmarkCells(anglers, outings))
		if err != nil {
			b.Fatal(err)
		}
		p, err := newProblem(rows, o)
		if err != nil {
			b.Fatal(err)
		}
		e := newEvaluator(p, o.Points)
		psi, gradient := []float64{.4, .5, .5, .4, 0, 0, 0}, make([]float64, 7)
		if o.Vary.Outing() {
			psi[4] = .3
		}
		return fastest(b, func() {
			psi[0] = .81 - psi[0] // to and fro, as in a search
			e.evaluate(psi, gradient)
		})
	}
	plane, nested := Options{Vary: VaryPatternPosition, Points: 7}, Options{Vary: VaryPatternPositionOuting, Points: 7}
	for b.Loop() {
		seven := evaluation(plane, 32, 1)
		four := evaluation(nested, 8, 4)
		b.ReportMetric(evaluation(Options{Vary: VaryPatternPosition, Points: 1}, 32, 1)/seven, "laplace/7x7")
		b.ReportMetric(evaluation(Options{Vary: VaryPatternPosition, Points: 15}, 32, 1)/seven, "15x15/7x7")
		b.ReportMetric(evaluation(plane, 64, 1)/seven, "anglers-doubled")
		b.ReportMetric(four/seven, "7x7x7/7x7-equal-cells")
		b.ReportMetric(evaluation(nested, 8, 8)/four, "outings-doubled")
		b.ReportMetric(evaluation(Options{Vary: VaryPatternPositionOuting, Points: 1}, 8, 4)/evaluation(Options{Vary: VaryPatternPosition, Points: 1}, 8, 1), "laplace-4-outings/laplace")
	}
}

// BenchmarkBootstrap times refits of a trial of 12 anglers on two workers.
func BenchmarkBootstrap(b *testing.B) {
	r, err := FitTrial(benchmarkCells(12, 1), Options{})
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := r.ParametricBootstrap(b.Context(), 1000, 1, 2); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Milliseconds())/float64(b.N), "ms/1000-refits")
}

// BenchmarkAgainstLme4 times the joint Laplace fit here and in R's lme4 (glmer with bobyqa, tolerances
// tightened, standard errors from its own numerical Hessian), on the same data in the same
// run, and reports how many times faster this one is and by how much its log-likelihood
// is higher. Both times are the fastest of several fits. It needs Rscript with lme4:
//
//	go test ./stats/glmm -run '^$' -bench AgainstLme4 -benchtime 1x
func BenchmarkAgainstLme4(b *testing.B) {
	if err := exec.Command("Rscript", "-e", "library(lme4)").Run(); err != nil {
		b.Skip("no Rscript with lme4: ", err)
	}
	for _, c := range []struct {
		anglers, outings int
		form             string
		options          Options
	}{
		{12, 1, "position", Options{Vary: VaryPatternPosition, Points: 1}},
		{400, 1, "position", Options{Vary: VaryPatternPosition, Points: 1}},
		{5000, 1, "position", Options{Vary: VaryPatternPosition, Points: 1}},
		{12, 4, "outing", Options{Vary: VaryPatternPositionOuting, Points: 1}},
		{400, 4, "outing", Options{Vary: VaryPatternPositionOuting, Points: 1}},
	} {
		b.Run(fmt.Sprintf("%d/%s", c.anglers, c.form), func(b *testing.B) {
			cells := benchmarkCells(c.anglers, c.outings)
			file := filepath.Join(b.TempDir(), "cells.csv")
			var text strings.Builder
			text.WriteString("angler,outing,c,y,n\n")
			for _, x := range cells {
				sign := map[bool]int{true: 1, false: -1}[x.TestLower]
				fmt.Fprintf(&text, "%d,%d,%d,%d,%d\n", x.Angler, x.Outing, sign, x.Test, x.Test+x.Control)
			}
			if err := os.WriteFile(file, []byte(text.String()), 0o600); err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				out, err := exec.Command("Rscript", "bench_lme4.R", file, c.form, "3").Output()
				if err != nil {
					b.Fatal(err)
				}
				var theirs, height float64
				if _, err := fmt.Sscan(string(out), &theirs, &height); err != nil {
					b.Fatal(err)
				}
				var r *TrialResult
				ours := fastest(b, func() {
					if r, err = FitTrial(cells, c.options); err != nil {
						b.Fatal(err)
					}
				}) / 1e6
				b.ReportMetric(theirs, "lme4-ms")
				b.ReportMetric(ours, "ours-ms")
				b.ReportMetric(theirs/ours, "times-faster")
				b.ReportMetric(r.LogLikelihood-height, "log-likelihood-above")
			}
		})
	}
}
