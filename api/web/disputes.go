package web

import (
	"net/http"
	"net/url"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// disputeRoutes are disputes about a fish or an outing: filed by any member, decided by two others without being told which
// fly was taken.
func (s *Site) disputeRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/trials/:trial/disputes", Signed: true, Handle: s.disputesPage},
		{Method: http.MethodPost, Path: "/trials/:trial/disputes", Signed: true, Handle: s.fileDispute},
		{Method: http.MethodPost, Path: "/trials/:trial/disputes/:dispute", Signed: true, Handle: s.decideDispute},
	}
}

type disputesView struct {
	standing
	*Form
	Disputes []conduct.DisputeView
	Deciding trial.ID // the dispute that the form decides, when it came back with faults
}

// Open reports whether anything may still be disputed and decided.
func (d disputesView) Open() bool { return d.Trial.Disputes() == nil }

func (s *Site) disputes(v *Visit, f *Form) (view disputesView, err error) {
	view.Form = f
	if view.standing, err = s.standing(v); err != nil {
		return view, err
	}
	view.Disputes, err = s.service.Disputes(v.Ctx(), v.Actor, view.ID())
	return view, err
}

func (s *Site) disputesPage(v *Visit) error {
	view, err := s.disputes(v, newForm(url.Values{"subject": {v.QueryParam("about")}}))
	if err != nil {
		return err
	}
	return v.Page("disputes", view)
}

func (s *Site) fileDispute(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.disputes(v, f)
	if err != nil {
		return err
	}
	subject, _ := trial.ParseID(f.Get("subject")) // what is no id is zero, and named as a fault like one that is missing
	if _, err := s.service.FileDispute(v.Ctx(), v.Actor, view.ID(), subject, f.Get("words")); err != nil {
		return v.refused("disputes", f, view, err)
	}
	return v.See(trialPath(view.ID(), "/disputes"), "dispute_filed")
}

func (s *Site) decideDispute(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.disputes(v, f)
	if err != nil {
		return err
	}
	if view.Deciding, err = v.ID("dispute"); err != nil {
		return err
	}
	made := trial.DisputeDecision{Decision: f.Get("decision"), Reason: f.Get("reason")}
	if _, err := s.service.DecideDispute(v.Ctx(), v.Actor, view.ID(), view.Deciding, made); err != nil {
		return v.Again("disputes", f, view, err)
	}
	return v.See(trialPath(view.ID(), "/disputes"), "dispute_decided")
}
