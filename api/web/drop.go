package web

import (
	"bytes"
	_ "embed"
	"errors"
	"html/template"
	"io"
	"net/http"
	"net/url"
	"sync"

	"evenrig/service/report"
	"evenrig/service/trial"
)

// dropRoutes show a stranger what comes of a table: a finished example, and his own.
func (s *Site) dropRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/sample", Handle: s.samplePage},
		{Method: http.MethodGet, Path: "/sample/catches.csv", Handle: s.sampleTable},
		{Method: http.MethodGet, Path: "/drop", Handle: s.dropPage},
		{Method: http.MethodPost, Path: "/drop", Costly: true, BodyLimit: dropLimit, Handle: s.drop},
	}
}

// dropLimit is how long a stranger's table may be, in bytes, with the rest of its form.
const dropLimit = 2 << 20

// sample is an invented season's catch table.
//
//go:embed example/season.csv
var sample []byte

// sampleReport is the report of the example, made when it is first asked for.
type sampleReport struct {
	mu   sync.Mutex
	body template.HTML
}

func (s *Site) samplePage(v *Visit) error {
	s.sample.mu.Lock()
	defer s.sample.mu.Unlock()
	if s.sample.body == "" {
		r, err := s.service.AnalyseTable(v.Request().Context(), bytes.NewReader(sample), "A", "B")
		if err != nil {
			return err
		}
		if s.sample.body, err = body(func(w io.Writer) error { return report.Body(w, r, report.About{Title: v.T("drop.sample_title")}) }); err != nil {
			return err
		}
	}
	return v.Page("sample", s.sample.body)
}

func (s *Site) sampleTable(v *Visit) error {
	v.Response().Header().Set("Content-Disposition", `attachment; filename="season.csv"`)
	return v.Blob(http.StatusOK, "text/csv; charset=utf-8", sample)
}

func (s *Site) dropPage(v *Visit) error { return v.Page("drop", newForm(url.Values{})) }

func (s *Site) drop(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	header, err := v.FormFile("table")
	if errors.Is(err, http.ErrMissingFile) {
		return v.Again("drop", f, f, &trial.Error{
			Kind: trial.Invalid, Code: "table.missing", Detail: v.T("drop.missing"),
			Fields: []trial.FieldError{{Field: "table", Detail: v.T("drop.missing")}},
		})
	}
	if err != nil {
		return trial.Fail(trial.Invalid, "form.unreadable", "the form could not be read; send it again")
	}
	file, err := header.Open()
	if err != nil {
		return err
	}
	defer file.Close()
	r, err := s.service.AnalyseTable(v.Request().Context(), io.NewSectionReader(file, 0, header.Size), f.Get("test"), f.Get("control"))
	if err != nil {
		return v.Again("drop", f, f, err)
	}
	shown, err := body(func(w io.Writer) error { return report.Body(w, r, report.About{}) })
	if err != nil {
		return err
	}
	return v.Page("dropped", shown)
}
