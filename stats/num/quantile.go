package num

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
)

// ErrRange: a probability, a number of degrees of freedom or another parameter of a
// distribution outside its legal range, or a quantile too large for a float64.
var ErrRange = errors.New("argument outside its range")

// NormalQuantile returns the standard normal quantile of p: -Inf at 0 and +Inf at
// 1. It panics for p outside [0, 1]. (math.Erfcinv is not used: it works on 1-x
// and loses the lower tail.)
func NormalQuantile(p float64) float64 { return mathext.NormalQuantile(p) }

// NormalTwoSided returns P(|Z| >= |z|) for a standard normal Z, without
// cancellation in the far tail.
func NormalTwoSided(z float64) float64 { return math.Erfc(math.Abs(z) / math.Sqrt2) }

// ChiSquaredTail returns P(X >= x) for a χ² variable on df > 0 degrees of
// freedom, at most 1e10; 1 for x <= 0. Accurate to about 12 digits of the tail, however
// small; cost grows with √df near the middle.
func ChiSquaredTail(x, df float64) float64 {
	if x <= 0 {
		return 1
	}
	_, upper := logGammaTails(df/2, math.Log(x/2))
	return math.Exp(upper)
}

// ChiSquaredQuantile returns the quantile of p, 0 < p < 1, of a χ² variable on
// 0 < df <= 1e10 degrees of freedom (0 if it is below the smallest float64). Errors: ErrRange.
func ChiSquaredQuantile(p, df float64) (float64, error) {
	if err := checkQuantile("χ²", p, df, 1e10); err != nil {
		return 0, err
	}
	if p > 0.5 {
		return ChiSquaredUpperQuantile(1-p, df)
	}
	return chiSquaredRoot(df, func(logHalf float64) float64 {
		lower, _ := logGammaTails(df/2, logHalf)
		return lower - math.Log(p)
	})
}

// ChiSquaredUpperQuantile returns the x with P(X >= x) = tail, 0 < tail < 1, for a χ²
// variable on 0 < df <= 1e10 degrees of freedom: accurate to 13 digits for tails down to
// 1e-300, where 1 - tail would be 1. Errors: ErrRange.
func ChiSquaredUpperQuantile(tail, df float64) (float64, error) {
	if err := checkQuantile("upper χ²", tail, df, 1e10); err != nil {
		return 0, err
	}
	if tail > 0.5 {
		return ChiSquaredQuantile(1-tail, df)
	}
	return chiSquaredRoot(df, func(logHalf float64) float64 {
		_, upper := logGammaTails(df/2, logHalf)
		return math.Log(tail) - upper
	})
}

// chiSquaredRoot returns the x at which an increasing function of ln(x/2) is 0.
func chiSquaredRoot(df float64, f func(logHalf float64) float64) (float64, error) {
	logHalf, err := IncreasingRoot(f, math.Log(df/2), math.Sqrt(2/df), farOut(df), 0)
	if err != nil {
		return 0, fmt.Errorf("χ² quantile on %g degrees of freedom: %w", df, err)
	}
	return 2 * math.Exp(logHalf), nil
}

// farOut bounds the search for the logarithm of a quantile: a tail above 1e-324 falls
// no slower than x^(df/2) or t^-df.
func farOut(df float64) float64 { return 2000 * math.Max(1, 1/df) }

func checkQuantile(name string, p, df, largest float64) error {
	if !(p > 0 && p < 1) || !(df > 0 && df <= largest) {
		return fmt.Errorf("%s quantile of %g on %g degrees of freedom: %w", name, p, df, ErrRange)
	}
	return nil
}

// StudentQuantile returns the quantile of p, 0 < p < 1, of Student's t on df > 0
// degrees of freedom. Errors: ErrRange.
func StudentQuantile(p, df float64) (float64, error) {
	if err := checkQuantile("t", p, df, math.MaxFloat64); err != nil {
		return 0, err
	}
	if p < 0.5 {
		t, err := StudentUpperQuantile(p, df)
		return -t, err
	}
	return StudentUpperQuantile(1-p, df)
}

// StudentUpperQuantile returns the t with P(T >= t) = tail, 0 < tail < 1, for Student's
// t on df > 0 degrees of freedom: accurate to 13 digits for tails down to 1e-300, where
// 1 - tail would be 1. Errors: ErrRange, also where t is too large for a float64.
func StudentUpperQuantile(tail, df float64) (float64, error) {
	if err := checkQuantile("upper t", tail, df, math.MaxFloat64); err != nil {
		return 0, err
	}
	if tail > 0.5 {
		t, err := StudentUpperQuantile(1-tail, df)
		return -t, err
	}
	if tail == 0.5 {
		return 0, nil
	}
	// Near the middle the part between -t and t keeps the digits, outside it the tail.
	f := func(logT float64) float64 {
		_, beyond := logStudent(logT, df)
		return math.Log(2*tail) - beyond
	}
	if tail > 0.25 {
		f = func(logT float64) float64 {
			within, _ := logStudent(logT, df)
			return within - math.Log1p(-2*tail)
		}
	}
	logT, err := IncreasingRoot(f, 0, 1, farOut(df), 0)
	if err != nil {
		return 0, fmt.Errorf("t quantile on %g degrees of freedom: %w", df, err)
	}
	t := math.Exp(logT)
	if math.IsInf(t, 1) {
		return 0, fmt.Errorf("t quantile of %g on %g degrees of freedom is above the largest number: %w", tail, df, ErrRange)
	}
	return t, nil
}

// StudentTwoSided returns P(|T| >= |t|) for Student's t on df > 0 degrees of
// freedom, accurate to about 13 digits however small it is; 0 at an infinite t.
func StudentTwoSided(t, df float64) float64 {
	if t == 0 {
		return 1
	}
	_, beyond := logStudent(math.Log(math.Abs(t)), df)
	return math.Exp(beyond)
}

// logStudent returns ln P(|T| <= t) and ln P(|T| >= t) for Student's t, given ln t: X =
// df/(df+T²) is a beta variable with parameters df/2 and ½.
func logStudent(logT, df float64) (within, beyond float64) {
	logSquare := 2*logT - math.Log(df) // of t²/df
	if logSquare > 42+math.Max(0, math.Log(df)) {
		// X^(df/2) to the last digit, and t² may be too large for a float64.
		whole, _ := math.Lgamma((df + 1) / 2)
		half, _ := math.Lgamma(df/2 + 1)
		beyond = whole - half - 0.5*math.Log(math.Pi) - df/2*logSquare
		return log1mExp(beyond), beyond
	}
	square := math.Exp(logSquare)
	beyond, within = logBetaTails(df/2, 0.5, 1/(1+square), square/(1+square))
	return within, beyond
}
