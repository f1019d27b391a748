package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"unicode/utf8"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/labstack/echo/v4"

	"evenrig/service/trial"
)

// check compares the request with the contract and names every fault. A JSON body is read whole; batches and tables are
// left to their handlers.
func (k *contract) check(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		op := k.operation(c)
		if op == nil || op.page {
			return next(c)
		}
		var f trial.Faults
		if err := k.checkParameters(&f, op, c); err != nil {
			return err
		}
		if op.body != nil {
			if err := k.checkBody(&f, op, c.Request()); err != nil {
				return err
			}
		}
		if err := f.Err("request.invalid", "the request has faults"); err != nil {
			return err
		}
		return next(c)
	}
}

func (k *contract) checkParameters(f *trial.Faults, op *operation, c echo.Context) error {
	r := c.Request()
	var query url.Values
	if r.URL.RawQuery != "" {
		query = c.QueryParams()
	}
	for _, p := range op.parameters {
		if p.Name == "If-Match" && r.Header.Get(p.Name) == "" {
			return refuse(http.StatusPreconditionRequired, "precondition.required", `a correction says which version it corrects: send If-Match with the ETag you last read, like "3"`)
		}
		if isUsual(p, c, query) {
			continue
		}
		input := &openapi3filter.RequestValidationInput{
			Request: r, PathParams: map[string]string{p.Name: c.Param(p.Name)}, QueryParams: query,
			Options: &openapi3filter.Options{MultiError: true, SkipSettingDefaults: true, SchemaValidationOptions: k.visit},
		}
		if err := openapi3filter.ValidateParameter(r.Context(), input, p); err != nil {
			parameterFault(f, p, err)
		}
	}
	for name, values := range query {
		switch {
		case !slices.ContainsFunc(op.parameters, func(p *openapi3.Parameter) bool { return p.In == openapi3.ParameterInQuery && p.Name == name }):
			f.Add(name, "is not known here")
		case len(values) > 1:
			f.Add(name, "is given %d times; accepted: once", len(values))
		}
	}
	return nil
}

// isUsual reports whether a parameter is as most parameters of most requests are: an id in the path, or left out where it may be.
func isUsual(p *openapi3.Parameter, c echo.Context, query url.Values) bool {
	switch p.In {
	case openapi3.ParameterInPath:
		return p.Schema.Value.Format == "uuid" && isUUID(c.Param(p.Name)) == nil
	case openapi3.ParameterInQuery:
		return !p.Required && !query.Has(p.Name)
	}
	return p.In == openapi3.ParameterInHeader && !p.Required && len(c.Request().Header.Values(p.Name)) == 0
}

func (k *contract) checkBody(f *trial.Faults, op *operation, r *http.Request) error {
	media, err := mediaOf(op, r)
	if err != nil || op.raw {
		return err
	}
	text, err := io.ReadAll(r.Body)
	if err != nil {
		return unreadable(err)
	}
	r.Body = io.NopCloser(bytes.NewReader(text))
	if len(text) == 0 && !op.body.Required {
		return nil
	}
	if media == nil {
		return wrongKind(op, r)
	}
	return k.checkJSON(f, media.Schema.Value, text)
}

// checkJSON names every fault of a JSON text against a schema. It fails when the text is no JSON at all.
func (k *contract) checkJSON(f *trial.Faults, schema *openapi3.Schema, text []byte) error {
	if !utf8.Valid(text) {
		return malformed("the body is not valid UTF-8")
	}
	if k.shapes[schema].fits(text) {
		return nil
	}
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.UseNumber()
	var value any
	if err := decoder.Decode(&value); err != nil {
		if errors.Is(err, io.EOF) {
			return malformed("the body is empty; accepted: one JSON value")
		}
		return malformed("the body is no JSON: %v", err)
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return malformed("something follows the JSON value, from byte %d on", decoder.InputOffset())
	}
	schemaFaults(f, k.visit, schema, value)
	return nil
}

// mediaOf returns the kind of body that the request says it has, among those the operation takes; nil when the request
// has no body and says nothing.
func mediaOf(op *operation, r *http.Request) (*openapi3.MediaType, error) {
	header := r.Header.Get(echo.HeaderContentType)
	if header == "" && r.ContentLength == 0 {
		if op.body.Required {
			return nil, malformed("the body is missing")
		}
		return nil, nil
	}
	kind, parameters, err := mime.ParseMediaType(header)
	if charset := parameters["charset"]; err != nil || charset != "" && charset != "utf-8" && charset != "UTF-8" {
		return nil, wrongKind(op, r)
	}
	media, ok := op.body.Content[kind]
	if !ok {
		return nil, wrongKind(op, r)
	}
	return media, nil
}

func wrongKind(op *operation, r *http.Request) error {
	var accepted []byte
	kinds := make([]string, 0, len(op.body.Content))
	for kind := range op.body.Content {
		kinds = append(kinds, kind)
	}
	slices.Sort(kinds)
	for i, kind := range kinds {
		if i > 0 {
			accepted = append(accepted, ", "...)
		}
		accepted = append(accepted, kind...)
	}
	return refuse(http.StatusUnsupportedMediaType, "request.content_type", "the body's Content-Type is %q; accepted: %s, in UTF-8", r.Header.Get(echo.HeaderContentType), accepted)
}

func malformed(format string, args ...any) error {
	return refuse(http.StatusBadRequest, "request.malformed", format, args...)
}

// unreadable says why a body could not be read: it is too long, it came too slowly, or the line broke.
func unreadable(err error) error {
	if tooLarge, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return tooLarge
	}
	return malformed("the body could not be read to its end: %v", err)
}
