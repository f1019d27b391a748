package web

import (
	"math"
	"net/http"
	"strconv"

	"evenrig/service/trial"
)

// serverRoutes are for who looks after the server.
func (s *Site) serverRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/server", Signed: true, Handle: s.serverPage},
		{Method: http.MethodPost, Path: "/server/jobs/:job/retry", Signed: true, Handle: s.retryJob},
		{Method: http.MethodPost, Path: "/server/jobs/:job/cancel", Signed: true, Handle: s.cancelJob},
	}
}

// shownJobs is how many jobs of each kind of state the page shows at most.
const shownJobs = 100

// serverView is the server's own work: jobs that failed for good, those that are still to be done, and what came of its upkeep.
type serverView struct {
	Dead, Unfinished []trial.Job
	Upkeep           []trial.Upkeep
}

func (s *Site) serverPage(v *Visit) error {
	var view serverView
	var err error
	if view.Dead, err = s.service.Jobs(v.Ctx(), v.Actor, []trial.JobState{trial.JobDead}, math.MaxInt64, shownJobs); err != nil {
		return err
	}
	view.Unfinished, err = s.service.Jobs(v.Ctx(), v.Actor, []trial.JobState{trial.JobWaiting, trial.JobRunning, trial.JobRetrying}, math.MaxInt64, shownJobs)
	if err != nil {
		return err
	}
	if view.Upkeep, err = s.service.Upkeep(v.Ctx(), v.Actor); err != nil {
		return err
	}
	return v.Page("server", view)
}

func (s *Site) retryJob(v *Visit) error {
	number, err := v.jobNumber()
	if err != nil {
		return err
	}
	if _, err := s.service.RetryJob(v.Ctx(), v.Actor, number); err != nil {
		return err
	}
	return v.See("/server", "job_retried")
}

func (s *Site) cancelJob(v *Visit) error {
	number, err := v.jobNumber()
	if err != nil {
		return err
	}
	if _, err := s.service.CancelJob(v.Ctx(), v.Actor, number); err != nil {
		return err
	}
	return v.See("/server", "job_cancelled")
}

func (v *Visit) jobNumber() (int64, error) {
	n, err := strconv.ParseInt(v.Param("job"), 10, 64)
	if err != nil {
		return 0, trial.Missing("job")
	}
	return n, nil
}
