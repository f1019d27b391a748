package conduct

import (
	"context"
	"runtime"
	"time"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// SizeQuestion is the question how large a trial must be, SizeAnswer its answer.
type (
	SizeQuestion = analysis.SizeQuestion
	SizeAnswer   = analysis.SizeAnswer
)

// What a planner's question may take of the server; the program's own subcommand has no such bounds.
const (
	mostSeasons = 500
	planTime    = 45 * time.Second
)

// UsualSize is the question with every usual value, and with no seasons played.
func (s *Service) UsualSize() SizeQuestion {
	q := analysis.UsualSize()
	q.Seasons = 0
	return q
}

// PlanSize answers how large a trial must be, one question at a time: playing seasons keeps every core busy. It reads no
// records, so that nothing hidden can be in the answer.
func (s *Service) PlanSize(ctx context.Context, q SizeQuestion) (SizeAnswer, error) {
	if q.Seasons > mostSeasons {
		return SizeAnswer{}, &trial.Error{
			Kind: trial.Invalid, Code: "plan.invalid", Detail: "the question has faults",
			Fields: []trial.FieldError{{Field: "seasons", Detail: "is more than a server plays; accepted: 0 to 500, the program's own plan command plays more"}},
		}
	}
	select {
	case s.planning <- struct{}{}:
		defer func() { <-s.planning }()
	default:
		return SizeAnswer{}, trial.Fail(trial.TooMany, "plan.busy", "another question is being played through; ask again in a moment")
	}
	ctx, cancel := context.WithTimeoutCause(ctx, planTime, trial.Fail(trial.Invalid, "plan.invalid", "the seasons take too long to play here just now; ask again in a while, or for fewer anglers or fish; the program's own plan command takes its time"))
	defer cancel()
	answer, err := analysis.PlanSize(ctx, q, max(1, runtime.GOMAXPROCS(0)-1), nil)
	if err != nil && ctx.Err() != nil {
		return SizeAnswer{}, context.Cause(ctx)
	}
	return answer, err
}
