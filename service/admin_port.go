package main

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/http/pprof"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// administering says where numbers and profiles for who runs the server are answered.
type administering struct {
	AdminListen string `name:"admin-listen" env:"EVENRIG_ADMIN_LISTEN" placeholder:"HOST:PORT" help:"Address for metrics (/metrics, Prometheus' format) and profiles (/debug/pprof/), without sign-in; on this machine alone unless a host is given, like :9090 for 127.0.0.1:9090. Off unless given."`
}

func (c administering) check() error {
	if c.AdminListen == "" {
		return nil
	}
	if _, port, err := net.SplitHostPort(c.AdminListen); err != nil || port == "" {
		return fmt.Errorf("EVENRIG_ADMIN_LISTEN (--admin-listen) is %q; accepted: HOST:PORT like 127.0.0.1:9090, or :9090 for this machine alone", c.AdminListen)
	}
	return nil
}

// address has this machine for a host unless another is named.
func (c administering) address() string {
	if strings.HasPrefix(c.AdminListen, ":") {
		return "127.0.0.1" + c.AdminListen
	}
	return c.AdminListen
}

// adminPort answers who runs the server.
type adminPort struct {
	url    string
	server *http.Server
}

// openAdminPort starts to answer; nil when it is off.
func (p *parts) openAdminPort(at administering, log *slog.Logger) (*adminPort, error) {
	if at.AdminListen == "" {
		return nil, nil
	}
	listener, err := net.Listen("tcp", at.address())
	if err != nil {
		return nil, fmt.Errorf("EVENRIG_ADMIN_LISTEN (--admin-listen) is %q: %w", at.AdminListen, err)
	}
	if !onThisMachine(listener.Addr().String()) {
		log.Warn("the admin port can be reached from other machines, and asks nobody who he is", "address", listener.Addr().String())
	}
	a := &adminPort{url: "http://" + listener.Addr().String()}
	a.server = &http.Server{Handler: p.adminHandler(), ReadHeaderTimeout: 10 * time.Second, ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn)}
	go func() {
		if err := a.server.Serve(listener); !errors.Is(err, http.ErrServerClosed) {
			log.Error("the admin port failed", "reason", err)
		}
	}()
	return a, nil
}

// adminHandler leaves out the command line, which may hold the database's password.
func (p *parts) adminHandler() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(p.metrics.registry, promhttp.HandlerOpts{}))
	mux.HandleFunc("GET /debug/pprof/", pprof.Index)
	mux.HandleFunc("GET /debug/pprof/profile", pprof.Profile)
	mux.HandleFunc("GET /debug/pprof/trace", pprof.Trace)
	mux.HandleFunc("GET /debug/pprof/symbol", pprof.Symbol)
	mux.HandleFunc("GET /debug/pprof/cmdline", http.NotFound)
	return noNames(mux)
}

// noNames refuses requests that call this machine by a name other than localhost: a page in a browser of this machine
// could else read the port under a name of its own.
func noNames(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		host := r.Host
		if h, _, err := net.SplitHostPort(host); err == nil {
			host = h
		}
		host = strings.Trim(host, "[]")
		if host != "localhost" && net.ParseIP(host) == nil {
			http.Error(w, "call this port by its number or as localhost", http.StatusMisdirectedRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// onThisMachine reports whether an address HOST:PORT can be reached from this machine alone.
func onThisMachine(address string) bool {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

func (a *adminPort) close() error {
	if a == nil {
		return nil
	}
	return a.server.Close()
}
