package api

import (
	"context"
	"fmt"
	"log/slog"
	"maps"
	"net/http"
	"runtime/debug"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"evenrig/service/trial"
)

const requestIDHeader = "X-Request-Id"

// asked is what the way in finds out about a request, step by step; it travels in the request's context.
type asked struct {
	id      string       // stands in the answer, in problems and in the log
	address string       // by which it is limited
	actor   *trial.Actor // who asks, nil for nobody known
}

type askedKey struct{}

// askedOf returns what is known of a request.
func askedOf(ctx context.Context) *asked {
	if a, ok := ctx.Value(askedKey{}).(*asked); ok {
		return a
	}
	return &asked{}
}

// identify gives each request an id.
func (s *Server) identify(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		id, err := uuid.NewV7()
		if err != nil {
			panic("the source of random bytes failed: " + err.Error())
		}
		a := &asked{id: id.String()}
		c.Response().Header().Set(requestIDHeader, a.id)
		c.SetRequest(c.Request().WithContext(context.WithValue(c.Request().Context(), askedKey{}, a)))
		return next(c)
	}
}

// partWhenDraining ends a connection after its answer once the service is about to stop, so that clients open the next elsewhere
// and none sends a request into a connection that is being closed.
func (s *Server) partWhenDraining(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if s.draining() {
			c.Response().Header().Set("Connection", "close")
		}
		return next(c)
	}
}

// account writes one line for each request: no body, no query, no header, so that no secret reaches the log, and no
// answer's length, which differs with the pattern that a fish took. It turns errors into answers first, to know the
// status. An answer that is broken off is noted too.
func (s *Server) account(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		begun, ended, cut := time.Now(), s.observed(c), true
		defer func() {
			r, w, took := c.Request(), c.Response(), time.Since(begun)
			ended(Answer{Status: w.Status, Took: took, Cut: cut})
			level, what := slog.LevelInfo, "request"
			switch {
			case w.Status >= http.StatusInternalServerError:
				level = slog.LevelError
			case cut:
				level, what = slog.LevelWarn, "request cut off"
			}
			s.log.LogAttrs(r.Context(), level, what, slog.String("id", askedOf(r.Context()).id), slog.String("method", r.Method), slog.String("path", r.URL.Path),
				slog.Int("status", w.Status), slog.Duration("took", took.Round(time.Microsecond)), slog.String("from", c.RealIP()))
		}()
		if err := next(c); err != nil {
			c.Error(err)
		}
		cut = false // what is broken off never comes here: it panics with http.ErrAbortHandler
		return nil
	}
}

// catchPanics turns a panic into an internal error, so that one request never ends the program.
func (s *Server) catchPanics(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) (err error) {
		defer func() {
			switch r := recover(); {
			case r == nil:
			case r == http.ErrAbortHandler:
				panic(r)
			default:
				err = fmt.Errorf("panic: %v\n%s", r, debug.Stack())
			}
		}()
		return next(c)
	}
}

// contentPolicy is what a browser may do with an answer: nothing. A report has a policy of its own.
const contentPolicy = "default-src 'none'; frame-ancestors 'none'"

// secureHeaders keep browsers from guessing, framing, caching and telling where they came from.
var secureHeaders = http.Header{
	"Content-Security-Policy": {contentPolicy}, "X-Content-Type-Options": {"nosniff"}, "Referrer-Policy": {"no-referrer"},
	"Cross-Origin-Resource-Policy": {"same-origin"}, "Cache-Control": {"no-store"},
}

// secure sets the headers that every answer has unless its handler says otherwise.
func secure(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		maps.Copy(c.Response().Header(), secureHeaders)
		return next(c)
	}
}
