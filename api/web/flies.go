package web

import (
	"net/http"
	"net/url"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// flyRoutes are a trial's flies: batches, the envelopes that they are packed in, and where those are. Nothing here tells one
// pattern from the other.
func (s *Site) flyRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/trials/:trial/flies", Signed: true, Handle: s.fliesPage},
		{Method: http.MethodPost, Path: "/trials/:trial/flies", Signed: true, Handle: s.addFlies},
		{Method: http.MethodPost, Path: "/trials/:trial/flies/moves", Signed: true, Handle: s.moveFlies},
		{Method: http.MethodPost, Path: "/trials/:trial/flies/batches/:n", Signed: true, Handle: s.inspectFlies},
		{Method: http.MethodGet, Path: "/trials/:trial/print/labels", Signed: true, Handle: s.labels},
	}
}

type fliesView struct {
	standing
	*Form
	Stock   conduct.FlyStockView
	Anglers []trial.Enrolment
}

// Keeps and Inspects report what the reader may do with the flies.
func (f fliesView) Keeps() bool {
	return trial.Permit(trial.KeepFlies, f.Club.Role) == nil && f.Trial.KeepsFlies() == nil
}

// Inspects reports whether the reader may look a batch over.
func (f fliesView) Inspects() bool {
	return trial.Permit(trial.InspectFlies, f.Club.Role) == nil && f.Trial.KeepsFlies() == nil
}

func (s *Site) flies(v *Visit, f *Form) (view fliesView, err error) {
	view.Form = f
	if view.standing, err = s.standing(v); err != nil {
		return view, err
	}
	if view.Stock, err = s.service.Flies(v.Ctx(), v.Actor, view.ID()); err != nil {
		return view, err
	}
	view.Anglers, err = s.anglers(v, view.standing)
	return view, err
}

func (s *Site) fliesPage(v *Visit) error {
	view, err := s.flies(v, newForm(url.Values{"per_pattern": {"3"}, "envelopes": {"12"}}))
	if err != nil {
		return err
	}
	return v.Page("flies", view)
}

// keepFlies reads the form of the flies' page, does what it asks for, and goes back to the page.
func (s *Site) keepFlies(v *Visit, do func(view fliesView, f *Form) error) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.flies(v, f)
	if err != nil {
		return err
	}
	if err := do(view, f); err != nil {
		return v.refused("flies", f, view, err)
	}
	return v.See(trialPath(view.ID(), "/flies"), "flies_kept")
}

func (s *Site) addFlies(v *Visit) error {
	return s.keepFlies(v, func(view fliesView, f *Form) error {
		envelopes, err := f.whole("envelopes")
		if err != nil {
			return err
		}
		each, err := f.whole("per_pattern")
		if err != nil {
			return err
		}
		b := trial.FlyBatch{Batch: f.Get("batch"), TiedBy: f.Get("tied_by"), HookLot: f.Get("hook_lot"), Materials: f.Get("materials")}
		_, err = s.service.AddFlies(v.Ctx(), v.Actor, view.ID(), b, envelopes, each)
		return err
	})
}

func (s *Site) moveFlies(v *Visit) error {
	return s.keepFlies(v, func(view fliesView, f *Form) error {
		m := trial.FlyMove{Code: f.Get("code"), Kind: trial.FlyMoveKind(f.Get("kind")), Note: f.Get("note")}
		if m.Kind == trial.Issued {
			m.EnrolmentID, _ = trial.ParseID(f.Get("enrolment")) // what is no id is nobody's, and refused as such
		}
		if m.Kind == trial.ToppedUp || m.Kind == trial.Returned {
			n, err := f.whole("flies")
			if err != nil {
				return err
			}
			m.Flies = n
		}
		_, err := s.service.MoveFlies(v.Ctx(), v.Actor, view.ID(), m)
		return err
	})
}

func (s *Site) inspectFlies(v *Visit) error {
	return s.keepFlies(v, func(view fliesView, f *Form) error {
		for _, b := range view.Stock.Batches {
			if v.Param("n") == number(float64(b.Batch.N)) {
				return s.service.InspectFlies(v.Ctx(), v.Actor, view.ID(), b.Batch.N, f.Get("not_tyer") == "yes", f.Get("remarks"))
			}
		}
		return trial.Missing("batch")
	})
}

// labels are what is stuck on the envelopes: a code, and nothing that tells a pattern.
func (s *Site) labels(v *Visit) error {
	view, err := s.flies(v, newForm(url.Values{}))
	if err != nil {
		return err
	}
	if err := trial.Permit(trial.KeepFlies, view.Club.Role); err != nil {
		return err
	}
	return v.Page("labels", view)
}
