package sequential

import "errors"

// What data or a plan can do. Every error wraps one of these and adds the values at fault.
var (
	// ErrPlan: a plan with a number outside its range.
	ErrPlan = errors.New("unusable plan of looks")
	// ErrFractions: information that is not positive, finite and growing by at least SmallestStep.
	ErrFractions = errors.New("unusable information fractions")
	// ErrBoundary: as many boundaries as fractions, each a positive number, are needed.
	ErrBoundary = errors.New("unusable boundaries")
	// ErrDrift: a drift that is not a number between -MaxDrift and MaxDrift.
	ErrDrift = errors.New("unusable drift")
	// ErrResult: a look's estimate, standard error or p that cannot be one.
	ErrResult = errors.New("unusable result of a look")
	// ErrTooManyLooks: more looks than the plan has.
	ErrTooManyLooks = errors.New("all planned looks have been made")
	// ErrFinished: a look after the one that ended the trial.
	ErrFinished = errors.New("an earlier look ended the trial")
	// ErrNotFinished: an adjusted result asked for while the trial goes on.
	ErrNotFinished = errors.New("the trial goes on: no look has ended it")
	// ErrNoAdjustment: the last look's information did not grow, so that its place in
	// the order of outcomes is not defined.
	ErrNoAdjustment = errors.New("no adjusted result: the information did not grow up to the last look")
	// ErrNumeric: a boundary or limit was not reached by the arithmetic.
	ErrNumeric = errors.New("out of the reach of the arithmetic")
)
