package api_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"evenrig/api"
	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// failingStore knows every token and fails at everything else in the way it is told.
type failingStore struct {
	tokenStore
	fail func() error
}

func (s *failingStore) InReadTx(ctx context.Context, do func(context.Context, trial.ReadTx) error) error {
	return do(ctx, failingTx{tokenTx{store: &s.tokenStore}, s.fail})
}

func (s *failingStore) Ready(context.Context) error { return s.fail() }

type failingTx struct {
	tokenTx
	fail func() error
}

func (tx failingTx) AccountBy(context.Context, trial.ID) (trial.Account, error) {
	return trial.Account{}, tx.fail()
}

// What is not the user's fault says so and nothing of its cause; the log has the cause, under the request's id.
func TestOurFailures(t *testing.T) {
	const secret = "password=grayling"
	for _, c := range []struct {
		what   string
		fail   func() error
		status int
		code   string
		logged bool
	}{
		{"an error that nobody foresaw", func() error { return errors.New(secret) }, 500, "internal", true},
		{"an internal error with its own words", func() error {
			return &trial.Error{Kind: trial.Internal, Code: "odd", Detail: secret, Err: errors.New(secret)}
		}, 500, "internal", true},
		{"a panic", func() error { panic(secret) }, 500, "internal", true},
		{"a database that is away", func() error {
			return &trial.Error{Kind: trial.Unavailable, Code: "database.unavailable", Detail: "later", Err: errors.New(secret)}
		}, 503, "database.unavailable", true},
		{"too slow", func() error { return context.DeadlineExceeded }, 503, "unavailable", false},
	} {
		t.Run(c.what, func(t *testing.T) {
			var log bytes.Buffer
			service := conduct.New(&failingStore{fail: c.fail}, conduct.Options{Clock: time.Now})
			defer service.Close()
			handler := api.NewServer(service, api.Options{Log: slog.New(slog.NewTextHandler(&log, nil))}).Handler()
			for _, path := range []string{"/v1/me", "/v1/me"} { // the second shows that the server goes on
				r := httptest.NewRequest(http.MethodGet, path, nil)
				r.Header.Set("Authorization", "Bearer rig_x")
				w := httptest.NewRecorder()
				handler.ServeHTTP(w, r)
				var p openapi.Problem
				if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil {
					t.Fatal(err)
				}
				if w.Code != c.status || p.Code != c.code || strings.Contains(w.Body.String(), "grayling") || p.RequestID == "" {
					t.Errorf("answered %d %s, want %d %s and no word of the cause", w.Code, w.Body, c.status, c.code)
				}
				if (w.Code == 503) != (w.Header().Get("Retry-After") != "") {
					t.Errorf("%d has Retry-After %q", w.Code, w.Header().Get("Retry-After"))
				}
				if !strings.Contains(log.String(), "id="+p.RequestID) || strings.Contains(log.String(), secret) != c.logged {
					t.Errorf("the log does not name the cause under the request's id:\n%s", &log)
				}
			}
		})
	}
}

// Readiness follows the store; health does not.
func TestReadiness(t *testing.T) {
	service := conduct.New(&failingStore{fail: func() error { return errors.New("the disk is full") }}, conduct.Options{Clock: time.Now})
	defer service.Close()
	server := httptest.NewServer(api.NewServer(service, api.Options{Log: slog.New(slog.NewTextHandler(io.Discard, nil))}).Handler())
	defer server.Close()
	for path, want := range map[string]int{"/readyz": 503, "/healthz": 200} {
		r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, server.URL+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		got, err := checking{t}.RoundTrip(r)
		if err != nil {
			t.Fatal(err)
		}
		if got.StatusCode != want {
			t.Errorf("%s answered %d, want %d", path, got.StatusCode, want)
		}
		if wait := got.Header.Get("Retry-After"); (wait != "") != (want == 503) {
			t.Errorf("%s answered %d with Retry-After %q", path, want, wait)
		}
	}
}

// Whose request it is: the peer, whatever a header says, unless the peer is a proxy that is trusted.
func TestForwardedAddressesAreBelievedOfTrustedProxies(t *testing.T) {
	for _, c := range []struct {
		trusted []string
		want    string
	}{
		{nil, "from=192.0.2.1"},
		{[]string{"198.51.100.0/24"}, "from=192.0.2.1"},
		{[]string{"192.0.2.0/24"}, "from=203.0.113.9"},
	} {
		var log bytes.Buffer
		service := conduct.New(&tokenStore{}, conduct.Options{Clock: time.Now})
		defer service.Close()
		server := api.NewServer(service, api.Options{Log: slog.New(slog.NewTextHandler(&log, nil)), TrustedProxies: c.trusted})
		r := httptest.NewRequest(http.MethodGet, "/healthz", nil) // comes from 192.0.2.1
		r.Header.Set("X-Forwarded-For", "203.0.113.9")
		r.Header.Set("X-Real-Ip", "203.0.113.10")
		server.Handler().ServeHTTP(httptest.NewRecorder(), r)
		if !strings.Contains(log.String(), c.want+"\n") {
			t.Errorf("trusting %v: want %s in\n%s", c.trusted, c.want, &log)
		}
	}
}

// Browsers may do nothing with an answer: not guess its kind, not frame it, not keep it, not run anything in it.
func TestSecurityHeaders(t *testing.T) {
	_, url := newBareServer(t, &tokenStore{})
	for _, path := range []string{"/healthz", "/openapi.yaml", "/v1/me", "/nowhere"} {
		answer, err := http.Get(url + path)
		if err != nil {
			t.Fatal(err)
		}
		answer.Body.Close()
		for name, want := range map[string]string{
			"X-Content-Type-Options": "nosniff", "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
			"Referrer-Policy": "no-referrer", "Cache-Control": "no-store",
		} {
			if got := answer.Header.Get(name); got != want {
				t.Errorf("%s has %s %q, want %q", path, name, got, want)
			}
		}
	}
}

// slowStore holds each request at its token until it is let go.
type slowStore struct {
	tokenStore
	begun, letGo chan struct{}
}

func (s *slowStore) InReadTx(ctx context.Context, do func(context.Context, trial.ReadTx) error) error {
	close(s.begun)
	<-s.letGo
	return s.tokenStore.InReadTx(ctx, do)
}

// Shutdown waits for what is under way and takes nothing new.
func TestShutdownFinishesWhatIsUnderWay(t *testing.T) {
	store := &slowStore{begun: make(chan struct{}), letGo: make(chan struct{})}
	service := conduct.New(store, conduct.Options{Clock: time.Now})
	defer service.Close()
	server := api.NewServer(service, api.Options{Log: slog.New(slog.NewTextHandler(io.Discard, nil))})
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	served, stopped, status := make(chan error, 1), make(chan error, 1), make(chan int, 1)
	go func() { served <- server.Serve(listener) }()
	go func() {
		r, err := http.NewRequest(http.MethodGet, "http://"+listener.Addr().String()+"/v1/clubs/none", nil)
		if err != nil {
			panic(err)
		}
		r.Header.Set("Authorization", "Bearer rig_x")
		answer, err := http.DefaultClient.Do(r)
		if err != nil {
			status <- 0
			return
		}
		answer.Body.Close()
		status <- answer.StatusCode
	}()
	<-store.begun
	go func() { stopped <- server.Shutdown(context.Background()) }()
	if err := <-served; err != nil {
		t.Errorf("Serve ended with %v after Shutdown", err)
	}
	if _, err := net.DialTimeout("tcp", listener.Addr().String(), time.Second); err == nil {
		t.Error("a new connection is taken during Shutdown")
	}
	close(store.letGo)
	if got := <-status; got != http.StatusUnprocessableEntity {
		t.Errorf("the request under way was answered %d, want 422", got)
	}
	if err := <-stopped; err != nil {
		t.Errorf("Shutdown: %v", err)
	}
}
