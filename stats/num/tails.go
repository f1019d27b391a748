package num

import "math"

// Binomial is the distribution of the successes in N >= 0 trials of success probability
// P; Q = 1-P is given apart, so that a P or Q near 0 keeps its digits.
type Binomial struct {
	N    int64
	P, Q float64
}

// Support returns the smallest and the largest value.
func (b Binomial) Support() (least, most int64) { return 0, b.N }

// LogMass returns ln P(X = k), as LogBinomial.
func (b Binomial) LogMass(k int64) float64 { return logBinomial(k, b.N, b.P, b.Q) }

// Tails returns P(X <= k) and P(X >= k): 0 and 1 for k below 0, 1 and 0 above N. Either
// keeps about 12 digits, however small it is; cost grows with √N near the mean. It
// panics unless P, Q >= 0.
func (b Binomial) Tails(k int64) (lower, upper float64) {
	if !(b.P >= 0 && b.Q >= 0) {
		panic("num: a probability below 0")
	}
	switch {
	case k < 0:
		return 0, 1
	case k > b.N:
		return 1, 0
	case b.P == 0 || b.Q == 0:
		certain := int64(0)
		if b.Q == 0 {
			certain = b.N
		}
		return indicator(k >= certain), indicator(k <= certain)
	}
	odds := b.P / b.Q
	return tailSums(math.Exp(b.LogMass(k)), k, 0, b.N, float64(b.N)*b.P, func(j int64) float64 {
		return odds * float64(b.N-j) / float64(j+1)
	})
}

// Tilted is Hypergeometric.Tilted for the binomial: P_φ(k) ∝ P(k)·e^{φk} is the binomial
// whose odds are e^φ as large. P and Q must be above 0.
func (b Binomial) Tilted(phi float64, buffer []float64) (first, mode int64, weights []float64, total float64) {
	odds := math.Exp(phi) * (b.P / b.Q)
	n := float64(b.N)
	mode = max(0, min(b.N, int64((n+1)*(odds/(1+odds)))))
	return tiltedFrom(mode, 0, b.N, buffer, func(x float64) (up, down float64) { return odds * (n - x), x + 1 })
}

// PoissonTails returns P(X <= k) and P(X >= k) for X Poisson with the given mean >= 0:
// 0 and 1 for k below 0. Accuracy and cost as Binomial.Tails. It panics for a
// negative mean.
func PoissonTails(k int64, mean float64) (lower, upper float64) {
	if !(mean >= 0) {
		panic("num: a mean below 0")
	}
	if k < 0 {
		return 0, 1
	}
	if mean == 0 {
		return 1, indicator(k == 0)
	}
	return tailSums(math.Exp(LogPoisson(k, mean)), k, 0, math.MaxInt64, mean, func(j int64) float64 {
		return mean / float64(j+1)
	})
}

func indicator(condition bool) float64 {
	if condition {
		return 1
	}
	return 0
}

// tailSums returns P(X <= k) and P(X >= k) of a distribution on least..most whose
// ratios of neighbouring probabilities, ratio(j) = P(j+1)/P(j), decrease. The tail that
// lies away from the mean is added term by term outwards from mass = P(k) until terms no longer
// count; the other is its complement.
func tailSums(mass float64, k, least, most int64, mean float64, ratio func(j int64) float64) (lower, upper float64) {
	sum, term := 1.0, 1.0
	if float64(k) <= mean {
		for j := k - 1; j >= least; j-- {
			term /= ratio(j)
			next := sum + term
			if next == sum {
				break
			}
			sum = next
		}
		lower = math.Min(1, sum*mass)
		return lower, math.Min(1, 1-lower+mass)
	}
	for j := k; j < most; j++ {
		term *= ratio(j)
		next := sum + term
		if next == sum {
			break
		}
		sum = next
	}
	upper = math.Min(1, sum*mass)
	return math.Min(1, 1-upper+mass), upper
}
