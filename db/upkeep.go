package db

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"

	"evenrig/service/trial"
)

// Task is something that the service does by itself again and again. Do returns how many faults it found.
type Task struct {
	Name string
	Do   func(ctx context.Context) (faults int64, err error)
}

const (
	dayInterval = 24 * time.Hour
	// dayPause is how long a task of each day that failed waits to be tried again.
	dayPause = time.Hour
)

var errUpkeep = errors.New("the service's log says what failed")

// minuteWorker does the tasks of each minute and asks for those of each day when they are due.
type minuteWorker struct {
	river.WorkerDefaults[checkpointArgs]
	store       *Store
	minute, day []Task
}

// Work runs the job.
func (w *minuteWorker) Work(ctx context.Context, _ *river.Job[checkpointArgs]) error {
	err := w.store.failOrphans(ctx)
	for _, t := range w.minute {
		err = errors.Join(err, w.store.runTask(ctx, t))
	}
	due, dueErr := w.store.due(ctx, w.day, time.Now())
	if err = errors.Join(err, dueErr); len(due) > 0 {
		_, insertErr := w.store.queue.Insert(ctx, dailyArgs{}, nil)
		err = errors.Join(err, insertErr)
	}
	return w.store.settleUpkeep(ctx, err)
}

// dayWorker does the tasks of each day that are due.
type dayWorker struct {
	river.WorkerDefaults[dailyArgs]
	store *Store
	tasks []Task
}

// Timeout bounds the job.
func (w *dayWorker) Timeout(*river.Job[dailyArgs]) time.Duration { return dailyTimeout }

// Work runs the job.
func (w *dayWorker) Work(ctx context.Context, _ *river.Job[dailyArgs]) error {
	due, err := w.store.due(ctx, w.tasks, time.Now())
	for _, t := range due {
		err = errors.Join(err, w.store.runTask(ctx, t))
	}
	return w.store.settleUpkeep(ctx, err)
}

// settleUpkeep tells the log what went wrong, and the queue that something did.
func (s *Store) settleUpkeep(ctx context.Context, err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(ctx.Err(), context.Canceled):
		return context.Canceled
	}
	s.log.Error("upkeep failed", "reason", err)
	return errUpkeep
}

// runTask does a task and notes what came of it, unless it was told to stop in the midst.
func (s *Store) runTask(ctx context.Context, t Task) error {
	u := trial.Upkeep{Task: t.Name, BegunAt: time.Now()}
	err := guard(func() (err error) {
		u.Faults, err = t.Do(ctx)
		return err
	})
	if errors.Is(ctx.Err(), context.Canceled) {
		return err
	}
	if err != nil {
		err = fmt.Errorf("%s: %w", t.Name, err)
	}
	u.EndedAt, u.Failed = time.Now(), err != nil
	return errors.Join(err, s.noteUpkeep(context.WithoutCancel(ctx), u))
}

func (s *Store) noteUpkeep(ctx context.Context, u trial.Upkeep) error {
	const noteUpkeep = `
INSERT INTO upkeep AS u (task, begun_at, ended_at, failed, good_at, faults)
VALUES (@task, @begun_at, @ended_at, @failed, CASE WHEN @failed THEN NULL ELSE @ended_at::timestamptz END, @faults)
ON CONFLICT (task) DO UPDATE
SET begun_at = excluded.begun_at, ended_at = excluded.ended_at, failed = excluded.failed, good_at = coalesce(excluded.good_at, u.good_at),
    faults = CASE WHEN excluded.failed THEN u.faults ELSE excluded.faults END`
	_, err := s.pool.Exec(ctx, noteUpkeep, pgx.StrictNamedArgs{
		"task": u.Task, "begun_at": u.BegunAt, "ended_at": u.EndedAt, "failed": u.Failed, "faults": u.Faults,
	})
	if err != nil {
		return fmt.Errorf("note what came of %s: %w", u.Task, translate(err))
	}
	return nil
}

// due returns the tasks of each day that are due at the given time.
func (s *Store) due(ctx context.Context, tasks []Task, at time.Time) (due []Task, err error) {
	runs, err := s.Upkeep(ctx)
	if err != nil {
		return nil, err
	}
	last := map[string]trial.Upkeep{}
	for _, u := range runs {
		last[u.Task] = u
	}
	for _, t := range tasks {
		u, begun := last[t.Name]
		rested := at.Sub(u.BegunAt) >= dayPause
		if !begun || rested && (u.Failed || at.Sub(u.BegunAt) >= dayInterval) {
			due = append(due, t)
		}
	}
	return due, nil
}

// Upkeep returns what came of every task's last run, in order of task.
func (s *Store) Upkeep(ctx context.Context) (runs []trial.Upkeep, err error) {
	err = s.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		runs, err = tx.UpkeepRuns(ctx)
		return err
	})
	return runs, err
}

// UpkeepRuns implements trial.ReadTx.
func (r readTx) UpkeepRuns(ctx context.Context) ([]trial.Upkeep, error) {
	const upkeepRuns = `SELECT task, begun_at, ended_at, failed, good_at, faults FROM upkeep ORDER BY task`
	return list(ctx, r.tx, "upkeep", upkeepRuns, pgx.StrictNamedArgs{}, pgx.RowToStructByName[trial.Upkeep])
}

// CleanUp removes sessions and links that ended before the given time: nobody gets in by them, and whose they were is nobody's business.
func (s *Store) CleanUp(ctx context.Context, before time.Time) error {
	const (
		endedSessions = `DELETE FROM sessions WHERE used_at < @idle OR created_at < @life`
		endedLinks    = `DELETE FROM links WHERE expires_at < @before`
	)
	_, err := s.pool.Exec(ctx, endedSessions, pgx.StrictNamedArgs{"idle": before.Add(-trial.SessionIdle), "life": before.Add(-trial.SessionLife)})
	if err == nil {
		_, err = s.pool.Exec(ctx, endedLinks, pgx.StrictNamedArgs{"before": before})
	}
	if err != nil {
		return fmt.Errorf("clean up: %w", translate(err))
	}
	return nil
}
