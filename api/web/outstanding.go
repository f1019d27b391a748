package web

import (
	"net/http"
	"net/url"

	"evenrig/service/trial"
)

// outstandingRoutes are what has not arrived yet, for the organiser who rings people before locking.
func (s *Site) outstandingRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/trials/:trial/outstanding", Signed: true, Handle: s.outstanding},
		{Method: http.MethodPost, Path: "/trials/:trial/outstanding", Signed: true, Handle: s.declareCardsIn},
	}
}

// outstandingView is what may be on its way: from whom something is known to be missing, and the others.
type outstandingView struct {
	standing
	*Form
	Missing, Heard []trial.Outstanding
}

func (s *Site) outstandingView(v *Visit, f *Form) (view outstandingView, err error) {
	view.Form = f
	if view.standing, err = s.standing(v); err != nil {
		return view, err
	}
	list, err := s.service.Outstanding(v.Ctx(), v.Actor, view.ID())
	for _, o := range list {
		if o.Waits() {
			view.Missing = append(view.Missing, o)
		} else {
			view.Heard = append(view.Heard, o)
		}
	}
	return view, err
}

// Declares reports whether the organiser has cards to declare to be in.
func (v outstandingView) Declares() bool { return v.Awaits != nil }

func (s *Site) outstanding(v *Visit) error {
	view, err := s.outstandingView(v, newForm(url.Values{}))
	if err != nil {
		return err
	}
	return v.Page("outstanding", view)
}

func (s *Site) declareCardsIn(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.outstandingView(v, f)
	if err != nil {
		return err
	}
	if _, err := s.service.DeclareCardsIn(v.Ctx(), v.Actor, view.ID(), f.Get("reason")); err != nil {
		return v.Again("outstanding", f, view, err)
	}
	return v.See(trialPath(view.ID(), "/outstanding"), "cards_in")
}
