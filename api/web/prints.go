package web

import (
	"bytes"
	"cmp"
	"io"
	"net/http"
	"net/url"

	"evenrig/service/conduct"
	"evenrig/service/report"
	"evenrig/service/trial"
)

// printRoutes are what goes to the water on paper: the rule sheet, pocket cards, and sealed slips for who carries no phone.
func (s *Site) printRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/trials/:trial/print", Signed: true, Handle: s.printPage},
		{Method: http.MethodGet, Path: "/trials/:trial/print/rules", Signed: true, Handle: s.printed(report.KitRules)},
		{Method: http.MethodGet, Path: "/trials/:trial/print/cards", Signed: true, Handle: s.printed(report.KitCards)},
		{Method: http.MethodGet, Path: "/trials/:trial/print/slips", Signed: true, Handle: s.slipsPage},
		{Method: http.MethodPost, Path: "/trials/:trial/print/slips", Signed: true, Handle: s.printSlips},
	}
}

func (s *Site) printPage(v *Visit) error {
	t, err := s.standing(v)
	if err != nil {
		return err
	}
	return v.Page("print", t)
}

// printed answers with one of the pages that a kit on paper has. It stands alone, with a style and a policy of its own. The
// name on it is the pseudonym of the reader, if he fishes the trial, else a place to write one.
func (s *Site) printed(write func(io.Writer, report.Kit) error) func(*Visit) error {
	return func(v *Visit) error {
		t, err := s.standing(v)
		if err != nil {
			return err
		}
		name := "          "
		if t.Fishes() {
			name = t.Enrolment.Pseudonym
		}
		return v.sheet(report.Kit{Protocol: t.Protocol, Commitment: t.Trial.Commitment, Anglers: []report.KitAngler{{Name: name}}}, write)
	}
}

func (v *Visit) sheet(kit report.Kit, write func(io.Writer, report.Kit) error) error {
	var b bytes.Buffer
	if err := write(&b, kit); err != nil {
		return err
	}
	v.Response().Header().Set("Content-Security-Policy", report.KitPolicy+"; frame-ancestors 'none'")
	return v.HTMLBlob(http.StatusOK, b.Bytes())
}

type slipsView struct {
	standing
	*Form
	Sheets  []conduct.SlipSheetView
	Anglers []trial.Enrolment // for the organiser to choose from
}

func (s *Site) slips(v *Visit, f *Form) (view slipsView, err error) {
	view.Form = f
	if view.standing, err = s.standing(v); err != nil {
		return view, err
	}
	if view.Sheets, err = s.service.SlipSheets(v.Ctx(), v.Actor, view.ID()); err != nil {
		return view, err
	}
	view.Anglers, err = s.anglers(v, view.standing)
	return view, err
}

func (s *Site) slipsPage(v *Visit) error {
	view, err := s.slips(v, newForm(url.Values{"count": {"8"}, "enrolment": {v.QueryParam("for")}}))
	if err != nil {
		return err
	}
	return v.Page("slips", view)
}

// printSlips answers with the sheet itself: what the slips say is told this once, to who prints them, and kept nowhere.
func (s *Site) printSlips(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.slips(v, f)
	if err != nil {
		return err
	}
	count, err := f.whole("count")
	enrolment, idErr := trial.ParseID(f.Get("enrolment"))
	if idErr != nil {
		var faults trial.Faults
		faults.Add("enrolment", "names no angler; accepted: the id of one who has joined")
		err = cmp.Or(err, faults.Err("slips.invalid", "the sheet has faults"))
	}
	if err != nil {
		return v.Again("slips", f, view, err)
	}
	made, err := s.service.PrintSlips(v.Ctx(), v.Actor, view.ID(), enrolment, count)
	if err != nil {
		return v.refused("slips", f, view, err)
	}
	angler := report.KitAngler{Name: made.Pseudonym, Before: made.Sheet.First - 1}
	for _, slip := range made.Slips {
		angler.First = append(angler.First, slip.First)
	}
	return v.sheet(report.Kit{Protocol: view.Protocol, Commitment: view.Trial.Commitment, Anglers: []report.KitAngler{angler}}, report.KitSlips)
}
