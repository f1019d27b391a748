package glmm

import "fmt"

// Boundary is the likelihood-ratio test of "this SD is 0".
type Boundary struct {
	Statistic float64 // twice the difference in log-likelihood, 0 or more
	P         float64 // from the mixture of chi-square distributions
}

// BoundaryTest tests that the SD of a term, and its correlation if the model has one, is 0.
func (r *TrialResult) BoundaryTest(term Term) (Boundary, error) {
	return Boundary{}, fmt.Errorf("%w: boundary tests", ErrUnsupported)
}
