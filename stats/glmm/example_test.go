package glmm_test

import (
	"fmt"
	"math"

	"evenrig/stats/glmm"
)

// Six anglers of an invented trial, 24 fish in each arrangement; the numbers are those of R's
// lme4 at tightened tolerances, digit for digit.
func ExampleFitTrial() {
	lower := []int{18, 20, 14, 22, 12, 19} // took the test pattern, of 24, with it lower
	upper := []int{14, 16, 11, 18, 13, 12} // and with the control pattern lower
	var cells []glmm.Cell
	for angler := range lower {
		cells = append(
			cells,
			glmm.Cell{Angler: angler, TestLower: true, Test: lower[angler], Control: 24 - lower[angler]},
			glmm.Cell{Angler: angler, TestLower: false, Test: upper[angler], Control: 24 - upper[angler]},
		)
	}
	fit, err := glmm.FitTrial(cells, glmm.Options{Points: 1}) // 1: the Laplace approximation
	if err != nil {
		fmt.Println(err)
		return
	}
	share := func(logOdds float64) float64 { return 100 / (1 + math.Exp(-logOdds)) }
	limits, err := fit.ProfileTheta(.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("θ %.4f, standard error %.4f, SD between anglers %.4f\n", fit.Theta, fit.ThetaSE, fit.SDPattern)
	fmt.Printf("of 100 fish %.0f take the test pattern (profile limits %.0f to %.0f)\n", share(fit.Theta), share(*limits.Low), share(*limits.High))
	// Output:
	// θ 0.6933, standard error 0.2208, SD between anglers 0.4362
	// of 100 fish 67 take the test pattern (profile limits 55 to 77)
}

// Catch per hour: one pattern at a time, by the clock. With one angler's worth of each
// rate and no variation to find, the rate ratio is that of the totals.
func ExampleFitRates() {
	var cells []glmm.RateCell
	for angler := range 4 {
		cells = append(
			cells,
			glmm.RateCell{Angler: angler, Test: true, Minutes: 120, Fish: 9},
			glmm.RateCell{Angler: angler, Test: false, Minutes: 120, Fish: 6},
		)
	}
	fit, err := glmm.FitRates(cells, glmm.RateOptions{Family: glmm.NegativeBinomial})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("rate ratio %.3f, SD of level %v, dispersion %v\n", math.Exp(fit.Theta), fit.SDLevel, fit.Dispersion)
	// Output: rate ratio 1.500, SD of level 0, dispersion 0
}
