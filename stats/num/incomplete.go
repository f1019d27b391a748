package num

import "math"

// This file finds the two tails of the gamma and the beta distribution, on the log
// scale so that no tail is too small, from the mass function of logterms.go (which
// keeps its digits for any argument) times a series or a continued fraction that is
// near 1. Of the two tails the smaller is computed, the other is its complement.

// mostTerms bounds the series and fractions below. They take about √a terms near the
// middle of the distribution and fewer elsewhere.
const mostTerms = 10_000_000

// logGammaTails returns ln P(X <= x) and ln P(X >= x) for a gamma variable of shape
// a > 0 and scale 1, given ln x. Source: NIST Digital Library of Mathematical
// Functions, 8.7.1 and 8.9.2.
func logGammaTails(a, logX float64) (lower, upper float64) {
	x := math.Exp(logX)
	if x < 1e-18*(a+1) { // the series is 1 to the last digit, and x may have underflowed
		lgamma, _ := math.Lgamma(a + 1)
		lower = a*logX - lgamma
		return lower, log1mExp(lower)
	}
	if math.IsInf(x, 1) {
		return 0, math.Inf(-1)
	}
	mass := logPoisson(a, x)
	if x < a+1 {
		sum, term := 1.0, 1.0
		for n := 1.0; n < mostTerms; n++ {
			term *= x / (a + n)
			next := sum + term
			if next == sum {
				break
			}
			sum = next
		}
		lower = math.Min(0, mass+math.Log(sum))
		return lower, log1mExp(lower)
	}
	fraction := lentz(x+1-a, func(n float64) (numerator, denominator float64) {
		return -n * (n - a), x + 1 - a + 2*n
	})
	upper = math.Min(0, mass+math.Log(a)-math.Log(fraction))
	return log1mExp(upper), upper
}

// logBetaTails returns ln P(X <= x) and ln P(X >= x) for a beta variable with
// parameters a, b > 0, given x in [0, 1] and y = 1-x apart, so that either keeps its
// digits. Source: Didonato & Morris (1992), ACM Transactions on Mathematical Software
// 18:360-373, equation 9, the even part of the usual fraction (NIST Digital Library of
// Mathematical Functions, 8.17.22) in a form that does not cancel where y is small.
func logBetaTails(a, b, x, y float64) (lower, upper float64) {
	if y < (b+1)/(a+b+2) { // that is x > (a+1)/(a+b+2), which rounds to 1 where a is large
		upper, lower = logBetaTails(b, a, y, x)
		return lower, upper
	}
	if x == 0 {
		return math.Inf(-1), 0
	}
	lambda := a - (a+b)*x // how far x lies below the mean, times a+b
	if y < x {
		lambda = (a+b)*y - b
	}
	fraction := lentz(a/(a+1)*(lambda+1), func(n float64) (numerator, denominator float64) {
		s := (a + n - 1) / (a + 2*n - 1)
		numerator = s * ((a + b + n - 1) / (a + 2*n - 1)) * n * (b - n) * x * x
		return numerator, n + n*(b-n)*x/(a+2*n-1) + (a+n)/(a+2*n+1)*(lambda+1+n*(1+y))
	})
	lower = math.Min(0, logBinomialReal(a, b, x, y)+math.Log(a*(b/(a+b)))-math.Log(fraction))
	return lower, log1mExp(lower)
}

// lentz returns the continued fraction b₀ + a₁/(b₁ + a₂/(b₂ + ...)), term(n) giving a_n and
// b_n. Source: Lentz (1976), Applied Optics 15:668-671, as modified by Thompson &
// Barnett (1986), Journal of Computational Physics 64:490-509.
func lentz(b0 float64, term func(n float64) (numerator, denominator float64)) float64 {
	const tiny = 1e-300
	value := b0
	if value == 0 {
		value = tiny
	}
	c, d := value, 0.0
	for n := 1.0; n < mostTerms; n++ {
		numerator, denominator := term(n)
		d = denominator + numerator*d
		if d == 0 {
			d = tiny
		}
		c = denominator + numerator/c
		if c == 0 {
			c = tiny
		}
		d = 1 / d
		step := c * d
		value *= step
		if math.Abs(step-1) < epsilon {
			break
		}
	}
	return value
}

// log1mExp returns ln(1-e^x) for x <= 0; -Inf at 0. Source: Mächler (2012), Accurately
// computing log(1-exp(-|a|)), R package Rmpfr, equation 7.
func log1mExp(x float64) float64 {
	if x > -math.Ln2 {
		return math.Log(-math.Expm1(x))
	}
	return math.Log1p(-math.Exp(x))
}
