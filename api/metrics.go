package api

import (
	"context"
	"net/http"
	"slices"
	"time"

	"github.com/labstack/echo/v4"
)

// Observer hears of what the edge does, from many requests at once. Nothing that it is told comes from who asks but what he may choose
// from a list: so nobody can make up new values, and no secret, name or record is among them.
type Observer interface {
	// Begin hears of a request before it is answered and returns the context that it is answered under, and what hears how it ended.
	Begin(ctx context.Context, seen Request) (context.Context, func(Answer))
	// Refused hears of a request over a limit, by the refusal's code.
	Refused(code string)
}

// Request is what an observer is told of a request. Route is the address with its ids as names, like /v1/trials/:trial, or "none" for
// addresses that do not exist; Method is one of HTTP's own or "other". Trace is the header traceparent (W3C Trace Context) of
// a proxy that is trusted, empty otherwise.
type Request struct {
	Method, Route, Trace string
}

// Answer is how a request ended. Cut says that its answer was broken off: its reader stalled, or it could not be read to its end.
type Answer struct {
	Status int
	Took   time.Duration
	Cut    bool
}

var knownMethods = []string{
	http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete, http.MethodOptions,
}

// observed tells the server's observer, if it has one, that a request begins, and returns what is told how it ends.
func (s *Server) observed(c echo.Context) func(Answer) {
	if s.observe == nil {
		return func(Answer) {}
	}
	r := c.Request()
	seen := Request{Method: r.Method, Route: "none"}
	if !slices.Contains(knownMethods, r.Method) {
		seen.Method = "other"
	}
	if s.contract.operation(c) != nil {
		seen.Route = c.Path()
	}
	if local, trusted := s.peer(r.RemoteAddr); local || trusted {
		seen.Trace = r.Header.Get("Traceparent")
	}
	ctx, end := s.observe.Begin(r.Context(), seen)
	c.SetRequest(r.WithContext(ctx))
	return end
}
