package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// importRoutes take in a table of fish that were caught before.
func (s *Site) importRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/trials/:trial/import", Signed: true, Handle: s.importPage},
		{Method: http.MethodPost, Path: "/trials/:trial/import", Signed: true, Costly: true, BodyLimit: tableLimit, Handle: s.importTable},
	}
}

// tableLimit is how long a table may be, in bytes, with what a form adds to it.
const tableLimit = 33 << 20

type importView struct {
	standing
	*Form
	Read *conduct.ImportView
	File string
}

func (s *Site) importPage(v *Visit) error {
	t, err := s.standing(v)
	if err != nil {
		return err
	}
	if err := trial.Permit(trial.ImportTable, t.Club.Role); err != nil {
		return err
	}
	return v.Page("import", importView{standing: t, Form: newForm(url.Values{})})
}

// importTable reads the table, and takes it in when that is asked for. Reading alone keeps nothing.
func (s *Site) importTable(v *Visit) (err error) {
	t, err := s.standing(v)
	if err != nil {
		return err
	}
	file, err := v.FormFile("table")
	if tooLarge, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return tooLarge
	}
	view := importView{standing: t, Form: newForm(url.Values{})}
	if err != nil {
		var faults trial.Faults
		faults.Add("table", "is missing; accepted: a file, CSV or the first sheet of an XLSX file")
		return v.Again("import", view.Form, view, faults.Err("import.missing", "no table was sent"))
	}
	body, err := file.Open()
	if err != nil {
		return fmt.Errorf("read the table: %w", err)
	}
	defer func() { err = errors.Join(err, body.Close()) }()
	view.File = file.Filename
	read, err := s.service.ImportTable(v.Ctx(), v.Actor, t.ID(), body, v.FormValue("do") != "save")
	if err != nil {
		return v.Again("import", view.Form, view, err)
	}
	view.Read = &read
	return v.Page("import", view)
}
