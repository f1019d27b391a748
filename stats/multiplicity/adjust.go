package multiplicity

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
)

// ErrPValue: a p-value below 0, above 1, or not a number.
var ErrPValue = errors.New("a p-value must lie between 0 and 1")

// Bonferroni returns min(1, m·p_i), in the order of p, each p_i in [0, 1]. The
// result of an empty list is empty.
//
// Errors: ErrPValue, naming the first at fault. Source: Dunn (1961), Journal of the
// American Statistical Association 56:52-64. Cost O(m).
func Bonferroni(p []float64) ([]float64, error) {
	if err := check(p); err != nil {
		return nil, err
	}
	adjusted := make([]float64, len(p))
	for i, pi := range p {
		adjusted[i] = min(1, float64(len(p))*pi)
	}
	return adjusted, nil
}

// Holm returns Holm's adjusted p-values in the order of p, each p_i in [0, 1]: for
// the j-th smallest the largest of (m-i+1)·p_(i) over i <= j, at most 1. Equal
// p-values get equal results. The result of an empty list is empty.
//
// Errors: ErrPValue, naming the first at fault. Source: Holm (1979), Scandinavian
// Journal of Statistics 6:65-70. Cost O(m ln m).
func Holm(p []float64) ([]float64, error) {
	if err := check(p); err != nil {
		return nil, err
	}
	adjusted := make([]float64, len(p))
	running := 0.0
	for j, i := range ascending(p) {
		running = max(running, float64(len(p)-j)*p[i])
		adjusted[i] = min(1, running)
	}
	return adjusted, nil
}

// BenjaminiHochberg returns the adjusted p-values of the false discovery rate in
// the order of p, each p_i in [0, 1]: for the j-th smallest the smallest of
// m·p_(i)/i over i >= j. Equal p-values get equal results. The result of an empty
// list is empty.
//
// Errors: ErrPValue, naming the first at fault. Source: Benjamini & Hochberg
// (1995), Journal of the Royal Statistical Society B 57:289-300, procedure (1).
// Cost O(m ln m).
func BenjaminiHochberg(p []float64) ([]float64, error) {
	if err := check(p); err != nil {
		return nil, err
	}
	adjusted := make([]float64, len(p))
	running := 1.0
	for j, i := range slices.Backward(ascending(p)) {
		// p times a ratio that is at least 1: never below p by rounding.
		running = min(running, p[i]*(float64(len(p))/float64(j+1)))
		adjusted[i] = running
	}
	return adjusted, nil
}

// check returns ErrPValue, naming the first at fault.
func check(p []float64) error {
	for i, pi := range p {
		if !(pi >= 0 && pi <= 1) {
			return fmt.Errorf("p-value %d of %d is %g: %w", i+1, len(p), pi, ErrPValue)
		}
	}
	return nil
}

// ascending returns the indices of p from its smallest to its largest value.
func ascending(p []float64) []int {
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(p[i], p[j]) })
	return order
}
