package web

import (
	"net/http"
	"strconv"

	"evenrig/service/trial"
)

// waitingRoutes are for who waits for an analysis.
func (s *Site) waitingRoutes() []Route {
	return []Route{
		{Method: http.MethodPost, Path: "/trials/:trial/analyses/:n/cancel", Signed: true, Handle: s.cancelAnalysis},
	}
}

// waitingView is a trial whose analysis is not computed yet, or was not: Analysis is the last one that was asked for.
type waitingView struct {
	standing
	Analysis trial.Analysis
	Job      *trial.Job // nil unless it is in the queue
}

// waiting shows how far the last analysis is, when err says that there is no result yet; any other err is returned.
func (s *Site) waiting(v *Visit, err error) error {
	if kind := trial.KindOf(err); kind != trial.Conflict && kind != trial.NotFound {
		return err
	}
	t, standingErr := s.standing(v)
	if standingErr != nil {
		return err
	}
	list, listErr := s.service.Analyses(v.Ctx(), v.Actor, t.ID())
	if listErr != nil || len(list) == 0 || t.Trial.Hidden() {
		return err
	}
	view := waitingView{standing: t, Analysis: list[len(list)-1]}
	if s := view.Analysis.State; s != trial.Queued && s != trial.Failed {
		return err
	}
	if view.Job, listErr = s.service.AnalysisJob(v.Ctx(), v.Actor, t.ID(), view.Analysis.N); listErr != nil {
		return listErr
	}
	return v.Page("waiting", view)
}

func (s *Site) cancelAnalysis(v *Visit) error {
	id, err := v.ID("trial")
	if err != nil {
		return err
	}
	n, err := strconv.Atoi(v.Param("n"))
	if err != nil {
		return trial.Missing("analysis")
	}
	if _, err := s.service.CancelAnalysis(v.Ctx(), v.Actor, id, n); err != nil {
		return err
	}
	return v.See(trialPath(id, "/result"), "analysis_cancelled")
}
