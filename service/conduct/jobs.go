package conduct

import (
	"context"
	"fmt"
	"math"
	"time"

	"evenrig/service/trial"
)

// AnalysisJob returns how far a queued analysis is in the queue, nil for one that is not queued, or that is a look whose trial still
// hides its running effect.
func (s *Service) AnalysisJob(ctx context.Context, actor trial.Actor, id trial.ID, n int) (job *trial.Job, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		t, err := inTrial(ctx, tx, actor, id, trial.ReadAnalysis)
		if err != nil || t.Hidden() {
			return err
		}
		a, err := tx.AnalysisStateBy(ctx, id, n)
		if err != nil || a.State != trial.Queued {
			return err
		}
		found, err := tx.JobOf(ctx, id, trial.AnalysisJob, n)
		if trial.KindOf(err) == trial.NotFound {
			return nil // it was done by a process that ended before the queue was told
		}
		job = &found
		return err
	})
	return job, err
}

// CancelAnalysis takes a queued analysis out of the queue, or stops it, so that another can be asked for. A planned look is never
// cancelled: nobody chooses which looks are made.
func (s *Service) CancelAnalysis(ctx context.Context, actor trial.Actor, id trial.ID, n int) (a trial.Analysis, err error) {
	now := s.now()
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		t, err := inTrial(ctx, tx, actor, id, trial.RequestAnalysis)
		if err != nil {
			return err
		}
		if a, err = tx.AnalysisBy(ctx, id, n); err != nil {
			return err
		}
		if err := readable(t, a); err != nil {
			return err // a look, of which not even its state is told
		}
		if a.State != trial.Queued {
			return trial.Fail(trial.Conflict, "analysis."+string(a.State), "analysis %d is %s; only one that is queued can be cancelled", n, a.State)
		}
		job, err := tx.JobOf(ctx, id, trial.AnalysisJob, n)
		if err != nil {
			return err
		}
		if err := s.cancel(ctx, tx, job, "an organiser cancelled it; ask for another", now); err != nil {
			return err
		}
		a, err = tx.AnalysisBy(ctx, id, n)
		return err
	})
	if err != nil {
		return trial.Analysis{}, err
	}
	return a, nil
}

// Jobs lists the trials' jobs in the given states whose number is less than before, the newest first. A server's admin sees them;
// nothing in them is of a trial's records.
func (s *Service) Jobs(ctx context.Context, actor trial.Actor, states []trial.JobState, before int64, limit int) (list []trial.Job, err error) {
	if err := trial.PermitAdmin(actor); err != nil {
		return nil, err
	}
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		list, err = tx.Jobs(ctx, states, before, limit)
		return err
	})
	return list, err
}

// Upkeep returns, for a server's admin, what came of the last run of each thing that the service does by itself.
func (s *Service) Upkeep(ctx context.Context, actor trial.Actor) (runs []trial.Upkeep, err error) {
	if err := trial.PermitAdmin(actor); err != nil {
		return nil, err
	}
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		runs, err = tx.UpkeepRuns(ctx)
		return err
	})
	return runs, err
}

// Warnings says what needs who runs the server though the service works: jobs that failed for good, upkeep that fails, records that
// do not agree with themselves. It tells numbers and no trial, so that anybody may read it.
func (s *Service) Warnings(ctx context.Context) (warnings []string, err error) {
	warnings = []string{}
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		dead, err := tx.Jobs(ctx, []trial.JobState{trial.JobDead}, math.MaxInt64, warnedJobs)
		if err != nil {
			return err
		}
		if n := len(dead); n == 1 {
			warnings = append(warnings, "1 job failed for good")
		} else if n > 1 {
			warnings = append(warnings, fmt.Sprintf("%d jobs failed for good", n))
		}
		runs, err := tx.UpkeepRuns(ctx)
		for _, u := range runs {
			if u.Failed {
				warnings = append(warnings, "the last run of "+u.Task+" failed")
			}
			if u.Faults > 0 {
				warnings = append(warnings, fmt.Sprintf("the last run of %s found %d faults", u.Task, u.Faults))
			}
		}
		return err
	})
	return warnings, err
}

// warnedJobs is how many jobs that failed for good are counted at most for a warning.
const warnedJobs = 100

// RetryJob lets a job that failed for good be tried once more. It computes what was asked for then, so that a look stays the look
// that it was.
func (s *Service) RetryJob(ctx context.Context, actor trial.Actor, number int64) (trial.Job, error) {
	return s.changeJob(ctx, actor, number, func(ctx context.Context, tx trial.Tx, job trial.Job) error {
		if err := job.Retryable(); err != nil {
			return err
		}
		return tx.RetryJob(ctx, job)
	})
}

// CancelJob takes a job out of the queue, or stops it. A planned look is never cancelled.
func (s *Service) CancelJob(ctx context.Context, actor trial.Actor, number int64) (trial.Job, error) {
	now := s.now()
	return s.changeJob(ctx, actor, number, func(ctx context.Context, tx trial.Tx, job trial.Job) error {
		return s.cancel(ctx, tx, job, "a server's admin cancelled it; ask for another", now)
	})
}

func (s *Service) changeJob(ctx context.Context, actor trial.Actor, number int64, change func(context.Context, trial.Tx, trial.Job) error) (job trial.Job, err error) {
	if err := trial.PermitAdmin(actor); err != nil {
		return job, err
	}
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if job, err = tx.JobBy(ctx, number); err != nil {
			return err
		}
		if _, err := tx.LockTrial(ctx, job.TrialID); err != nil {
			return err
		}
		if err := change(ctx, tx, job); err != nil {
			return err
		}
		job, err = tx.JobBy(ctx, number)
		return err
	})
	return job, err
}

// cancel marks what the job was for as failed, with the reason, and takes it out of the queue.
func (s *Service) cancel(ctx context.Context, tx trial.Tx, job trial.Job, why string, now time.Time) error {
	if err := job.Cancellable(); err != nil {
		return err
	}
	if err := s.spoil(ctx, tx, job, why, now); err != nil {
		return err
	}
	return tx.CancelJob(ctx, job)
}

// spoil marks what a job was for as failed.
func (s *Service) spoil(ctx context.Context, tx trial.Tx, job trial.Job, why string, now time.Time) error {
	if _, err := tx.LockTrial(ctx, job.TrialID); err != nil {
		return err
	}
	if job.Kind == trial.PublicationJob {
		e, err := editionIn(ctx, tx, job.TrialID, job.N)
		if err != nil || e.State != trial.EditionQueued {
			return err
		}
		e.State, e.Failure = trial.EditionFailed, why
		return tx.UpdatePublication(ctx, e)
	}
	looks, err := tx.LooksOf(ctx, job.TrialID)
	if err != nil {
		return err
	}
	if lookOf(looks, job.N).N > 0 {
		return trial.Fail(trial.Conflict, "look.planned", "analysis %d is a planned look, which is made whatever anybody wishes", job.N)
	}
	a, err := tx.AnalysisBy(ctx, job.TrialID, job.N)
	if err != nil {
		return err
	}
	a.State, a.Failure, a.FinishedAt = trial.Failed, why, &now
	_, err = tx.FinishAnalysis(ctx, a)
	return err
}
