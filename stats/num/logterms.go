package num

import "math"

// LogBinomial returns ln P(X = k) for X binomial with n trials and success
// probability p in [0, 1]: -Inf where the probability is 0 (k outside 0..n, or p
// at an end that forbids k), 0 where it is 1. The result is accurate to about
// 1e-14 relative to the probability, for any n. Source: Loader (2000), Fast and
// accurate computation of binomial probabilities.
func LogBinomial(k, n int64, p float64) float64 { return logBinomial(k, n, p, 1-p) }

// LogHypergeometric returns ln P(X = x), X the number of marked among t drawn
// without replacement from m marked and n unmarked: -Inf for x outside
// max(0, t-n)..min(m, t). m, n >= 0 and 0 <= t <= m+n. Accuracy as LogBinomial.
// Source: Loader (2000), section 5: the ratio of binomials
// b(x; m, p)·b(t-x; n, p)/b(t; m+n, p) with p = t/(m+n).
func LogHypergeometric(x, m, n, t int64) float64 {
	if x < 0 || x > m || t-x < 0 || t-x > n {
		return math.Inf(-1)
	}
	if t == 0 || t == m+n {
		return 0
	}
	p, q := float64(t)/float64(m+n), float64(m+n-t)/float64(m+n)
	return logBinomial(x, m, p, q) + logBinomial(t-x, n, p, q) - logBinomial(t, m+n, p, q)
}

// LogPoisson returns ln P(X = k) for X Poisson with the given mean >= 0: -Inf where
// the probability is 0. Accuracy as LogBinomial. Source: Loader (2000).
func LogPoisson(k int64, mean float64) float64 {
	if k < 0 {
		return math.Inf(-1)
	}
	return logPoisson(float64(k), mean)
}

// logBinomial is LogBinomial with q = 1-p given apart, so that a q near 0 keeps its digits.
func logBinomial(k, n int64, p, q float64) float64 {
	if k < 0 || k > n {
		return math.Inf(-1)
	}
	return logBinomialReal(float64(k), float64(n-k), p, q)
}

// logBinomialReal returns ln[Γ(x+y+1)/(Γ(x+1)Γ(y+1))·p^x·q^y] for real x, y >= 0 and
// q = 1-p.
func logBinomialReal(x, y, p, q float64) float64 {
	total := x + y
	switch {
	case p == 0 && x == 0, q == 0 && y == 0, total == 0:
		return 0
	case p == 0 || q == 0:
		return math.Inf(-1)
	case x == 0:
		return total * logComplement(p, q)
	case y == 0:
		return total * logComplement(q, p)
	}
	return stirlingError(total) - stirlingError(x) - stirlingError(y) -
		Deviance(x, total*p) - Deviance(y, total*q) +
		0.5*math.Log(total/(2*math.Pi*x*y))
}

// logPoisson returns ln[e^-mean·mean^x/Γ(x+1)] for real x >= 0 and mean >= 0.
func logPoisson(x, mean float64) float64 {
	switch {
	case x == 0:
		return -mean
	case mean == 0:
		return math.Inf(-1)
	}
	return -stirlingError(x) - Deviance(x, mean) - 0.5*math.Log(2*math.Pi*x)
}

// logComplement returns ln(1-p), q = 1-p, from whichever of the two is small.
func logComplement(p, q float64) float64 {
	if p < q {
		return math.Log1p(-p)
	}
	return math.Log(q)
}

// stirlingError returns ln Γ(x+1) - [½ ln(2πx) + x ln x - x], x > 0. Up to 15 from the
// gamma function itself, beyond by Stirling's series, whose next term is under 1e-16.
func stirlingError(x float64) float64 {
	if x <= 15 {
		lgamma, _ := math.Lgamma(x + 1)
		return lgamma - (0.5*math.Log(2*math.Pi*x) + x*math.Log(x) - x)
	}
	s := 1 / (x * x)
	return (1./12 - s*(1./360-s*(1./1260-s*(1./1680-s*(1./1188-s*691./360360))))) / x
}

// Deviance returns x ln(x/mu) + mu - x, x > 0 and mu >= 0 (+Inf at 0), by a series where the
// two are close and the plain form would cancel.
func Deviance(x, mu float64) float64 {
	if math.Abs(x-mu) >= 0.1*(x+mu) {
		return x*math.Log(x/mu) + mu - x
	}
	v := (x - mu) / (x + mu)
	sum := (x - mu) * v
	term := 2 * x * v
	v *= v
	for j := 3; ; j += 2 {
		term *= v
		next := sum + term/float64(j)
		if next == sum || next != next { // a NaN meets nothing
			return sum
		}
		sum = next
	}
}
