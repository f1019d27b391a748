package analysis

import (
	"context"
	"errors"

	"evenrig/service/trial"
	"evenrig/stats/power"
)

// The question how large a trial must be, and its answer, for those who may not read stats themselves. Their JSON is a
// contract: see the fields.
type (
	SizeQuestion  = power.Question
	SizeAnswer    = power.Answer
	TeamCost      = power.Cost
	SwapRule      = power.SwapRule
	PlayedSeasons = power.Played
)

// Words of a question that pages and flags use.
const (
	StopAtEnd   = power.Fixed
	StopAtLooks = power.GroupSequential
	StopAnytime = power.Anytime
	ByOuting    = power.PairedByOuting
	OneFly      = power.Alternating
	RoundRobin  = power.RoundRobin
	FewAnglers  = power.FewAnglers
)

// UsualSize is the question with every field's usual value.
func UsualSize() SizeQuestion { return power.Usual() }

// PlanSize answers how large a trial must be; see power.Plan. The answer does not depend on the number of workers.
//
// Errors: Invalid with every field at fault; the context's.
func PlanSize(ctx context.Context, q SizeQuestion, workers int, progress func(done, of int)) (SizeAnswer, error) {
	answer, err := power.Plan(ctx, q, workers, progress)
	var faults power.Faults
	if !errors.As(err, &faults) {
		return answer, err
	}
	fields := make([]trial.FieldError, len(faults))
	for i, f := range faults {
		fields[i] = trial.FieldError{Field: f.Field, Detail: f.Detail}
	}
	return SizeAnswer{}, &trial.Error{Kind: trial.Invalid, Code: "plan.invalid", Detail: "the question has faults", Fields: fields, Err: err}
}
