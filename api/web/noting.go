package web

import (
	"net/http"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// notingRoutes are about noting for another: whom an angler lets note for him, and guests for a day, who have no account.
func (s *Site) notingRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/trials/:trial/noting", Signed: true, Handle: s.notingPage},
		{Method: http.MethodPost, Path: "/trials/:trial/noting", Signed: true, Handle: s.setNoters},
		{Method: http.MethodPost, Path: "/trials/:trial/guests", Signed: true, Handle: s.bringGuest},
	}
}

type notingView struct {
	standing
	*Form
	Members []trial.Membership // whom an angler may let note for him
	For     []conduct.NotedFor // those for whom the reader may note
}

// Brings reports whether the reader may bring a guest now.
func (n notingView) Brings() bool {
	return n.Trial.Enrols() == nil && trial.Permit(trial.BringGuest, n.Club.Role) == nil
}

func (s *Site) noting(v *Visit, f *Form) (view notingView, err error) {
	view.Form = f
	if view.standing, err = s.standing(v); err != nil {
		return view, err
	}
	if view.For, err = s.service.NotedFor(v.Ctx(), v.Actor, view.ID()); err != nil {
		return view, err
	}
	members, err := s.service.Members(v.Ctx(), v.Actor, view.Trial.ClubID, trial.Page{Limit: all})
	for _, m := range members {
		if m.AccountID != v.Actor.AccountID && trial.Permit(trial.NoteForOthers, m.Role) == nil {
			view.Members = append(view.Members, m)
		}
	}
	return view, err
}

func (s *Site) notingPage(v *Visit) error {
	view, err := s.noting(v, newForm(freshDraw()))
	if err != nil {
		return err
	}
	if view.Fishes() {
		noters, err := s.service.Noters(v.Ctx(), v.Actor, view.ID())
		if err != nil {
			return err
		}
		for _, account := range noters {
			view.Form.Add("noter", account.String())
		}
	}
	return v.Page("noting", view)
}

func (s *Site) setNoters(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.noting(v, f)
	if err != nil {
		return err
	}
	accounts := []trial.ID{}
	for _, text := range f.Values["noter"] {
		id, err := trial.ParseID(text)
		if err != nil {
			return trial.Missing("member")
		}
		accounts = append(accounts, id)
	}
	if err := s.service.SetNoters(v.Ctx(), v.Actor, view.ID(), accounts); err != nil {
		return v.Again("noting", f, view, err)
	}
	return v.See(trialPath(view.ID(), "/noting"), "noters_set")
}

func (s *Site) bringGuest(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.noting(v, f)
	if err != nil {
		return err
	}
	e, err := enrolmentFrom(f)
	e.Consent.Minor = f.Get("guardian") == "yes"
	if err == nil {
		_, err = s.service.BringGuest(v.Ctx(), v.Actor, view.ID(), e)
	}
	if err != nil {
		return v.Again("noting", f, view, err)
	}
	return v.See(trialPath(view.ID(), "/noting"), "guest_brought")
}
