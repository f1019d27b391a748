package glmm

import "errors"

// What data or options can do to a fit. Every error of Fit and FitTrial wraps
// exactly one of these and adds the reason.
var (
	// ErrInput: a count is negative or above its total, a label or column is
	// malformed, a number is not finite, or an option has no meaning.
	ErrInput = errors.New("unusable input")
	// ErrPoints: the number of quadrature points is not supported for this model.
	ErrPoints = errors.New("unsupported number of quadrature points")
	// ErrNoCatches: there is no fish.
	ErrNoCatches = errors.New("no catches")
	// ErrOneAngler: variation between anglers needs at least two with a fish.
	ErrOneAngler = errors.New("fewer than two anglers with a catch")
	// ErrOneArrangement: fish were caught in one arrangement only.
	ErrOneArrangement = errors.New("catches in one arrangement only")
	// ErrNoVariation: every fish took the same pattern.
	ErrNoVariation = errors.New("every fish took the same pattern")
	// ErrNotIdentified: the data cannot tell two terms of the model apart.
	ErrNotIdentified = errors.New("terms cannot be told apart")
	// ErrSeparation: a fixed effect has no finite estimate.
	ErrSeparation = errors.New("complete separation")
	// ErrRunaway: a standard deviation grows without a finite estimate.
	ErrRunaway = errors.New("a standard deviation has no finite estimate")
	// ErrNotConverged: no maximum was found within the effort allowed.
	ErrNotConverged = errors.New("no maximum found")
)
