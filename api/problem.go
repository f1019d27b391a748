package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"evenrig/api/web"
	"evenrig/openapi"
	"evenrig/service/trial"
)

// statuses is the only place where a kind of failure becomes an HTTP status.
var statuses = map[trial.Kind]int{
	trial.Internal:        http.StatusInternalServerError,
	trial.Invalid:         http.StatusUnprocessableEntity,
	trial.NotFound:        http.StatusNotFound,
	trial.Conflict:        http.StatusConflict,
	trial.Gone:            http.StatusGone,
	trial.Stale:           http.StatusPreconditionFailed,
	trial.Forbidden:       http.StatusForbidden,
	trial.Unauthenticated: http.StatusUnauthorized,
	trial.TooMany:         http.StatusTooManyRequests,
	trial.Unavailable:     http.StatusServiceUnavailable,
}

// refusal is a failure of HTTP itself, which no use case knows.
type refusal struct {
	status int
	code   string
	detail string
}

func (r *refusal) Error() string { return r.code + ": " + r.detail }

func refuse(status int, code, format string, args ...any) error {
	return &refusal{status, code, fmt.Sprintf(format, args...)}
}

// retryAfter is how many seconds to wait when it is not known better.
const retryAfter = 2

// problemOf says what a failure is to the user. What is no failure of his gets no words but the request's id.
func problemOf(err error, requestID string) openapi.Problem {
	p := openapi.Problem{Type: "about:blank", Status: http.StatusInternalServerError, Fields: []openapi.FieldFault{}, RequestID: requestID}
	if refused, ok := errors.AsType[*refusal](err); ok {
		p.Status, p.Code, p.Detail = refused.status, refused.code, refused.detail
	} else if failed, ok := errors.AsType[*trial.Error](err); ok && failed.Kind != trial.Internal {
		p.Status, p.Code, p.Detail = statuses[failed.Kind], failed.Code, failed.Detail
		for _, f := range failed.Fields {
			p.Fields = append(p.Fields, openapi.FieldFault{Field: f.Field, Detail: f.Detail})
		}
	} else if over, ok := errors.AsType[*limited](err); ok {
		p.Status, p.Code, p.Detail = http.StatusTooManyRequests, over.code, over.detail
	} else if tooLarge, ok := errors.AsType[*http.MaxBytesError](err); ok {
		p.Status, p.Code = http.StatusRequestEntityTooLarge, "request.too_large"
		p.Detail = fmt.Sprintf("the body is longer than %d bytes, which is what this address takes", tooLarge.Limit)
	} else if routing, ok := errors.AsType[*echo.HTTPError](err); ok && routing.Code < http.StatusInternalServerError {
		p.Status, p.Code, p.Detail = routed(routing)
	} else if errors.Is(err, context.DeadlineExceeded) || errors.Is(err, context.Canceled) {
		p.Status, p.Code, p.Detail = http.StatusServiceUnavailable, "unavailable", "it took too long; send it again"
	} else {
		p.Code, p.Detail = "internal", "the server failed; who runs it finds the cause in its log under the request id"
	}
	p.Title = http.StatusText(p.Status)
	return p
}

// routed words the router's refusals, and those of generated code.
func routed(err *echo.HTTPError) (status int, code, detail string) {
	switch err.Code {
	case http.StatusNotFound:
		return err.Code, "not_found", "there is nothing at this address; /openapi.yaml lists what there is"
	case http.StatusMethodNotAllowed:
		return err.Code, "method.not_allowed", "this address does not take the method; the header Allow lists what it takes"
	}
	return http.StatusUnprocessableEntity, "request.invalid", fmt.Sprint(err.Message)
}

// fail answers a request that failed, and logs what was not the user's fault.
func (s *Server) fail(err error, c echo.Context) {
	if errors.Is(err, context.Canceled) && c.Request().Context().Err() != nil {
		c.Response().Status = statusGone // nobody is there to read an answer
		return
	}
	p := problemOf(err, askedOf(c.Request().Context()).id)
	wait := retryAfter
	if over, ok := errors.AsType[*limited](err); ok {
		wait = over.seconds()
		if s.observe != nil {
			s.observe.Refused(over.code)
		}
	}
	if p.Status >= http.StatusInternalServerError {
		s.log.ErrorContext(c.Request().Context(), "request failed", "id", p.RequestID, "method", c.Request().Method, "path", c.Request().URL.Path, "error", err)
	}
	if c.Response().Committed {
		return
	}
	if s.wantsPage(c) {
		s.failAsPage(c, p, wait)
		return
	}
	text, err := json.Marshal(p)
	if err != nil {
		panic(err) // strings and numbers: cannot fail
	}
	h := c.Response().Header()
	switch p.Status {
	case http.StatusUnauthorized:
		h.Set("WWW-Authenticate", "Bearer")
	case http.StatusTooManyRequests, http.StatusServiceUnavailable:
		h.Set("Retry-After", strconv.Itoa(wait))
	case http.StatusRequestEntityTooLarge:
		h.Set("Connection", "close") // the rest of the body is not read
	}
	if err := c.Blob(p.Status, "application/problem+json", text); err != nil {
		s.log.InfoContext(c.Request().Context(), "answer not sent", "id", p.RequestID, "error", err)
	}
}

// wantsPage reports whether a failure is told on a page: to who asked for one, or looks with a browser for what is not there.
func (s *Server) wantsPage(c echo.Context) bool {
	if op := s.contract.operation(c); op != nil {
		return op.page
	}
	r := c.Request()
	return !strings.HasPrefix(r.URL.Path, "/v1/") && strings.Contains(r.Header.Get("Accept"), "text/html")
}

func (s *Server) failAsPage(c echo.Context, p openapi.Problem, wait int) {
	f := web.Fault{Status: p.Status, Detail: p.Detail, RequestID: p.RequestID}
	if s.contract.operation(c) == nil {
		f.Detail = "" // it speaks of the document, to programs
	}
	for _, field := range p.Fields {
		f.Fields = append(f.Fields, trial.FieldError{Field: field.Field, Detail: field.Detail})
	}
	switch p.Status {
	case http.StatusTooManyRequests, http.StatusServiceUnavailable:
		f.Wait = wait
		c.Response().Header().Set("Retry-After", strconv.Itoa(wait))
	case http.StatusRequestEntityTooLarge:
		c.Response().Header().Set("Connection", "close") // the rest of the body is not read
	}
	if err := s.pages.Fail(c, f); err != nil {
		s.log.InfoContext(c.Request().Context(), "answer not sent", "id", p.RequestID, "error", err)
	}
}

// statusGone is what the log shows when the client went away before its answer.
const statusGone = 499
