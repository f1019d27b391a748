package db

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivertype"

	"evenrig/service/trial"
)

// analysisArgs are all that the queue knows of an analysis: nothing that the trial hides.
type analysisArgs struct {
	TrialID trial.ID `json:"trial_id"`
	N       int      `json:"n"`
}

// Kind names the job in the queue.
func (analysisArgs) Kind() string { return "analysis" }

// InsertOpts makes the job unique: an analysis is computed once.
func (analysisArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{MaxAttempts: analysisAttempts, UniqueOpts: river.UniqueOpts{ByArgs: true}}
}

// publicationArgs are all that the queue knows of an edition of a package.
type publicationArgs struct {
	TrialID trial.ID `json:"trial_id"`
	N       int      `json:"n"`
}

// Kind names the job in the queue.
func (publicationArgs) Kind() string { return "publication" }

// InsertOpts makes the job unique. It stands in a queue of its own, so that analyses do not wait for it.
func (publicationArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{MaxAttempts: publicationAttempts, Queue: publicationQueue, UniqueOpts: river.UniqueOpts{ByArgs: true}}
}

// checkpointArgs is the job that each minute looks for trials whose records moved.
type checkpointArgs struct{}

// Kind names the job in the queue.
func (checkpointArgs) Kind() string { return "checkpoint" }

// InsertOpts: one that fails is not tried again, the next minute brings another; two never wait at once.
func (checkpointArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{
		MaxAttempts: 1, Queue: checkpointQueue,
		UniqueOpts: river.UniqueOpts{ByState: []rivertype.JobState{
			rivertype.JobStateAvailable, rivertype.JobStatePending, rivertype.JobStateRunning, rivertype.JobStateScheduled, rivertype.JobStateRetryable,
		}},
	}
}

const (
	analysisAttempts    = 5
	analysesAtOnce      = 2
	publicationAttempts = 5
	publicationQueue    = "publication"
	// publicationTimeout is far above what the package of a season takes, publicationPause what one waits for an analysis.
	publicationTimeout = 30 * time.Minute
	publicationPause   = time.Second
	checkpointQueue    = "checkpoint"
	checkpointInterval = time.Minute
	// jobTimeout is far above what an analysis of a season takes. A job that does not even heed that is taken up again
	// after rescueAfter.
	jobTimeout  = 4 * time.Minute
	rescueAfter = 5 * time.Minute
	fetchPause  = 10 * time.Millisecond
)

// Jobs works on queued analyses and editions and takes checkpoints. Any number of processes may run one on the same database:
// each job runs on one of them, and one of them, elected, asks for a checkpoint each minute.
type Jobs struct {
	store  *Store
	client *river.Client[pgx.Tx]
}

// Work is what Jobs do: compute an analysis, make an edition of a package, and, each minute, take the checkpoints that are due.
type Work struct {
	Analyse    trial.JobFunc
	Publish    trial.JobFunc
	EachMinute func(ctx context.Context) error
}

// NewJobs returns Jobs that do the given work, once started.
func NewJobs(s *Store, work Work) (*Jobs, error) {
	workers := river.NewWorkers()
	river.AddWorker(workers, &analysisWorker{store: s, analyse: work.Analyse})
	river.AddWorker(workers, &publicationWorker{store: s, publish: work.Publish})
	river.AddWorker(workers, &checkpointWorker{store: s, checkpoint: work.EachMinute})
	client, err := river.NewClient(riverpgxv5.New(s.direct), &river.Config{
		ID: s.process + "/" + rand.Text(), Schema: jobsSchema, Logger: queueLog(s.log), Workers: workers,
		Queues: map[string]river.QueueConfig{
			river.QueueDefault: {MaxWorkers: analysesAtOnce},
			publicationQueue:   {MaxWorkers: 1},
			checkpointQueue:    {MaxWorkers: 1},
		},
		FetchCooldown: fetchPause, JobTimeout: jobTimeout, RescueStuckJobsAfter: rescueAfter,
		PeriodicJobs: []*river.PeriodicJob{river.NewPeriodicJob(
			river.PeriodicInterval(checkpointInterval),
			func() (river.JobArgs, *river.InsertOpts) { return checkpointArgs{}, nil },
			&river.PeriodicJobOpts{RunOnStart: true},
		)},
	})
	if err != nil {
		return nil, fmt.Errorf("set up the job queue: %w", err)
	}
	return &Jobs{s, client}, nil
}

// Start begins to work, also on what a process that was killed left undone. Ending ctx stops the work too, after what
// is under way.
func (j *Jobs) Start(ctx context.Context) error {
	if err := j.store.freeJobs(ctx); err != nil {
		return fmt.Errorf("start the job queue: %w", err)
	}
	if err := j.client.Start(ctx); err != nil {
		return fmt.Errorf("start the job queue: %w", translate(err))
	}
	return nil
}

// Stop takes no more jobs and waits for those under way. When ctx ends first they are cancelled and tried again later.
func (j *Jobs) Stop(ctx context.Context) error {
	err := j.client.Stop(ctx)
	if err == nil || ctx.Err() == nil {
		return err
	}
	cancelled, done := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer done()
	if err := j.client.StopAndCancel(cancelled); err != nil {
		return fmt.Errorf("stop the job queue: %w", err)
	}
	return nil
}

// analysisWorker computes one analysis.
type analysisWorker struct {
	river.WorkerDefaults[analysisArgs]
	store   *Store
	analyse trial.JobFunc
}

// errAnalysis is all that the queue keeps of a failure: whoever looks into the queue needs no role in the club, so no
// word of an analysis stands there. The reason goes to the service's log once.
var errAnalysis = errors.New("the analysis failed; the service's log says why")

// Work runs the job. When the last attempt fails, the analysis is marked as failed, so that another can be asked for.
func (w *analysisWorker) Work(ctx context.Context, job *river.Job[analysisArgs]) error {
	err := guard(func() error { return w.analyse(ctx, job.Args.TrialID, job.Args.N) })
	if err == nil {
		return nil
	}
	w.store.log.Error("an analysis failed", "trial", job.Args.TrialID, "n", job.Args.N, "attempt", job.Attempt, "reason", err)
	if job.Attempt >= job.MaxAttempts {
		if err := w.store.failAnalysis(context.WithoutCancel(ctx), job.Args, time.Now()); err != nil {
			w.store.log.Error("a failed analysis could not be marked", "trial", job.Args.TrialID, "n", job.Args.N, "reason", err)
		}
	}
	return errAnalysis
}

// publicationWorker makes one edition of a package.
type publicationWorker struct {
	river.WorkerDefaults[publicationArgs]
	store   *Store
	publish trial.JobFunc
}

var errPublication = errors.New("the package failed; the service's log says why")

// Timeout bounds the job.
func (w *publicationWorker) Timeout(*river.Job[publicationArgs]) time.Duration {
	return publicationTimeout
}

// Work runs the job. When the last attempt fails, the edition is marked as failed, so that another can be asked for.
func (w *publicationWorker) Work(ctx context.Context, job *river.Job[publicationArgs]) error {
	err := guard(func() error { return w.publish(ctx, job.Args.TrialID, job.Args.N) })
	switch {
	case err == nil:
		return nil
	case errors.Is(err, trial.ErrNotYet):
		return river.JobSnooze(publicationPause)
	}
	w.store.log.Error("a package could not be made", "trial", job.Args.TrialID, "edition", job.Args.N, "attempt", job.Attempt, "reason", err)
	if job.Attempt >= job.MaxAttempts {
		if err := w.store.failPublication(context.WithoutCancel(ctx), job.Args); err != nil {
			w.store.log.Error("a failed edition could not be marked", "trial", job.Args.TrialID, "edition", job.Args.N, "reason", err)
		}
	}
	return errPublication
}

// guard turns a panic into an error, so that the queue does not keep its text.
func guard(do func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic: %v", p)
		}
	}()
	return do()
}

// failAnalysis marks an analysis as failed for good.
func (s *Store) failAnalysis(ctx context.Context, a analysisArgs, at time.Time) error {
	const failAnalysis = `
UPDATE analyses SET state = 'failed', finished_at = @at, failure = @failure WHERE trial_id = @trial_id AND n = @n AND state = 'queued'`
	_, err := s.pool.Exec(ctx, failAnalysis, pgx.StrictNamedArgs{
		"trial_id": a.TrialID, "n": a.N, "at": at, "failure": "the analysis could not be computed; ask for another, and tell the server's admin if it fails again",
	})
	return translate(err)
}

// failPublication marks an edition as failed for good.
func (s *Store) failPublication(ctx context.Context, p publicationArgs) error {
	const failPublication = `
UPDATE publications SET state = 'failed', failure = @failure WHERE trial_id = @trial_id AND edition = @edition AND state = 'queued'`
	_, err := s.pool.Exec(ctx, failPublication, pgx.StrictNamedArgs{
		"trial_id": p.TrialID, "edition": p.N, "failure": "the package could not be made; ask for it again, and tell the server's admin if it fails again",
	})
	return translate(err)
}

// freeJobs frees the work of processes that live no more, and marks as failed what nobody will work on again: its last
// process was killed too, so that it could not do so itself.
func (s *Store) freeJobs(ctx context.Context) error {
	const free = `
UPDATE jobs.river_job j
SET state = (CASE WHEN attempt < max_attempts THEN 'available' ELSE 'discarded' END)::jobs.river_job_state,
    finalized_at = CASE WHEN attempt < max_attempts THEN NULL ELSE now() END
WHERE kind = ANY(@kinds) AND state = 'running' AND NOT EXISTS (
    SELECT FROM pg_stat_activity
    WHERE datname = current_database()
      AND application_name = @prefix || split_part(j.attempted_by[array_upper(j.attempted_by, 1)], '/', 1))`
	const (
		without = ` q
WHERE state = 'queued' AND NOT EXISTS (
    SELECT FROM jobs.river_job
    WHERE kind = @kind AND args @> jsonb_build_object('trial_id', q.trial_id::text, 'n', q.n)
      AND state IN ('available', 'pending', 'retryable', 'running', 'scheduled'))`
		analyses = `SELECT trial_id, n FROM analyses` + without
		editions = `SELECT trial_id, n FROM (SELECT trial_id, edition AS n, state FROM publications)` + without
	)
	kinds := []string{analysisArgs{}.Kind(), publicationArgs{}.Kind()}
	if _, err := s.pool.Exec(ctx, free, pgx.StrictNamedArgs{"kinds": kinds, "prefix": applicationPrefix}); err != nil {
		return fmt.Errorf("free the jobs of processes that ended: %w", translate(err))
	}
	err := failOrphans(ctx, s, analyses, func(a analysisArgs) error { return s.failAnalysis(ctx, a, time.Now()) })
	if err != nil {
		return fmt.Errorf("mark analyses without a job as failed: %w", err)
	}
	err = failOrphans(ctx, s, editions, func(p publicationArgs) error { return s.failPublication(ctx, p) })
	if err != nil {
		return fmt.Errorf("mark editions without a job as failed: %w", err)
	}
	return nil
}

// failOrphans marks what the query finds.
func failOrphans[T river.JobArgs](ctx context.Context, s *Store, query string, fail func(T) error) error {
	var kind T
	rows, err := s.pool.Query(ctx, query, pgx.StrictNamedArgs{"kind": kind.Kind()})
	if err != nil {
		return translate(err)
	}
	left, err := pgx.CollectRows(rows, pgx.RowToStructByName[T])
	if err != nil {
		return translate(err)
	}
	for _, job := range left {
		if err := fail(job); err != nil {
			return err
		}
	}
	return nil
}

// checkpointWorker is the work of each minute: it frees the jobs of processes that ended and takes the checkpoints that
// are due.
type checkpointWorker struct {
	river.WorkerDefaults[checkpointArgs]
	store      *Store
	checkpoint func(ctx context.Context) error
}

var errCheckpoint = errors.New("the checkpoints failed; the service's log says why")

// Work runs the job.
func (w *checkpointWorker) Work(ctx context.Context, _ *river.Job[checkpointArgs]) error {
	err := guard(func() error { return errors.Join(w.store.freeJobs(ctx), w.checkpoint(ctx)) })
	if err != nil {
		w.store.log.Error("checkpoints failed", "reason", err)
		return errCheckpoint
	}
	return nil
}
