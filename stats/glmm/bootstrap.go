package glmm

import (
	"context"
	"fmt"
)

// Bootstrap holds refits to counts simulated from a fit.
type Bootstrap struct {
	// T are the studentised deviations (θ* - θ)/SE* of the refits that succeeded.
	T []float64
	// Failed counts refits that did not.
	Failed int
	// Limits of θ, symmetric about the estimate, and P of "θ is 0".
	Limits Limits
	P      float64
}

// ParametricBootstrap refits the model to draws sets of counts simulated from the fit.
// The answer depends on the seed, not on the number of workers.
func (r *TrialResult) ParametricBootstrap(ctx context.Context, draws int, seed uint64, workers int) (*Bootstrap, error) {
	return nil, fmt.Errorf("%w: the parametric bootstrap", ErrUnsupported)
}

// BootstrapBoundary is BoundaryTest with the p-value from draws refits to counts
// simulated from the fit without the term.
func (r *TrialResult) BootstrapBoundary(ctx context.Context, term Term, draws int, seed uint64, workers int) (Boundary, error) {
	return Boundary{}, fmt.Errorf("%w: the parametric bootstrap", ErrUnsupported)
}
