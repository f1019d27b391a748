package num

import (
	"fmt"
	"math"
)

// Hypergeometric is the distribution of the number of marked among those drawn
// without replacement. Make it with NewHypergeometric.
type Hypergeometric struct {
	marked, unmarked, drawn int64
	least, most             int64
}

// NewHypergeometric returns the distribution of X, the number of marked among drawn
// taken without replacement from marked and unmarked. Errors: ErrRange unless marked,
// unmarked >= 0, 0 <= drawn <= marked+unmarked, and that sum is at most 2^62.
func NewHypergeometric(marked, unmarked, drawn int64) (Hypergeometric, error) {
	const largest = 1 << 61
	if marked < 0 || unmarked < 0 || marked > largest || unmarked > largest || drawn < 0 || drawn > marked+unmarked {
		return Hypergeometric{}, fmt.Errorf("%d drawn from %d marked and %d unmarked: %w", drawn, marked, unmarked, ErrRange)
	}
	return Hypergeometric{
		marked: marked, unmarked: unmarked, drawn: drawn,
		least: max(0, drawn-unmarked), most: min(marked, drawn),
	}, nil
}

// Support returns the smallest and the largest possible value.
func (h Hypergeometric) Support() (least, most int64) { return h.least, h.most }

// LogMass returns ln P(X = x), as LogHypergeometric.
func (h Hypergeometric) LogMass(x int64) float64 {
	return LogHypergeometric(x, h.marked, h.unmarked, h.drawn)
}

// Tails returns P(X <= x) and P(X >= x), each with about 12 digits however small it
// is. Cost grows with the standard deviation near the mean.
func (h Hypergeometric) Tails(x int64) (lower, upper float64) {
	switch {
	case x < h.least:
		return 0, 1
	case x > h.most:
		return 1, 0
	}
	mean := float64(h.drawn) * (float64(h.marked) / float64(h.marked+h.unmarked))
	return tailSums(math.Exp(h.LogMass(x)), x, h.least, h.most, mean, h.ratio)
}

// ratio returns P(X = x+1)/P(X = x).
func (h Hypergeometric) ratio(x int64) float64 {
	return float64(h.marked-x) * float64(h.drawn-x) / (float64(x+1) * float64(h.unmarked-h.drawn+x+1))
}

// Quantile returns the smallest x with P(X <= x) >= p, p in [0, 1]. A p that falls
// short of P(X <= x) by less than 1e-12 of it counts as reaching it. Errors: ErrRange.
func (h Hypergeometric) Quantile(p float64) (int64, error) {
	if !(p >= 0 && p <= 1) {
		return 0, fmt.Errorf("quantile of %g: %w", p, ErrRange)
	}
	return smallestReaching(p, h.least, h.most, h.Tails), nil
}

// smallestReaching returns the smallest x in least..most with P(X <= x) >= p, by
// bisection. Above one half it asks that P(X >= x+1) <= 1-p, which keeps the digits.
func smallestReaching(p float64, least, most int64, tails func(int64) (lower, upper float64)) int64 {
	const slack = 1e-12
	reached := func(x int64) bool {
		if p <= 0.5 {
			lower, _ := tails(x)
			return lower*(1+slack) >= p
		}
		_, beyond := tails(x + 1)
		return beyond*(1-slack) <= 1-p
	}
	for least < most {
		middle := least + (most-least)/2
		if reached(middle) {
			most = middle
		} else {
			least = middle + 1
		}
	}
	return least
}
