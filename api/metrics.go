package api

import (
	"net/http"
	"slices"
	"time"

	"github.com/labstack/echo/v4"
)

// ObserveFunc hears of every request once it is answered. route is the address with its ids as names, like
// /v1/trials/:trial, or "none" for addresses that do not exist; method is one of HTTP's own or "other". So nobody can
// make up new values of either.
type ObserveFunc func(method, route string, status int, took time.Duration)

var knownMethods = []string{
	http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete, http.MethodOptions,
}

// measure tells the server's observer, if it has one.
func (s *Server) measure(c echo.Context, took time.Duration) {
	if s.observe == nil {
		return
	}
	method, route := c.Request().Method, "none"
	if !slices.Contains(knownMethods, method) {
		method = "other"
	}
	if s.contract.operation(c) != nil {
		route = c.Path()
	}
	s.observe(method, route, c.Response().Status, took)
}
