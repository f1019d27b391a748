package api

import (
	"context"
	"fmt"
	"math"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/trial"
)

// shownJobs are the states of jobs that are not done.
var shownJobs = []trial.JobState{trial.JobWaiting, trial.JobRunning, trial.JobRetrying, trial.JobDead}

// ListJobs lists the trials' jobs that are not done, the newest first.
func (h *handlers) ListJobs(ctx context.Context, r openapi.ListJobsRequestObject) (openapi.ListJobsResponseObject, error) {
	p, err := pageOf(nil, r.Params.Limit)
	if err != nil {
		return nil, err
	}
	states := shownJobs
	if r.Params.State != nil {
		states = []trial.JobState{trial.JobState(*r.Params.State)}
	}
	jobs, err := h.service.Jobs(ctx, actorOf(ctx), states, or(r.Params.Before, math.MaxInt64), p.limit+1)
	if err != nil {
		return nil, err
	}
	answer := openapi.ListJobs200JSONResponse{}
	if len(jobs) > p.limit {
		jobs = jobs[:p.limit]
		link := fmt.Sprintf(`</v1/jobs?before=%d&limit=%d`, jobs[p.limit-1].Number, p.limit)
		if r.Params.State != nil {
			link += "&state=" + string(*r.Params.State)
		}
		link += `>; rel="next"`
		answer.Headers.Link = &link
	}
	answer.Body.Items = each(jobs, jobFrom)
	return answer, nil
}

// RetryJob tries a job once more that failed for good.
func (h *handlers) RetryJob(ctx context.Context, r openapi.RetryJobRequestObject) (openapi.RetryJobResponseObject, error) {
	job, err := h.service.RetryJob(ctx, actorOf(ctx), r.Job)
	if err != nil {
		return nil, err
	}
	return openapi.RetryJob200JSONResponse(jobFrom(job)), nil
}

// CancelJob cancels a job.
func (h *handlers) CancelJob(ctx context.Context, r openapi.CancelJobRequestObject) (openapi.CancelJobResponseObject, error) {
	job, err := h.service.CancelJob(ctx, actorOf(ctx), r.Job)
	if err != nil {
		return nil, err
	}
	return openapi.CancelJob200JSONResponse(jobFrom(job)), nil
}

// ListUpkeep tells what came of what the service does by itself.
func (h *handlers) ListUpkeep(ctx context.Context, _ openapi.ListUpkeepRequestObject) (openapi.ListUpkeepResponseObject, error) {
	runs, err := h.service.Upkeep(ctx, actorOf(ctx))
	if err != nil {
		return nil, err
	}
	return openapi.ListUpkeep200JSONResponse{Items: each(runs, func(u trial.Upkeep) openapi.Upkeep {
		return openapi.Upkeep{
			Task: openapi.UpkeepTask(u.Task), BegunAt: u.BegunAt, EndedAt: u.EndedAt, Failed: u.Failed, GoodAt: u.GoodAt, Faults: u.Faults,
		}
	})}, nil
}

// CancelAnalysis cancels a queued analysis.
func (h *handlers) CancelAnalysis(ctx context.Context, r openapi.CancelAnalysisRequestObject) (openapi.CancelAnalysisResponseObject, error) {
	a, err := h.service.CancelAnalysis(ctx, actorOf(ctx), trial.ID(r.Trial), r.N)
	if err != nil {
		return nil, err
	}
	return openapi.CancelAnalysis200JSONResponse(analysisFrom(a)), nil
}

func jobFrom(j trial.Job) openapi.Job {
	return openapi.Job{
		Number: j.Number, Kind: openapi.JobKind(j.Kind), Trial: openapi_types.UUID(j.TrialID), N: j.N, State: openapi.JobState(j.State), Ahead: j.Ahead,
		BegunAt: j.BegunAt, Attempt: j.Attempt, Attempts: j.Attempts, Step: j.Step, Steps: j.Steps, AskedAt: j.AskedAt, DueAt: j.DueAt, EndedAt: j.EndedAt,
	}
}

// withJob adds how far a queued analysis is.
func (h *handlers) withJob(ctx context.Context, a trial.Analysis) (openapi.Analysis, error) {
	answer := analysisFrom(a)
	if a.State != trial.Queued {
		return answer, nil
	}
	j, err := h.service.AnalysisJob(ctx, actorOf(ctx), a.TrialID, a.N)
	if err != nil || j == nil {
		return answer, err
	}
	answer.Job = &openapi.JobProgress{
		State: openapi.JobState(j.State), Ahead: j.Ahead, BegunAt: j.BegunAt, Attempt: j.Attempt, Attempts: j.Attempts, Step: j.Step, Steps: j.Steps,
	}
	return answer, nil
}
