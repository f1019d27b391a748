package main

import (
	"context"
	"errors"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"evenrig/db/private"
	"evenrig/openapi"
)

// TestStopsPolitely tells a built program to stop (SIGTERM) while eight clients send fish. With a delay the clients do as a balancer
// does: they look at /readyz and send nothing more once it says no. Then no request that was sent may be cut off. Without a delay they
// go on until nobody answers. Either way the program ends with 0 and every acknowledged fish is there, with the receipt that was given.
func TestStopsPolitely(t *testing.T) {
	t.Parallel()
	folder := dataFolder(t)
	cluster, err := private.Start(t.Context(), filepath.Join(folder, "server"), slog.New(slog.DiscardHandler))
	if err != nil {
		needServer(t, err)
	}
	defer cluster.Stop() //nolint:errcheck // its folder goes with it
	p := &process{binary: builtProgram(t), database: cluster.URL(private.Database), folder: folder, address: freeAddress(t)}
	t.Cleanup(p.kill)
	p.start(t)
	token, err := exec.Command(p.binary, "token", "--admin", "--database-url", p.database, "--data", folder, "--log-level", "error").Output()
	if err != nil {
		t.Fatalf("token: %v", err)
	}
	angler, period, id := openTrial(t, "http://"+p.address, strings.TrimSpace(string(token)))
	s := &lateSenders{angler: angler, period: period, trial: id, got: map[openapi.CatchID]openapi.Receipt{}}
	for _, delay := range []string{"3s", "0s"} {
		p.kill()
		p.startWith(t, "--stop-delay", delay)
		cut, sent := s.sendUntilStopped(t, p, delay != "0s")
		if cut > 0 && delay != "0s" {
			t.Errorf("with a delay of %s %d of %d requests were cut off", delay, cut, sent)
		}
		t.Logf("with a delay of %s: %d requests, %d cut off", delay, sent, cut)
	}
	p.start(t)
	s.reckon(t)
}

// startWith starts the process with further arguments.
func (p *process) startWith(t *testing.T, further ...string) {
	t.Helper()
	plain := p.binary
	script := filepath.Join(t.TempDir(), "serve")
	text := "#!/bin/sh\nexec " + plain + " \"$@\" " + strings.Join(further, " ") + "\n"
	if err := os.WriteFile(script, []byte(text), 0o755); err != nil {
		t.Fatal(err)
	}
	p.binary = script
	p.start(t)
	p.binary = plain
}

// lateSenders are eight clients who send fish of one angler.
type lateSenders struct {
	angler person
	period openapi.PeriodID
	trial  openapi.TrialID

	mu   sync.Mutex
	got  map[openapi.CatchID]openapi.Receipt
	sent map[openapi.CatchID]openapi.NewCatch
}

// sendUntilStopped sends fish, tells the program to stop in the midst, and returns how many requests went out and how many of them had
// no answer. Heeding clients send nothing more once /readyz says no.
func (s *lateSenders) sendUntilStopped(t *testing.T, p *process, heed bool) (cut, sent int64) {
	t.Helper()
	var unready, over atomic.Bool
	var all sync.WaitGroup
	var cuts, sends atomic.Int64
	for i := range 8 {
		all.Go(func() {
			rng := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), uint64(i)))
			for !over.Load() && (!heed || !unready.Load()) {
				fish, what := openapi.CatchID(demoID(rng, time.Now())), catchIn(s.period)
				sends.Add(1)
				answer, err := s.angler.api.PutCatchWithResponse(context.Background(), s.trial, fish, what)
				switch {
				case err != nil && errors.Is(err, syscall.ECONNREFUSED):
					sends.Add(-1) // nobody took it
					time.Sleep(5 * time.Millisecond)
				case err != nil:
					cuts.Add(1)
				case answer.JSON201 != nil:
					s.keep(fish, what, *answer.JSON201.Receipt)
				case answer.StatusCode() != http.StatusServiceUnavailable:
					t.Errorf("a fish is answered %d: %s", answer.StatusCode(), answer.Body)
				}
			}
		})
	}
	all.Go(func() {
		for !over.Load() {
			answer, err := http.Get("http://" + p.address + "/readyz")
			if err != nil {
				unready.Store(true)
			} else {
				if answer.StatusCode == http.StatusServiceUnavailable {
					unready.Store(true)
					if answer.Header.Get("Retry-After") == "" {
						t.Error("/readyz says no without Retry-After")
					}
				}
				answer.Body.Close()
			}
			time.Sleep(10 * time.Millisecond)
		}
	})
	kept := s.kept()
	eventually(t, "forty more fish are acknowledged", func() bool { return s.kept() >= kept+40 })
	if err := p.command.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := p.command.Wait(); err != nil {
		t.Errorf("told to stop, the program ends with %v", err)
	}
	p.command = nil
	over.Store(true)
	all.Wait()
	if heed && !unready.Load() {
		t.Error("/readyz never said no")
	}
	return cuts.Load(), sends.Load()
}

func (s *lateSenders) keep(fish openapi.CatchID, what openapi.NewCatch, r openapi.Receipt) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.sent == nil {
		s.sent = map[openapi.CatchID]openapi.NewCatch{}
	}
	s.got[fish], s.sent[fish] = r, what
}

func (s *lateSenders) kept() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.got)
}

// reckon sends every acknowledged fish once more: it is known, under the receipt that was given.
func (s *lateSenders) reckon(t *testing.T) {
	t.Helper()
	if len(s.got) < 50 {
		t.Fatalf("only %d fish were acknowledged", len(s.got))
	}
	for fish, receipt := range s.got {
		answer, err := s.angler.api.PutCatchWithResponse(t.Context(), s.trial, fish, s.sent[fish])
		if err != nil || answer.JSON200 == nil || answer.JSON200.Receipt == nil || *answer.JSON200.Receipt != receipt {
			t.Fatalf("an acknowledged fish is answered %v, %v", answer, err)
		}
	}
	t.Logf("%d acknowledged fish are all there", len(s.got))
}
