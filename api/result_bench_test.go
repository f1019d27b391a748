//go:build linux

package api_test

import (
	"bufio"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/labstack/echo/v4"

	"evenrig/api"
	"evenrig/openapi"
	"evenrig/service/trial"
)

// BenchmarkResult sets a finished result, read by a member with a token, against a greeting of the HTTP library that the service uses,
// without any middleware: a second of each by turns at 64 connections, one op a pair; beside it the same result for who has it (304)
// and a published one for everybody. The ratios are medians over the pairs, of rates with the least and most, and of the processor time that a request takes, which a busy machine sways less. The client is in the same
// process and writes prepared requests.
//
//	go test ./api -run - -bench Result -benchtime 7x
func BenchmarkResult(b *testing.B) {
	before := debug.SetGCPercent(400) // as the running service has it
	b.Cleanup(func() { debug.SetGCPercent(before) })
	w := newWorld(b)
	c := w.newClub("Loop and Knot")
	p := c.ruleSheet()
	p.Source = "recorded"
	e := c.opened(p)
	var table strings.Builder
	table.WriteString("angler,outing,lower_pattern,taken_position\r\n")
	for i := range 600 {
		fmt.Fprintf(&table, "rod %d,%d,%s,%s\r\n", i%12, i%4, []string{"C", "N"}[i/4%2], []string{"lower", "upper", "lower"}[i%3])
	}
	ok[*openapi.ImportTableResponse](b, 201)(e.organiser.ImportTableWithBodyWithResponse(b.Context(), e.trial, &openapi.ImportTableParams{}, "text/csv", strings.NewReader(table.String())))
	ok[*openapi.RequestAnalysisResponse](b, 202)(e.organiser.RequestAnalysisWithResponse(b.Context(), e.trial))
	if err := w.service.Analyse(b.Context(), trial.ID(e.trial), 1); err != nil {
		b.Fatal(err)
	}
	etag := e.organiser.send(http.MethodGet, e.path("/analyses/1"), "").header.Get("ETag")

	bare := echo.New()
	bare.GET("/", func(c echo.Context) error { return c.String(http.StatusOK, "a fine day for it") })
	hello := listening(b, bare)
	service := listening(b, api.NewServer(w.service, api.Options{Log: slog.New(slog.NewTextHandler(io.Discard, nil))}).Handler())
	head := fmt.Sprintf("GET %s HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\n", e.path("/analyses/1"), e.organiser.token)
	for _, of := range []struct {
		name, request string
		status        int
	}{{"whole", head + "\r\n", 200}, {"unchanged", head + "If-None-Match: " + etag + "\r\n\r\n", 304}} {
		b.Run(of.name, func(b *testing.B) {
			var ratios, work []float64
			var ours float64
			for b.Loop() {
				greeted, cost := rateOf(b, hello, "GET / HTTP/1.1\r\nHost: x\r\n\r\n", 200)
				rate, ownCost := rateOf(b, service, of.request, of.status)
				ours, ratios, work = rate, append(ratios, rate/greeted), append(work, cost/ownCost)
			}
			b.ReportMetric(median(ratios), "of-greeting")
			b.ReportMetric(slices.Min(ratios), "least")
			b.ReportMetric(slices.Max(ratios), "most")
			b.ReportMetric(median(work), "of-greeting-by-cpu")
			b.ReportMetric(ours, "results/s")
			b.ReportMetric(0, "ns/op")
		})
	}
}

func listening(b *testing.B, h http.Handler) (address string) {
	server := httptest.NewServer(h)
	b.Cleanup(server.Close)
	return server.Listener.Addr().String()
}

// rateOf is how many requests a second are answered with the status to 64 connections, for a second, and what one takes of this
// process's processor time, in seconds; the client's part is in it.
func rateOf(b *testing.B, address, request string, status int) (rate, cost float64) {
	b.Helper()
	const connections, duration = 64, time.Second
	counts := make([]int, connections)
	var group sync.WaitGroup
	begun, busy := time.Now(), ownTime(b)
	for i := range counts {
		conn, err := net.Dial("tcp", address)
		if err != nil {
			b.Fatal(err)
		}
		group.Go(func() {
			defer conn.Close()
			answers := bufio.NewReaderSize(conn, 32<<10)
			for time.Since(begun) < duration {
				if _, err := io.WriteString(conn, request); err != nil {
					b.Error(err)
					return
				}
				if got, err := passOver(answers); err != nil || got != status {
					b.Errorf("answered %d, %v; want %d", got, err, status)
					return
				}
				counts[i]++
			}
		})
	}
	group.Wait()
	sum := 0
	for _, n := range counts {
		sum += n
	}
	return float64(sum) / time.Since(begun).Seconds(), (ownTime(b) - busy).Seconds() / float64(sum)
}

// ownTime is how long processors were busy with this process.
func ownTime(b *testing.B) time.Duration {
	var use syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &use); err != nil {
		b.Fatal(err)
	}
	return time.Duration(use.Utime.Nano() + use.Stime.Nano())
}

// passOver reads an answer that has a length, or none by its status, and returns the status.
func passOver(r *bufio.Reader) (status int, err error) {
	length, chunked := 0, false
	for {
		line, err := r.ReadSlice('\n')
		if err != nil {
			return 0, err
		}
		switch text := string(line); {
		case status == 0:
			if status, err = strconv.Atoi(text[len("HTTP/1.1 "):][:3]); err != nil {
				return 0, err
			}
		case text == "\r\n":
			for chunked {
				size, err := r.ReadSlice('\n')
				if err != nil {
					return 0, err
				}
				n, err := strconv.ParseInt(strings.TrimSpace(string(size)), 16, 64)
				if err != nil {
					return 0, err
				}
				if _, err := r.Discard(int(n) + len("\r\n")); err != nil {
					return 0, err
				}
				chunked = n > 0
			}
			_, err := r.Discard(length)
			return status, err
		case strings.HasPrefix(text, "Content-Length: "):
			if length, err = strconv.Atoi(strings.TrimSpace(text[len("Content-Length: "):])); err != nil {
				return 0, err
			}
		case strings.HasPrefix(text, "Transfer-Encoding: chunked"):
			chunked = true
		}
	}
}
