package meta

import "math"

// Shrunken is an angler's empirical Bayes estimate of his own effect.
type Shrunken struct{ Estimate, StdErr float64 }

// Shrink returns every effect drawn towards the row's μ by its own unreliability:
// λy + (1-λ)μ with λ = τ²/(τ²+v), in the order of effects. The squared standard
// error is λv + (1-λ)²SE²: it includes the uncertainty of μ (with the row's
// adjustment), not that of τ². Where τ² is 0 all estimates are μ with its SE.
//
// Errors: ErrEffect; ErrTooFewEffects if there are none. Source: Morris (1983),
// Journal of the American Statistical Association 78:47-55.
func Shrink(effects []Effect, row Row) ([]Shrunken, error) {
	if err := checkEffects(effects, 1); err != nil {
		return nil, err
	}
	shrunken := make([]Shrunken, len(effects))
	for i, e := range effects {
		rest := e.V / (row.Tau2 + e.V) // 1 - λ
		lambda := row.Tau2 / (row.Tau2 + e.V)
		shrunken[i] = Shrunken{
			Estimate: lambda*e.Y + rest*row.Mu,
			StdErr:   math.Sqrt(lambda*e.V + rest*rest*row.StdErr*row.StdErr),
		}
	}
	return shrunken, nil
}

// LeaveOneOut returns the row refitted without each effect in turn: the i-th
// without effects[i]. τ² is estimated anew each time. Every refit is a Pool of
// k-1 effects, so the cost is O(k²).
//
// Errors: those of Pool, among them ErrTooFewEffects for k < 3 (k < 2 for
// Common).
func LeaveOneOut(effects []Effect, estimator Estimator, adjustment Adjustment, level float64) ([]Row, error) {
	if err := checkEffects(effects, estimator.least()+1); err != nil {
		return nil, err
	}
	rows := make([]Row, len(effects))
	rest := make([]Effect, len(effects)-1)
	for i := range effects {
		copy(rest, effects[:i])
		copy(rest[i:], effects[i+1:])
		row, err := Pool(rest, estimator, adjustment, level)
		if err != nil {
			return nil, err
		}
		rows[i] = row
	}
	return rows, nil
}
