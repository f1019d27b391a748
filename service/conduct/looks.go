package conduct

import (
	"context"
	"fmt"
	"time"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// Looks lists the looks made at a trial. While its running effect is hidden they say when and on how many fish they were
// made and what they decided, and no more.
func (s *Service) Looks(ctx context.Context, actor trial.Actor, id trial.ID) (list []trial.Look, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		t, err := inTrial(ctx, tx, actor, id, trial.ReadProgress)
		if err != nil {
			return err
		}
		p, err := s.rulesOf(ctx, tx, t)
		if err != nil {
			return err
		}
		list, err = tx.LooksOf(ctx, id)
		for i := range list {
			list[i] = list[i].Shown(t, *p)
		}
		return err
	})
	return list, err
}

// LookWhenDue makes the looks that are due at every trial that plans some. The service runs it each minute, so that nobody
// chooses the moment. One trial's failure does not keep another's look from being made.
func (s *Service) LookWhenDue(ctx context.Context) error {
	var watched []trial.ID
	err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) (err error) {
		watched, err = tx.TrialsWatched(ctx)
		return err
	})
	if err != nil {
		return err
	}
	var failed error
	for _, id := range watched {
		if err := s.lookIfDue(ctx, id); err != nil && failed == nil {
			failed = fmt.Errorf("look at trial %s: %w", id, err)
		}
	}
	return failed
}

// lookIfDue asks on a snapshot first, so that a trial whose look is not due is not locked.
func (s *Service) lookIfDue(ctx context.Context, id trial.ID) error {
	now, due := s.now(), false
	var recounted []trial.EnrolmentCount
	err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		t, err := tx.TrialBy(ctx, id)
		if err != nil {
			return err
		}
		p, err := s.rulesOf(ctx, tx, t)
		if err != nil {
			return err
		}
		all, again, err := s.counts(ctx, tx, t, p)
		if err != nil {
			return err
		}
		recounted = again
		looks, err := tx.LooksOf(ctx, id)
		if err != nil {
			return err
		}
		fish, anglers := inFinished(all)
		n, _ := t.NextLook(*p, looks, fish, anglers, now)
		due = n > 0
		return nil
	})
	if err != nil {
		return err
	}
	// Kept before the heads are locked, so that few are counted again while they are.
	if err := s.cache(ctx, id, recounted); err != nil || !due {
		return err
	}
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		t, err := tx.LockTrial(ctx, id)
		if err != nil {
			return err
		}
		_, err = s.look(ctx, tx, t, trial.ID{}, now)
		if trial.KindOf(err) == trial.Conflict {
			return nil // another process was first
		}
		return err
	})
}

// look makes the look that is due now, in a transaction that has locked the trial: the fish are counted under the
// trial's heads, the analysis is enqueued with the looks before, and the look stands, to be decided by it.
func (s *Service) look(ctx context.Context, tx trial.Tx, t trial.Trial, by trial.ID, now time.Time) (trial.Analysis, error) {
	heads, err := tx.LockHeads(ctx, t.ID)
	if err != nil {
		return trial.Analysis{}, err
	}
	p, err := s.rulesOf(ctx, tx, t)
	if err != nil {
		return trial.Analysis{}, err
	}
	all, _, err := s.counts(ctx, tx, t, p)
	if err != nil {
		return trial.Analysis{}, err
	}
	looks, err := tx.LooksOf(ctx, t.ID)
	if err != nil {
		return trial.Analysis{}, err
	}
	fish, anglers := inFinished(all)
	n, waits := t.NextLook(*p, looks, fish, anglers, now)
	if n == 0 {
		return trial.Analysis{}, trial.LookNotDue(waits)
	}
	c, err := s.checkpoint(ctx, tx, t.ID, heads, now)
	if err != nil {
		return trial.Analysis{}, err
	}
	a, err := s.enqueue(ctx, tx, t, c, by, now, n)
	if err != nil {
		return trial.Analysis{}, err
	}
	return a, tx.InsertLook(ctx, trial.Look{TrialID: t.ID, N: n, Analysis: a.N, Checkpoint: a.Checkpoint, At: now, By: by, Fish: fish, Anglers: anglers})
}

// nextLook says in words when the next look is made.
func nextLook(t trial.Trial, p trial.Protocol, looks []trial.Look, fish, anglers int64, now time.Time) string {
	n, waits := t.NextLook(p, looks, fish, anglers, now)
	if n > 0 {
		return fmt.Sprintf("look %d is due now", n)
	}
	return waits
}

// inFinished counts the analysed fish of finished blocks, and the anglers who caught them.
func inFinished(all []trial.EnrolmentCount) (fish, anglers int64) {
	for _, c := range all {
		var own int64
		for _, tally := range c.Tallies {
			if tally.Finished && tally.Exclusion == trial.Analysed {
				own += tally.N
			}
		}
		fish += own
		if own > 0 {
			anglers++
		}
	}
	return fish, anglers
}

// planOf is what the protocol and the looks before say of an analysis that is look n, 0 for the one of a locked trial.
func planOf(p trial.Protocol, looks []trial.Look, n int) *analysis.Plan {
	plan := &analysis.Plan{Rule: p.Stopping, Looks: p.Looks, Look: n, Power: p.Power, Closing: n == 0}
	for _, l := range looks {
		if n != 0 && l.N >= n {
			continue
		}
		year, week := l.At.ISOWeek()
		plan.Earlier = append(plan.Earlier, analysis.EarlierLook{
			N: l.N, Fish: l.Fish, Week: fmt.Sprintf("%04d-W%02d", year, week), Decision: l.Decision, Information: l.Information, LogOdds: l.LogOdds, P: l.P,
			Withdrawn: l.Withdrawn,
		})
	}
	return plan
}

// drawn lists the opened units of every enrolment that was not erased, for the tests that draw the order anew.
func (s *Service) drawn(ctx context.Context, tx trial.ReadTx, t trial.Trial, p *trial.Protocol) ([]trial.DrawnBlock, error) {
	if t.Source == trial.Recorded {
		return nil, nil
	}
	seed, err := s.key.open(t.ID, t.SealedSeed)
	if err != nil {
		return nil, err
	}
	words, err := tx.WordsOf(ctx, t.ID)
	if err != nil {
		return nil, err
	}
	units, err := tx.UnitsOfTrial(ctx, t.ID)
	if err != nil {
		return nil, err
	}
	of := map[trial.ID][]trial.Unit{}
	for _, u := range units {
		of[u.EnrolmentID] = append(of[u.EnrolmentID], u)
	}
	enrolments, err := tx.EnrolmentsOf(ctx, t.ID)
	if err != nil {
		return nil, err
	}
	var blocks []trial.DrawnBlock
	for _, e := range enrolments {
		if e.ErasedAt == nil && len(of[e.ID]) > 0 {
			blocks = append(blocks, p.Draw.Drawn(trial.AllocationKey(seed, words, e.ID, e.Code), e.Pseudonym, of[e.ID])...)
		}
	}
	return blocks, nil
}

// lookOf returns the look that analysis n decides, the zero one if it decides none.
func lookOf(looks []trial.Look, n int) trial.Look {
	for _, l := range looks {
		if l.Analysis == n {
			return l
		}
	}
	return trial.Look{}
}

// decided fills in what the analysis says of the look. An analysis that failed, or that has no answer, decides nothing.
func decided(l trial.Look, m *analysis.Monitoring) trial.Look {
	l.Decision = trial.NoDecision
	if m == nil {
		return l
	}
	if m.Decision != "" {
		l.Decision = m.Decision
	}
	for _, made := range m.Looks {
		if made.N == l.N {
			l.Information, l.Fraction, l.Spent, l.BoundaryP, l.P, l.LogOdds = made.Information, made.Fraction, made.Spent, made.BoundaryP, made.P, made.LogOdds
		}
	}
	l.EValue, l.ShareLow, l.ShareHigh = m.EValue, m.SequenceShareLow, m.SequenceShareHigh
	return l
}
