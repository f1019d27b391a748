package trial

import (
	"context"
	"errors"
	"time"
)

// JobFunc does one queued piece of a trial's work, the n-th analysis or edition, and stores what came of it. The queue calls it
// again when it fails, unless the error is ErrLasting.
type JobFunc func(ctx context.Context, trial ID, n int) error

// ErrNotYet is what a job returns that waits for something else to be done first. The queue calls it again soon.
var ErrNotYet = errors.New("something else has to be done first")

// ErrLasting is in the error of a job that would fail again however often it is tried.
var ErrLasting = errors.New("trying again does not help")

// Job is a queued piece of a trial's work as the queue knows it: nothing that the trial hides.
type Job struct {
	Number   int64 // in the queue
	Kind     JobKind
	TrialID  ID
	N        int // of the analysis or edition
	State    JobState
	Ahead    int // how many come before it while it waits
	Attempt  int // how often it was begun
	Attempts int // how often it may be
	AskedAt  time.Time
	DueAt    time.Time // not begun before
	BegunAt  *time.Time
	EndedAt  *time.Time
	Step     int // the step it is at, 0 where it does not say
	Steps    int
}

// JobKind is what a job does.
type JobKind string

// The kinds of job that belong to a trial.
const (
	AnalysisJob    JobKind = "analysis"
	PublicationJob JobKind = "publication"
)

// JobState is how far a job is.
type JobState string

// The states of a job.
const (
	JobWaiting   JobState = "waiting"
	JobRunning   JobState = "running"
	JobRetrying  JobState = "retrying" // it failed and waits to be tried again
	JobDone      JobState = "done"
	JobCancelled JobState = "cancelled"
	JobDead      JobState = "dead" // it failed for good
)

// Unfinished reports whether the job is still to be done.
func (j Job) Unfinished() bool {
	return j.State == JobWaiting || j.State == JobRunning || j.State == JobRetrying
}

// Retryable returns nil for a job that failed for good, else a Conflict error: the others are tried by themselves, or are done.
func (j Job) Retryable() error {
	if j.State == JobDead {
		return nil
	}
	return Fail(Conflict, "job.not_dead", "job %d is %s; only one that failed for good is tried again by hand", j.Number, j.State)
}

// Cancellable returns nil for a job that is still to be done, else a Conflict error.
func (j Job) Cancellable() error {
	if j.Unfinished() {
		return nil
	}
	return Fail(Conflict, "job.ended", "job %d is %s; there is nothing to cancel", j.Number, j.State)
}

// Upkeep is what came of the last run of something that the service does by itself again and again.
type Upkeep struct {
	Task    string // checkpoints, looks, check, clean_up
	BegunAt time.Time
	EndedAt time.Time
	Failed  bool       // the last run ended with an error, which the service's log has
	GoodAt  *time.Time // when it last ended without one
	Faults  int64      // found by the last run that ended without an error
}

// JobReadTx reads the queue.
type JobReadTx interface {
	// JobOf returns the last job for a trial's n-th analysis or edition; the queue forgets those that were done.
	JobOf(ctx context.Context, trial ID, kind JobKind, n int) (Job, error)
	JobBy(ctx context.Context, number int64) (Job, error)
	// Jobs lists the trials' jobs in the given states whose number is less than before, the newest first, at most limit.
	Jobs(ctx context.Context, states []JobState, before int64, limit int) ([]Job, error)
	// UpkeepRuns returns what came of every task's last run, in order of task.
	UpkeepRuns(ctx context.Context) ([]Upkeep, error)
}

// JobTx changes the queue. The caller has locked the trial.
type JobTx interface {
	// RetryJob lets a job that failed for good be tried once more, and its failed analysis or edition wait for it again.
	RetryJob(ctx context.Context, j Job) error
	// CancelJob takes a job out of the queue; one that runs is told to stop.
	CancelJob(ctx context.Context, j Job) error
}
