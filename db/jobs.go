package db

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"sync"
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

// checkpointArgs is the job of each minute, dailyArgs that of each day.
type (
	checkpointArgs struct{}
	dailyArgs      struct{}
)

// Kind names the job in the queue.
func (checkpointArgs) Kind() string { return "checkpoint" }

// Kind names the job in the queue.
func (dailyArgs) Kind() string { return "daily" }

// InsertOpts: one that fails is not tried again, the next minute brings another.
func (checkpointArgs) InsertOpts() river.InsertOpts { return oneAtATime(checkpointQueue) }

// InsertOpts: as for the job of each minute, which sees when it is due again. Its queue is its own, so that a program that does
// not know it yet leaves it alone.
func (dailyArgs) InsertOpts() river.InsertOpts { return oneAtATime(dailyQueue) }

func oneAtATime(queue string) river.InsertOpts {
	return river.InsertOpts{
		MaxAttempts: 1, Queue: queue,
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
	dailyQueue         = "daily"
	dailyTimeout       = 6 * time.Hour
	// jobTimeout is far above what an analysis of a season takes. A job that does not even heed that is taken up again
	// after stuckAfter, one whose process was killed within rescueInterval.
	jobTimeout     = 4 * time.Minute
	stuckAfter     = 5 * time.Minute
	rescueInterval = 15 * time.Second
	fetchPause     = 10 * time.Millisecond
	// deadKept is how long who runs the server finds the jobs that failed for good.
	deadKept = 90 * 24 * time.Hour
)

// Jobs works on queued analyses and editions and does what is due each minute and each day. Any number of processes may run one
// on the same database: each job runs on one of them, and one of them, elected, asks for the work of each minute.
type Jobs struct {
	store    *Store
	client   *river.Client[pgx.Tx]
	rescuing context.CancelFunc
	rescued  sync.WaitGroup
}

// Work is what Jobs do: compute an analysis, make an edition of a package, and what the service does by itself.
type Work struct {
	Analyse, Publish    trial.JobFunc
	EachMinute, EachDay []Task
}

// NewJobs returns Jobs that do the given work, once started.
func NewJobs(s *Store, work Work) (*Jobs, error) {
	workers := river.NewWorkers()
	river.AddWorker(workers, &analysisWorker{store: s, analyse: work.Analyse})
	river.AddWorker(workers, &publicationWorker{store: s, publish: work.Publish})
	river.AddWorker(workers, &minuteWorker{store: s, minute: work.EachMinute, day: work.EachDay})
	river.AddWorker(workers, &dayWorker{store: s, tasks: work.EachDay})
	client, err := river.NewClient(riverpgxv5.New(s.direct), &river.Config{
		ID: s.process + "/" + rand.Text(), Schema: jobsSchema, Logger: queueLog(s.log), Workers: workers,
		Queues: map[string]river.QueueConfig{
			river.QueueDefault: {MaxWorkers: analysesAtOnce},
			publicationQueue:   {MaxWorkers: 1},
			checkpointQueue:    {MaxWorkers: 1},
			dailyQueue:         {MaxWorkers: 1},
		},
		FetchCooldown: fetchPause, JobTimeout: jobTimeout, RescueStuckJobsAfter: stuckAfter,
		DiscardedJobRetentionPeriod: deadKept,
		PeriodicJobs: []*river.PeriodicJob{river.NewPeriodicJob(
			river.PeriodicInterval(checkpointInterval),
			func() (river.JobArgs, *river.InsertOpts) { return checkpointArgs{}, nil },
			&river.PeriodicJobOpts{RunOnStart: true},
		)},
	})
	if err != nil {
		return nil, fmt.Errorf("set up the job queue: %w", err)
	}
	return &Jobs{store: s, client: client}, nil
}

// Start begins to work, also on what a process that was killed left undone. ctx is for starting alone: Stop ends the work.
func (j *Jobs) Start(ctx context.Context) error {
	if err := errors.Join(j.store.freeJobs(ctx), j.store.failOrphans(ctx)); err != nil {
		return fmt.Errorf("start the job queue: %w", err)
	}
	lasting := context.WithoutCancel(ctx)
	if err := j.client.Start(lasting); err != nil {
		return fmt.Errorf("start the job queue: %w", translate(err))
	}
	lasting, j.rescuing = context.WithCancel(lasting)
	j.rescued.Go(func() { j.store.rescue(lasting) })
	return nil
}

// Stop takes no more jobs and waits for those under way. When ctx ends first they are told to stop and given back to the queue,
// for another process or the next start; that they were begun does not count against them.
func (j *Jobs) Stop(ctx context.Context) error {
	j.rescuing()
	j.rescued.Wait()
	err := j.client.Stop(ctx)
	if err == nil || ctx.Err() == nil {
		return err
	}
	cancelled, done := context.WithTimeout(context.WithoutCancel(ctx), giveBackTime)
	defer done()
	if err := j.client.StopAndCancel(cancelled); err != nil {
		return fmt.Errorf("stop the job queue: %w", err)
	}
	return nil
}

// giveBackTime is how long a job may take to notice that it is to stop. One that does not is rescued by another process.
const giveBackTime = 5 * time.Second

// analysisWorker computes one analysis.
type analysisWorker struct {
	river.WorkerDefaults[analysisArgs]
	store   *Store
	analyse trial.JobFunc
}

// errAnalysis is all that the queue keeps of a failure: whoever looks into the queue needs no role in the club, so no
// word of an analysis stands there. The reason goes to the service's log once.
var errAnalysis = errors.New("the analysis failed; the service's log says why")

// Work runs the job. When it fails for good the analysis is marked as failed, so that another can be asked for.
func (w *analysisWorker) Work(ctx context.Context, job *river.Job[analysisArgs]) error {
	return w.store.settle(ctx, job.JobRow, outcome{
		err:    guard(func() error { return w.analyse(ctx, job.Args.TrialID, job.Args.N) }),
		shown:  errAnalysis,
		giveUp: func(ctx context.Context) error { return w.store.failAnalysis(ctx, job.Args, time.Now()) },
		of:     []any{"trial", job.Args.TrialID, "n", job.Args.N},
	})
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

// Work runs the job. When it fails for good the edition is marked as failed, so that another can be asked for.
func (w *publicationWorker) Work(ctx context.Context, job *river.Job[publicationArgs]) error {
	return w.store.settle(ctx, job.JobRow, outcome{
		err:    guard(func() error { return w.publish(ctx, job.Args.TrialID, job.Args.N) }),
		shown:  errPublication,
		giveUp: func(ctx context.Context) error { return w.store.failPublication(ctx, job.Args) },
		of:     []any{"trial", job.Args.TrialID, "edition", job.Args.N},
	})
}

// outcome is what came of one attempt at a job: its error, what the queue is told of it, how its subject is marked when
// there is no further attempt, and what names it in the log.
type outcome struct {
	err    error
	shown  error
	giveUp func(context.Context) error
	of     []any
}

// settle tells the queue what came of an attempt, and the log why it failed.
func (s *Store) settle(ctx context.Context, row *rivertype.JobRow, o outcome) error {
	switch {
	case o.err == nil:
		return nil
	case errors.Is(o.err, trial.ErrNotYet):
		return river.JobSnooze(publicationPause)
	case errors.Is(ctx.Err(), context.Canceled):
		return context.Canceled // the process stops or the job was cancelled, which the queue knows
	}
	if errors.Is(o.err, trial.ErrLasting) {
		row.MaxAttempts = row.Attempt // the queue gives up whose attempts are used
	}
	dead := row.Attempt >= row.MaxAttempts
	s.log.Error("a job failed", append(o.of, "kind", row.Kind, "job", row.ID, "attempt", row.Attempt, "dead", dead, "reason", o.err)...)
	if dead {
		if err := o.giveUp(context.WithoutCancel(ctx)); err != nil {
			s.log.Error("what a failed job was for could not be marked", append(o.of, "kind", row.Kind, "reason", err)...)
		}
	}
	return o.shown
}

// guard turns a panic into an error, so that the queue does not keep its text. It would come again.
func guard(do func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic: %v: %w", p, trial.ErrLasting)
		}
	}()
	return do()
}
