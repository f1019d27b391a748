package web

import (
	"bytes"
	"html/template"
	"io"
	"net/http"

	"evenrig/service/conduct"
	"evenrig/service/report"
	"evenrig/service/trial"
)

// resultRoutes show a locked trial's result in its several shapes.
func (s *Site) resultRoutes() []Route {
	page := func(below, name string, shape conduct.Shape) Route {
		return Route{Method: http.MethodGet, Path: "/trials/:trial/result" + below, Signed: true, Costly: true, Handle: func(v *Visit) error { return s.resultPage(v, name, shape) }}
	}
	picture := func(name, contentType string, shape conduct.Shape) Route {
		return Route{Method: http.MethodGet, Path: "/trials/:trial/result/" + name, Signed: true, Costly: true, Handle: func(v *Visit) error { return s.picture(v, contentType, shape) }}
	}
	return []Route{
		page("", "result", report.Body),
		page("/summary", "result-summary", report.Summary),
		page("/club-night", "result-club-night", report.ClubNight),
		page("/picture", "result-picture", conduct.Post),
		picture("wide.svg", "image/svg+xml", conduct.WidePicture),
		picture("wide.png", "image/png", conduct.WidePixels),
		picture("square.svg", "image/svg+xml", conduct.SquarePicture),
		picture("square.png", "image/png", conduct.SquarePixels),
	}
}

// resultView is a result in one of its shapes, in the frame of a page. Text is what is no HTML.
type resultView struct {
	Trial trial.ID
	Shape string
	Body  template.HTML
	Text  string
}

func (s *Site) resultPage(v *Visit, name string, shape conduct.Shape) error {
	id, err := v.ID("trial")
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := s.service.Report(v.Request().Context(), v.Actor, id, 0, shape, &b); err != nil {
		return s.waiting(v, err)
	}
	view := resultView{Trial: id, Shape: name, Text: b.String()}
	if name != "result-picture" {
		view.Body, view.Text = template.HTML(view.Text), "" // by package report, which escapes what people wrote
	}
	return v.Page(name, view)
}

func (s *Site) picture(v *Visit, contentType string, shape conduct.Shape) error {
	id, err := v.ID("trial")
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := s.service.Report(v.Request().Context(), v.Actor, id, 0, shape, &b); err != nil {
		return err
	}
	return v.Blob(http.StatusOK, contentType, b.Bytes())
}

// body is a part of a page that package report makes, which escapes what people wrote.
func body(write func(io.Writer) error) (template.HTML, error) {
	var b bytes.Buffer
	if err := write(&b); err != nil {
		return "", err
	}
	return template.HTML(b.String()), nil
}
