package api_test

import (
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"evenrig/api"
)

// A reader who takes nothing is cut off, so that what holds a snapshot for him ends; one who takes a little now and then gets all.
func TestAReaderWhoStalls(t *testing.T) {
	t.Parallel()
	const stall = time.Second
	line := strings.Repeat("a fish, and another\r\n", 100)
	ended := make(chan error, 2)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		lines := 4_000                                                               // 8 MB: more than any buffer on the way takes
		_ = api.StreamWithin(stall, w, "text/csv", func(out io.Writer) (err error) { //nolint:errcheck // sent on
			defer func() { ended <- err }()
			for range lines {
				if _, err = io.WriteString(out, line); err != nil {
					return err
				}
			}
			return nil
		})
	}))
	defer server.Close()
	ask := func() net.Conn {
		conn, err := net.Dial("tcp", server.Listener.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { conn.Close() })
		if _, err := io.WriteString(conn, "GET / HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n"); err != nil {
			t.Fatal(err)
		}
		return conn
	}
	ask()
	select {
	case err := <-ended:
		if err == nil {
			t.Error("a reader who took nothing was sent everything")
		}
	case <-time.After(patience):
		t.Fatal("a reader who takes nothing is waited for")
	}
	slow, read, piece := ask(), 0, make([]byte, 1<<20)
	for {
		n, err := slow.Read(piece)
		read += n
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		time.Sleep(stall / 50)
	}
	if err := <-ended; err != nil || read < 4_000*len(line) {
		t.Errorf("a slow reader got %d bytes and %v", read, err)
	}
}
