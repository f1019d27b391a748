package api

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"runtime/debug"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
)

const requestIDHeader = "X-Request-Id"

// identify gives each request an id, which stands in the answer, in problems and in the log.
func (s *Server) identify(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		id, err := uuid.NewV7()
		if err != nil {
			panic("the source of random bytes failed: " + err.Error())
		}
		c.Response().Header().Set(requestIDHeader, id.String())
		c.SetRequest(c.Request().WithContext(context.WithValue(c.Request().Context(), requestIDKey{}, id.String())))
		return next(c)
	}
}

type requestIDKey struct{}

func requestID(ctx context.Context) string {
	id, _ := ctx.Value(requestIDKey{}).(string)
	return id
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
			s.log.LogAttrs(r.Context(), level, what, slog.String("id", requestID(r.Context())), slog.String("method", r.Method), slog.String("path", r.URL.Path),
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

// secure sets the headers that keep browsers from guessing, framing, caching and telling where they came from.
func secure(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		h := c.Response().Header()
		h.Set("Content-Security-Policy", contentPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		return next(c)
	}
}
