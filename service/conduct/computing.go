package conduct

import (
	"context"
	"time"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// computing follows one analysis while it is computed. Of a quiet one nothing is told: how long a look takes is nobody's business
// while the running effect is hidden.
type computing struct {
	s     *Service
	a     trial.Analysis
	quiet bool
	name  string // of the step under way
	begun time.Time
}

// step hears that a step begins, and ends the computation when ctx has ended. That a step could not be noted is no reason to compute
// no result.
func (c *computing) step(ctx context.Context, step int) error {
	names := analysis.Steps()
	c.ended()
	c.name, c.begun = names[step], time.Now()
	if !c.quiet {
		_ = c.s.store.NoteStep(ctx, c.a.TrialID, c.a.N, step+1, len(names)) //nolint:errcheck // as said above
	}
	return ctx.Err()
}

// ended hears that the step under way has ended.
func (c *computing) ended() {
	if c.name != "" && !c.quiet && c.s.stepped != nil {
		c.s.stepped(c.name, time.Since(c.begun))
	}
}
