package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"mime"
	"net/http"
	"regexp"
	"slices"
	"time"
	"unicode/utf8"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/labstack/echo/v4"

	"evenrig/openapi"
	"evenrig/service/trial"
)

// contract is the document in the form in which requests are checked against it.
type contract struct {
	operations map[string]*operation // by method and route, as echo writes routes
	batchItem  *openapi3.Schema
	visit      []openapi3.SchemaValidationOption
}

// operation is one operation of the document. raw says that its body is read by its handler, not here.
type operation struct {
	access     access
	parameters []*openapi3.Parameter
	body       *openapi3.RequestBody
	raw        bool
	bodyLimit  int64
	timeLimit  time.Duration
}

// access says whom an operation answers.
type access int

const (
	tokenOnly access = iota
	anyone
	anyoneOrToken
)

// What a body may be long, in bytes.
const (
	bodyLimit   = 1 << 20
	batchLimit  = 2 << 20
	importLimit = 32 << 20
)

var pathParameter = regexp.MustCompile(`\{([^}]+)\}`)

// loadContract reads the document. It panics when the document that is built into the program cannot be read.
func loadContract() *contract {
	doc, err := openapi3.NewLoader().LoadFromData(openapi.Spec)
	if err != nil {
		panic("the contract cannot be read: " + err.Error())
	}
	k := &contract{
		operations: map[string]*operation{},
		batchItem:  doc.Components.Schemas["BatchCatch"].Value,
		visit: []openapi3.SchemaValidationOption{
			openapi3.MultiErrors(), openapi3.VisitAsRequest(),
			openapi3.WithStringFormatValidator("uuid", openapi3.NewCallbackValidator(isUUID)),
			openapi3.WithStringFormatValidator("date-time", openapi3.NewCallbackValidator(isTime)),
		},
	}
	for path, item := range doc.Paths.Map() {
		route := pathParameter.ReplaceAllString(path, ":$1")
		for method, op := range item.Operations() {
			o := &operation{access: accessOf(op.Security), bodyLimit: bodyLimit, timeLimit: workTime}
			for _, p := range append(slices.Clone(item.Parameters), op.Parameters...) {
				o.parameters = append(o.parameters, p.Value)
			}
			if op.RequestBody != nil {
				o.body = op.RequestBody.Value
			}
			switch op.OperationID {
			case "submitCatches":
				o.raw, o.bodyLimit = true, batchLimit
			case "importTable":
				o.raw, o.bodyLimit, o.timeLimit = true, importLimit, importTime
			}
			k.operations[method+" "+route] = o
		}
	}
	return k
}

func accessOf(security *openapi3.SecurityRequirements) access {
	switch {
	case security == nil:
		return tokenOnly
	case len(*security) == 0:
		return anyone
	}
	for _, requirement := range *security {
		if len(requirement) == 0 {
			return anyoneOrToken
		}
	}
	return tokenOnly
}

func isUUID(s string) error {
	_, err := trial.ParseID(s)
	return err
}

// isTime accepts what decoding accepts, so that a fault is named here with its field.
func isTime(s string) error {
	return new(time.Time).UnmarshalText([]byte(s))
}

// operation returns the operation that the request is for, nil when the contract has none.
func (k *contract) operation(c echo.Context) *operation {
	return k.operations[c.Request().Method+" "+c.Path()]
}

// limitTime bounds how long a request is worked at. A catch table may also be longer on its way than other bodies.
func (k *contract) limitTime(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		op := k.operation(c)
		if op == nil {
			return next(c)
		}
		if op.timeLimit > workTime {
			control := http.NewResponseController(c.Response().Writer)
			deadline := time.Now().Add(op.timeLimit)
			if err := errors.Join(control.SetReadDeadline(deadline), control.SetWriteDeadline(deadline.Add(readTime))); err != nil && !errors.Is(err, http.ErrNotSupported) {
				return err
			}
		}
		ctx, cancel := context.WithTimeout(c.Request().Context(), op.timeLimit)
		defer cancel()
		c.SetRequest(c.Request().WithContext(ctx))
		return next(c)
	}
}

// limitBody bounds the body's length.
func (k *contract) limitBody(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		limit := int64(bodyLimit)
		if op := k.operation(c); op != nil {
			limit = op.bodyLimit
		}
		r := c.Request()
		if r.ContentLength > limit {
			return &http.MaxBytesError{Limit: limit}
		}
		r.Body = http.MaxBytesReader(c.Response().Writer, r.Body, limit)
		return next(c)
	}
}

// check compares the request with the contract and names every fault. A JSON body is read whole; batches and tables are
// left to their handlers.
func (k *contract) check(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		op := k.operation(c)
		if op == nil {
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
	input := &openapi3filter.RequestValidationInput{
		Request: c.Request(), PathParams: map[string]string{}, QueryParams: c.QueryParams(),
		Options: &openapi3filter.Options{MultiError: true, SkipSettingDefaults: true, SchemaValidationOptions: k.visit},
	}
	for _, name := range c.ParamNames() {
		input.PathParams[name] = c.Param(name)
	}
	known := map[string]bool{}
	for _, p := range op.parameters {
		known[p.Name] = known[p.Name] || p.In == openapi3.ParameterInQuery
		if p.Name == "If-Match" && c.Request().Header.Get(p.Name) == "" {
			return refuse(http.StatusPreconditionRequired, "precondition.required", `a correction says which version it corrects: send If-Match with the ETag you last read, like "3"`)
		}
		if err := openapi3filter.ValidateParameter(c.Request().Context(), input, p); err != nil {
			parameterFault(f, p, err)
		}
	}
	for name, values := range c.QueryParams() {
		switch {
		case !known[name]:
			f.Add(name, "is not known here")
		case len(values) > 1:
			f.Add(name, "is given %d times; accepted: once", len(values))
		}
	}
	return nil
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
