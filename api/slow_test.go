package api_test

import (
	"bufio"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"evenrig/api"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// newHurried serves with limits of time that are 50 times shorter: 0.2 s for headers, 1.2 s for a request, 2.4 s idle.
func newHurried(t *testing.T) string {
	t.Helper()
	return serving(t, &tokenStore{}, 50, func(l net.Listener) net.Listener { return l })
}

// serving serves on an address of its own, with limits of time that are so many times shorter.
func serving(t *testing.T, store trial.Store, hurry time.Duration, over func(net.Listener) net.Listener) string {
	t.Helper()
	service := conduct.New(store, conduct.Options{Clock: time.Now})
	t.Cleanup(service.Close)
	server := api.NewServer(service, api.Options{Log: slog.New(slog.NewTextHandler(io.Discard, nil))})
	server.Hurry(hurry)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- server.Serve(over(listener)) }()
	t.Cleanup(func() {
		if err := server.Shutdown(t.Context()); err != nil {
			t.Log(err) // the test's context has ended: what was still open is cut off
		}
		<-done
	})
	return listener.Addr().String()
}

func dial(t *testing.T, address string) net.Conn {
	t.Helper()
	conn, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return conn
}

// patience is far above every hurried limit: what is not cut off by then is not going to be.
const patience = 30 * time.Second

// cutOff waits until the server ends the connection and returns what it said before.
func cutOff(t *testing.T, conn net.Conn) string {
	t.Helper()
	if err := conn.SetReadDeadline(time.Now().Add(patience)); err != nil {
		t.Fatal(err)
	}
	said, err := io.ReadAll(conn)
	if e, ok := err.(net.Error); ok && e.Timeout() {
		t.Errorf("the connection is still open after %s", patience)
	}
	return string(said)
}

// TestSlowClients: whoever says nothing, dribbles headers, keeps a body back or sits on an idle connection is cut off, so
// that he takes no more than a connection for a while; others are answered meanwhile.
func TestSlowClients(t *testing.T) {
	t.Parallel()
	address := newHurried(t)
	for name, do := range map[string]func(conn net.Conn) error{
		"says nothing":  func(net.Conn) error { return nil },
		"half a header": func(conn net.Conn) error { return send(conn, "GET /healthz HTTP/1.1\r\nHost: x\r\nX-Slow: ") },
		"keeps a body back": func(conn net.Conn) error {
			return send(conn, "POST /v1/sessions HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: 500\r\n\r\n{")
		},
		"keeps a long body back": func(conn net.Conn) error { return send(conn, longBody+"{") },
		"stops in a long body":   func(conn net.Conn) error { return send(conn, longBody+strings.Repeat(" ", 20<<10)) },
		"dribbles a long body": func(conn net.Conn) error {
			if err := send(conn, longBody); err != nil {
				return err
			}
			go func() {
				for send(conn, " ") == nil {
					time.Sleep(20 * time.Millisecond)
				}
			}()
			return nil
		},
		"idle after a reply": func(conn net.Conn) error { return send(conn, "GET /healthz HTTP/1.1\r\nHost: x\r\n\r\n") },
		"dribbles headers": func(conn net.Conn) error {
			if err := send(conn, "GET /healthz HTTP/1.1\r\n"); err != nil {
				return err
			}
			go func() {
				for i := 0; send(conn, fmt.Sprintf("X-%d: a\r\n", i)) == nil; i++ {
					time.Sleep(20 * time.Millisecond)
				}
			}()
			return nil
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var conns []net.Conn
			for range 20 {
				conn := dial(t, address)
				if err := do(conn); err != nil {
					t.Fatal(err)
				}
				conns = append(conns, conn)
			}
			answer, err := http.Get("http://" + address + "/healthz")
			if err != nil {
				t.Fatal(err)
			}
			if answer.Body.Close(); answer.StatusCode != http.StatusOK {
				t.Errorf("beside slow clients another is answered %d", answer.StatusCode)
			}
			for _, conn := range conns {
				cutOff(t, conn)
			}
		})
	}
}

// longBody begins a request whose body is longer than others.
const longBody = "POST /v1/sessions HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: 40000\r\n\r\n"

// TestSlowUploads: a long body that keeps coming, however slowly, is read to its end and answered, also when that takes far
// longer than anything else may: here three times as long, at 10 kB/s, of which 1 is asked.
func TestSlowUploads(t *testing.T) {
	t.Parallel()
	conn := dial(t, newHurried(t))
	if err := send(conn, longBody); err != nil {
		t.Fatal(err)
	}
	begun := time.Now()
	for range 40 {
		time.Sleep(100 * time.Millisecond)
		if err := send(conn, strings.Repeat(" ", 1000)); err != nil {
			t.Fatalf("cut off after %s: %v", time.Since(begun), err)
		}
	}
	if err := conn.SetReadDeadline(time.Now().Add(patience)); err != nil {
		t.Fatal(err)
	}
	answer, err := http.ReadResponse(bufio.NewReader(conn), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	// The body is white space, which is no JSON: what is said of it shows that all of it was read.
	if err != nil || answer.StatusCode != http.StatusBadRequest || !strings.Contains(string(body), "request.malformed") {
		t.Errorf("answered %d, %v: %s", answer.StatusCode, err, body)
	}
}

func send(conn net.Conn, text string) error {
	_, err := io.WriteString(conn, text)
	return err
}

// TestHugeHeaders: 64 KiB of headers are enough for everybody; more is answered 431 (RFC 6585) without being read whole.
func TestHugeHeaders(t *testing.T) {
	t.Parallel()
	address := newHurried(t)
	for _, size := range []int{32 << 10, 1 << 20} {
		conn := dial(t, address)
		go send(conn, "GET /healthz HTTP/1.1\r\nHost: x\r\nConnection: close\r\nX-Huge: "+strings.Repeat("a", size)+"\r\n\r\n") //nolint:errcheck // cut off in the middle
		if err := conn.SetReadDeadline(time.Now().Add(patience)); err != nil {
			t.Fatal(err)
		}
		answer, err := http.ReadResponse(bufio.NewReader(conn), nil)
		if err != nil {
			t.Fatal(err)
		}
		answer.Body.Close()
		if want := map[bool]int{true: 200, false: 431}[size < 64<<10]; answer.StatusCode != want {
			t.Errorf("%d bytes of headers: %d, want %d", size, answer.StatusCode, want)
		}
	}
}

// TestPlainHTTPFromElsewhere: what another machine sends by plain HTTP is refused, unless a trusted proxy brings it and
// does not say that its client came so; only the two probes answer anybody.
func TestPlainHTTPFromElsewhere(t *testing.T) {
	service := conduct.New(&tokenStore{}, conduct.Options{Clock: time.Now})
	defer service.Close()
	handler := api.NewServer(service, api.Options{
		Log: slog.New(slog.NewTextHandler(io.Discard, nil)), RequireTLS: true, TrustedProxies: []string{"198.51.100.0/24", "2001:db8::/32"},
	}).Handler()
	for _, c := range []struct {
		peer, proto, path string
		status            int
		transport         bool
	}{
		{"127.0.0.1:5", "", "/openapi.yaml", 200, false},
		{"[::1]:5", "", "/openapi.yaml", 200, false},
		{"[::ffff:127.0.0.1]:5", "", "/openapi.yaml", 200, false},
		{"192.0.2.1:5", "", "/openapi.yaml", 403, false},
		{"192.0.2.1:5", "", "/v1/me", 403, false},
		{"192.0.2.1:5", "", "/healthz", 200, false},
		{"[fe80::1%eth0]:5", "", "/openapi.yaml", 403, false},
		{"198.51.100.7:5", "https", "/openapi.yaml", 200, true},
		{"198.51.100.7:5", "", "/openapi.yaml", 200, false},
		{"198.51.100.7:5", "http", "/openapi.yaml", 403, false},
		{"[2001:db8::9]:5", "https", "/openapi.yaml", 200, true},
		{"192.0.2.1:5", "https", "/openapi.yaml", 403, true}, // anybody can say so; the header is then of no use to him
	} {
		r := httptest.NewRequest(http.MethodGet, c.path, nil)
		r.RemoteAddr = c.peer
		if c.proto != "" {
			r.Header.Set("X-Forwarded-Proto", c.proto)
		}
		w := httptest.NewRecorder()
		handler.ServeHTTP(w, r)
		if w.Code != c.status || (w.Header().Get("Strict-Transport-Security") != "") != c.transport {
			t.Errorf("%s from %s by %q: %d, %q; want %d", c.path, c.peer, c.proto, w.Code, w.Header().Get("Strict-Transport-Security"), c.status)
		}
		if c.status == 403 && !strings.Contains(w.Body.String(), "https.required") {
			t.Errorf("refused with %s", w.Body)
		}
	}
}
