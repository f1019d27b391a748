// Package api is the HTTP edge: it decodes a request, knows who asks, calls one use case and encodes what came of it.
// The contract is the document in package openapi: routes, decoding and answers are generated from it, and every request
// is checked against it before it is decoded.
package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"time"

	"github.com/labstack/echo/v4"

	"evenrig/api/web"
	"evenrig/openapi"
	"evenrig/service/conduct"
)

// Server answers requests for one service.
type Server struct {
	http        *http.Server
	log         *slog.Logger
	contract    *contract
	auth        *authenticator
	limits      *limiters
	crossOrigin *http.CrossOriginProtection
	now         func() time.Time
	observe     Observer
	requireTLS  bool
	proxies     []netip.Prefix
	pages       *web.Site
	draining    func() bool
}

// Options are what a Server needs besides its use cases: a log, the address ranges (CIDR) of the proxies whose
// X-Forwarded-For is believed, none unless given, how much it takes, no limit unless given, and the address at which
// people reach it, like https://trials.example.org, for links; without one they are relative. Observer may be nil.
// RequireTLS refuses plain HTTP from everywhere but this machine and the trusted proxies.
type Options struct {
	Log            *slog.Logger
	TrustedProxies []string
	Limits         Limits
	PublicURL      string
	Observer       Observer
	RequireTLS     bool
}

const (
	headerTime = 10 * time.Second // to send the headers
	readTime   = time.Minute      // to send the body
	workTime   = time.Minute      // to be answered
	idleTime   = 2 * time.Minute
	importTime = 15 * time.Minute // the same for a whole catch table or package, once it is there
	exportTime = 30 * time.Minute // for a whole catch table out; a reader that stalls is cut off long before
)

// NewServer returns a server that is ready to serve. It panics when an address range or the address of the options cannot
// be read.
func NewServer(service *conduct.Service, o Options) *Server {
	s := &Server{
		log: o.Log, contract: loadContract(), auth: newAuthenticator(service, time.Now), limits: newLimiters(o.Limits),
		crossOrigin: newCrossOrigin(o.PublicURL), now: time.Now, observe: o.Observer,
		requireTLS: o.RequireTLS, proxies: prefixes(o.TrustedProxies), draining: service.Draining,
	}
	e := echo.New()
	e.HTTPErrorHandler = s.fail
	e.IPExtractor = addressOf(o.TrustedProxies)
	e.Binder = binder{}
	e.Use(s.identify, s.partWhenDraining, s.account, s.catchPanics, secure, s.encrypted, s.limitAddress, s.contract.limitTime, s.contract.limitBody, s.authenticate, s.contract.check)
	h := &handlers{service: service, contract: s.contract, forget: s.auth.forget, limits: s.limits, publicURL: o.PublicURL, now: s.now}
	openapi.RegisterHandlers(e, operations{openapi.NewStrictHandler(h, nil), h})
	s.pages = web.New(service, web.Options{
		PublicURL: o.PublicURL, Status: func(err error) int { return problemOf(err, "").Status },
		Cookie: func(secret string) string { return *sessionCookie(secret) }, Attempt: h.attempt, Forget: s.auth.forget, Now: s.now, Contract: s.contract.document,
	})
	s.contract.addPages(s.pages.Routes())
	s.pages.Register(e)
	s.http = &http.Server{
		Handler: e, ReadHeaderTimeout: headerTime, ReadTimeout: readTime, WriteTimeout: readTime + workTime, IdleTimeout: idleTime,
		MaxHeaderBytes: 64 << 10, ErrorLog: slog.NewLogLogger(o.Log.Handler(), slog.LevelWarn),
	}
	return s
}

// Handler returns what answers requests, for tests and for other servers.
func (s *Server) Handler() http.Handler { return s.http.Handler }

// Serve answers on the listener until Shutdown; it then returns nil.
func (s *Server) Serve(l net.Listener) error {
	if err := s.http.Serve(l); !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("serve HTTP: %w", err)
	}
	return nil
}

// Shutdown takes no more requests and waits for those under way, as long as ctx lasts; then it cuts them off, says so in the
// log, and takes it for no failure.
func (s *Server) Shutdown(ctx context.Context) error {
	err := s.http.Shutdown(ctx)
	if err == nil {
		return nil
	}
	if ctx.Err() != nil {
		s.log.Warn("requests were cut off that took longer than the stop may")
		return s.http.Close()
	}
	return errors.Join(fmt.Errorf("stop HTTP: %w", err), s.http.Close())
}

// addressOf says whose request it is: the peer, or what trusted proxies say of it.
func addressOf(trusted []string) echo.IPExtractor {
	if len(trusted) == 0 {
		return echo.ExtractIPDirect()
	}
	options := []echo.TrustOption{echo.TrustLoopback(false), echo.TrustLinkLocal(false), echo.TrustPrivateNet(false)}
	for _, cidr := range trusted {
		_, network, err := net.ParseCIDR(cidr)
		if err != nil {
			panic("trusted proxies: " + err.Error())
		}
		options = append(options, echo.TrustIPRange(network))
	}
	return echo.ExtractIPFromXFFHeader(options...)
}

func prefixes(ranges []string) []netip.Prefix {
	list := make([]netip.Prefix, len(ranges))
	for i, r := range ranges {
		list[i] = netip.MustParsePrefix(r)
	}
	return list
}

// handlers implements the generated server interface, one method an operation; each calls one use case.
type handlers struct {
	service   *conduct.Service
	contract  *contract
	forget    func() // drops remembered tokens, so that a revoked one is refused at once here
	limits    *limiters
	publicURL string
	now       func() time.Time
}
