package meta

// LeaveOneOut returns the row refitted without each effect in turn: the i-th
// without effects[i]. τ² is estimated anew each time. Every refit is a Pool of
// k-1 effects, so the cost is O(k²): some 0.3 µs times k² with REML on one core.
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
