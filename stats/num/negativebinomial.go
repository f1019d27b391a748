package num

import (
	"fmt"
	"math"
)

// NegativeBinomial is the distribution of a count with
//
//	P(X = k) = Γ(k+r)/(Γ(r)·k!)·p^r·q^k,  k = 0, 1, 2, ...,  q = 1-p
//
// r > 0 being its size: for whole r the failures before the r-th success. As a law of
// catches (NB2) it is written by its mean μ = rq/p, with variance μ + μ²/r. Make it
// with NewNegativeBinomial or NewNB2.
type NegativeBinomial struct{ size, mean, p, q float64 }

// NewNegativeBinomial returns the distribution of the given size and success
// probability p. Errors: ErrRange unless 1e-100 <= size <= 1e100 and 1e-100 <= p <= 1.
func NewNegativeBinomial(size, p float64) (NegativeBinomial, error) {
	if !(size >= 1e-100 && size <= 1e100) || !(p >= 1e-100 && p <= 1) {
		return NegativeBinomial{}, fmt.Errorf("negative binomial of size %g and probability %g: %w", size, p, ErrRange)
	}
	return NegativeBinomial{size: size, mean: size * (1 - p) / p, p: p, q: 1 - p}, nil
}

// NewNB2 returns the distribution of the given mean and size, whose variance is mean +
// mean²/size; as the size grows it becomes Poisson. Errors: ErrRange unless 1e-100 <= size
// <= 1e100 and mean is 0 or in the same range.
func NewNB2(mean, size float64) (NegativeBinomial, error) {
	if !(size >= 1e-100 && size <= 1e100) || mean != 0 && !(mean >= 1e-100 && mean <= 1e100) {
		return NegativeBinomial{}, fmt.Errorf("negative binomial of mean %g and size %g: %w", mean, size, ErrRange)
	}
	return NegativeBinomial{size: size, mean: mean, p: 1 / (1 + mean/size), q: 1 / (1 + size/mean)}, nil
}

// Mean returns E(X).
func (d NegativeBinomial) Mean() float64 { return d.mean }

// Variance returns Var(X).
func (d NegativeBinomial) Variance() float64 { return d.mean + d.mean*(d.mean/d.size) }

// LogMass returns ln P(X = k), -Inf for k below 0 and where the probability is 0.
// Accurate to about 1e-14 relative to the probability at moderate values. Source: Loader (2000), as r/(r+k)
// times a binomial.
func (d NegativeBinomial) LogMass(k int64) float64 {
	switch {
	case k < 0, d.mean == 0 && k > 0:
		return math.Inf(-1)
	case k == 0:
		return -d.size * math.Log1p(d.mean/d.size)
	}
	return logBinomialReal(d.size, float64(k), d.p, d.q) + math.Log(d.size/(d.size+float64(k)))
}

// Tails returns P(X <= k) and P(X >= k), each with about 12 digits however small it
// is: they are those of a beta variable. A size below 0.001, which leaves nearly all
// of the probability at 0, costs the upper tail digits. Cost grows with the root of k
// and size near the mean.
func (d NegativeBinomial) Tails(k int64) (lower, upper float64) {
	switch {
	case k < 0:
		return 0, 1
	case d.mean == 0:
		return 1, indicator(k == 0)
	}
	logLower, _ := logBetaTails(d.size, float64(k)+1, d.p, d.q)
	if k == 0 {
		return math.Exp(logLower), 1
	}
	_, logUpper := logBetaTails(d.size, float64(k), d.p, d.q)
	return math.Exp(logLower), math.Exp(logUpper)
}
