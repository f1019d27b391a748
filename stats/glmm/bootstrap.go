package glmm

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sync"

	"evenrig/stats/simulate"
)

// Bootstrap holds refits to counts simulated from a fit.
type Bootstrap struct {
	// Theta and StdErr are those of the fit.
	Theta, StdErr float64
	// T are the studentised deviations (θ* - θ)/SE* of the refits, in order of replicate,
	// without those that failed.
	T []float64
	// Failed counts refits without an estimate. They count as deviations larger than any.
	Failed int
}

// Limits returns the bootstrap-t limits of θ at the given level of coverage, above 0 and
// below 1, symmetric about the estimate (Hall 1988, J. R. Stat. Soc. B 50:35):
// θ ± SE·q, q the quantile of |T|. Both are nil if there are too few refits for the level.
func (b *Bootstrap) Limits(level float64) (Limits, error) {
	if _, err := target(level); err != nil {
		return Limits{}, err
	}
	sizes := make([]float64, len(b.T))
	for i, t := range b.T {
		sizes[i] = math.Abs(t)
	}
	slices.Sort(sizes)
	rank := int(math.Ceil(level*float64(len(b.T)+b.Failed+1) - 1e-9))
	if rank > len(sizes) {
		return Limits{}, nil
	}
	half := b.StdErr * sizes[rank-1]
	low, high := b.Theta-half, b.Theta+half
	return Limits{&low, &high}, nil
}

// P returns the two-sided p-value of "θ is 0" that goes with the limits: the share of
// refits whose deviation is at least as large as the estimate's from 0, the data counted
// as one of them (Davison & Hinkley 1997, Bootstrap Methods, section 4.2).
func (b *Bootstrap) P() float64 {
	count := 1 + b.Failed
	for _, t := range b.T {
		if math.Abs(t) >= math.Abs(b.Theta/b.StdErr) {
			count++
		}
	}
	return float64(count) / float64(len(b.T)+b.Failed+1)
}

// bootstrap refits the model to draws sets of counts simulated from the fit.
func (f *inference) bootstrap(ctx context.Context, draws int, seed uint64, workers int) (*Bootstrap, error) {
	result := &Bootstrap{Theta: f.psi[f.theta], StdErr: math.Sqrt(f.covariance.at(f.theta, f.theta))}
	values, err := f.refits(ctx, f.point, draws, seed, workers, func(w *workspace) (float64, error) {
		m, err := w.maximise()
		if err != nil {
			return 0, err
		}
		return (m.psi[f.theta] - result.Theta) / math.Sqrt(m.covariance.at(f.theta, f.theta)), nil
	})
	if err != nil {
		return nil, err
	}
	for _, t := range values {
		if math.IsNaN(t) {
			result.Failed++
			continue
		}
		result.T = append(result.T, t)
	}
	return result, nil
}

// bootstrapBoundary is boundary with the p-value from refits to counts simulated from the
// fit without the term; a refit that fails counts as a larger statistic.
func (f *inference) bootstrapBoundary(ctx context.Context, term Term, draws int, seed uint64, workers int) (Boundary, error) {
	k, err := f.scale(term)
	if err != nil {
		return Boundary{}, err
	}
	without := f.without(k)
	null, err := newWorkspace(f.evaluator.problem, f.evaluator.points).highest(without...)
	if err != nil {
		return Boundary{}, err
	}
	b := Boundary{Statistic: f.ratio(null)}
	values, err := f.refits(ctx, null, draws, seed, workers, func(w *workspace) (float64, error) {
		full, err := w.highest()
		if err != nil {
			return 0, err
		}
		null, err := w.highest(without...)
		return 2 * (full.value - null.value), err
	})
	if err != nil {
		return Boundary{}, err
	}
	count := 1
	for _, v := range values {
		if math.IsNaN(v) || v >= b.Statistic-1e-6 {
			count++
		}
	}
	b.P = float64(count) / float64(draws+1)
	return b, nil
}

// refits simulates counts from a point of the model draws times and returns what once makes
// of each, NaN where it fails.
func (f *inference) refits(ctx context.Context, from *point, draws int, seed uint64, workers int, once func(*workspace) (float64, error)) ([]float64, error) {
	if draws < 1 || workers < 1 {
		return nil, fmt.Errorf("%w: %d draws on %d workers; accepted are 1 or more of each", ErrInput, draws, workers)
	}
	type desk struct {
		*workspace
		drawn *problem
		draw  *evaluator
	}
	desks := sync.Pool{New: func() any {
		p := f.evaluator.problem.copy()
		return &desk{newWorkspace(p, f.evaluator.points), p, newEvaluator(f.evaluator.problem, 1)}
	}}
	return simulate.Run(ctx, draws, workers, seed, func(_ int, random *rand.Rand) float64 {
		d := desks.Get().(*desk)
		defer desks.Put(d)
		d.draw.simulate(from.psi, random, d.drawn)
		if d.drawn.checkCounts() != nil {
			return math.NaN()
		}
		d.use(d.drawn)
		value, err := once(d.workspace)
		if err != nil {
			return math.NaN()
		}
		return value
	}, nil)
}
