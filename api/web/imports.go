package web

import (
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// importRoutes take in a table of fish that were caught before.
func (s *Site) importRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/trials/:trial/import", Signed: true, Handle: s.importPage},
		{Method: http.MethodPost, Path: "/trials/:trial/import", Signed: true, Costly: true, BodyLimit: tableForm, Handle: s.importTable},
	}
}

// TableLimit is how long a table may be, in bytes, and tableForm with what a form adds to it.
const (
	TableLimit = 256 << 20
	tableForm  = TableLimit + 1<<20
)

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

// importTable reads the table as it arrives, and takes it in when that is asked for. Reading alone keeps nothing.
func (s *Site) importTable(v *Visit) error {
	t, err := s.standing(v)
	if err != nil {
		return err
	}
	view := importView{standing: t, Form: newForm(url.Values{})}
	file, err := v.file("table")
	if err != nil {
		return v.Again("import", view.Form, view, err)
	}
	view.File = file.FileName()
	read, err := s.service.ImportTable(v.Ctx(), v.Actor, t.ID(), file, v.QueryParam("do") != "save")
	if err != nil {
		return v.Again("import", view.Form, view, err)
	}
	view.Read = &read
	return v.Page("import", view)
}

// file returns the file of a form's field as it arrives: what stands before it in the form is passed over, and what comes after it is not
// read.
func (v *Visit) file(field string) (*multipart.Part, error) {
	var faults trial.Faults
	faults.Add(field, "is missing; accepted: a file, CSV or the first sheet of an XLSX file")
	missing := faults.Err("import.missing", "no table was sent")
	form, err := v.Request().MultipartReader()
	if err != nil { // another sort of form
		return nil, missing
	}
	for {
		part, err := form.NextPart()
		switch {
		case errors.Is(err, io.EOF):
			return nil, missing
		case err != nil:
			return nil, fmt.Errorf("read a form: %w", err)
		case part.FormName() == field && part.FileName() == "":
			return nil, missing
		case part.FormName() == field:
			return part, nil
		}
	}
}
