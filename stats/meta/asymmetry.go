package meta

import (
	"errors"
	"fmt"
	"math"
)

// LeastForAsymmetry is the smallest number of estimates that Asymmetry accepts:
// with fewer its power is too low to tell chance from asymmetry. Source: Sterne et
// al. (2011), BMJ 343:d4002.
const LeastForAsymmetry = 10

// ErrAsymmetry: too few estimates to say whether small ones differ from large ones.
var ErrAsymmetry = errors.New("a test of asymmetry needs at least 10 estimates: with fewer it cannot tell asymmetry from chance")

// Form says how a test of asymmetry takes the estimates to scatter about its line.
type Form string

// The two forms of Asymmetry.
const (
	// Multiplicative: by their own variances times one factor, t on k-2. Egger et al.
	// (1997), BMJ 315:629-634.
	Multiplicative Form = "multiplicative"
	// MixedEffects: by their own variances plus τ² (REML), normal. Sterne & Egger (2005),
	// in Rothstein, Sutton & Borenstein (eds.), Publication Bias in Meta-Analysis, chapter 6.
	MixedEffects Form = "mixed_effects"
)

// AsymmetryTest says whether imprecise estimates differ from precise ones.
type AsymmetryTest struct {
	Slope, StdErr float64 // change of the estimate per unit of its standard error
	Statistic     float64 // Slope/StdErr; 0 where both are 0
	DF            int     // of t; 0 is the normal
	P             float64 // two-sided, of a slope of 0
	Limit         float64 // the line's value at a standard error of 0
}

// Asymmetry returns the regression of the estimates on their standard errors √v.
// Anglers with few fish that stand apart from those with many are a hint at
// selective logging, or at effects that go with how much an angler fishes; they
// are not a proof of either. A log odds ratio and its standard error are related
// even without any asymmetry, the more so where cells are small or the half was
// added: then the test finds asymmetry too often (Peters et al. 2006, JAMA
// 295:676-680).
//
// Errors: ErrAsymmetry for k below LeastForAsymmetry; ErrColumns if all variances
// are equal; ErrMethod for an unknown form; ErrEffect.
func Asymmetry(effects []Effect, form Form) (AsymmetryTest, error) {
	if len(effects) < LeastForAsymmetry {
		return AsymmetryTest{}, fmt.Errorf("%d estimates: %w", len(effects), ErrAsymmetry)
	}
	estimator, adjustment := REML, None
	switch form {
	case MixedEffects:
	case Multiplicative:
		estimator, adjustment = Common, HK // τ² = 0, and one factor for all variances
	default:
		return AsymmetryTest{}, fmt.Errorf("form %q: %w", string(form), ErrMethod)
	}
	stdErrs := make([]float64, len(effects))
	for i, e := range effects {
		stdErrs[i] = math.Sqrt(math.Max(0, e.V)) // a negative V is refused below
	}
	const unused = 0.95 // level of limits that are not returned
	r, err := regress(effects, [][]float64{stdErrs}, estimator, adjustment, unused)
	if err != nil {
		return AsymmetryTest{}, fmt.Errorf("regression on the standard errors: %w", err)
	}
	slope := r.Coefficients[1]
	test := AsymmetryTest{Slope: slope.Estimate, StdErr: slope.StdErr, DF: r.DF, P: slope.P, Limit: r.Coefficients[0].Estimate}
	if slope.StdErr > 0 {
		test.Statistic = slope.Estimate / slope.StdErr
	}
	return test, nil
}
