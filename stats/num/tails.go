package num

import "math"

// BinomialTails returns P(X <= k) and P(X >= k) for X binomial with n >= 0 trials and
// success probability p; q = 1-p is given apart, so that a p or q near 0 keeps its
// digits. For k below 0 the tails are 0 and 1, above n they are 1 and 0. Either
// keeps about 12 digits, however small it is; cost grows with √n near the mean. It
// panics unless p, q >= 0.
func BinomialTails(k, n int64, p, q float64) (lower, upper float64) {
	if !(p >= 0 && q >= 0) {
		panic("num: a probability below 0")
	}
	switch {
	case k < 0:
		return 0, 1
	case k > n:
		return 1, 0
	case p == 0 || q == 0:
		certain := int64(0)
		if q == 0 {
			certain = n
		}
		return indicator(k >= certain), indicator(k <= certain)
	}
	odds := p / q
	return tailSums(math.Exp(logBinomial(k, n, p, q)), k, 0, n, float64(n)*p, func(j int64) float64 {
		return odds * float64(n-j) / float64(j+1)
	})
}

// PoissonTails returns P(X <= k) and P(X >= k) for X Poisson with the given mean >= 0:
// 0 and 1 for k below 0. Accuracy and cost as BinomialTails. It panics for a
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
