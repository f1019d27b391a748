package web

import (
	"net/http"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// progressRoutes show how far a trial is, without anything that its running effect could be told from.
func (s *Site) progressRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/trials/:trial/progress", Signed: true, Handle: s.progress},
		{Method: http.MethodPost, Path: "/trials/:trial/analyses", Signed: true, Costly: true, Handle: s.requestAnalysis},
	}
}

type progressView struct {
	standing
	Progress conduct.Progress
	Note     string
	Looks    []trial.Look
	Excluded []excludedCount
	Guesses  []conduct.GuessView // once the trial is published
}

type excludedCount struct {
	Why trial.Exclusion
	N   int64
}

func (s *Site) progress(v *Visit) error {
	t, err := s.standing(v)
	if err != nil {
		return err
	}
	view := progressView{standing: t}
	if view.Progress, err = s.service.Progress(v.Ctx(), v.Actor, t.ID()); err != nil {
		return err
	}
	if view.Note, err = s.service.Note(v.Ctx(), v.Actor, t.ID()); err != nil {
		return err
	}
	if view.Looks, err = s.service.Looks(v.Ctx(), v.Actor, t.ID()); err != nil {
		return err
	}
	if t.In("published") {
		if view.Guesses, err = s.service.Guesses(v.Ctx(), v.Actor, t.ID()); err != nil {
			return err
		}
	}
	for _, why := range trial.Exclusions() {
		if n := view.Progress.Excluded[why]; n > 0 {
			view.Excluded = append(view.Excluded, excludedCount{why, n})
		}
	}
	return v.Page("progress", view)
}

// At is how far along the course the trial is, in percent of the drawing's width.
func (p progressView) At() int64 {
	if p.Protocol.MaxFish == 0 {
		return 1
	}
	return 1 + min(98, 98*p.Progress.Analysed/int64(p.Protocol.MaxFish))
}

// requestAnalysis has an imported table counted as it stands.
func (s *Site) requestAnalysis(v *Visit) error {
	id, err := v.ID("trial")
	if err != nil {
		return err
	}
	if _, err := s.service.RequestAnalysis(v.Ctx(), v.Actor, id); err != nil {
		return err
	}
	return v.See(trialPath(id, "/progress"), "analysis_asked")
}
