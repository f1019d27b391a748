package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"
	"unicode/utf8"

	"evenrig/service/analysis"
)

// demoCommand plays an invented club's trial through the API of a service of its own and then goes on serving it.
type demoCommand struct {
	Exit     bool   `help:"Stop after printing the result."`
	Listen   string `default:"127.0.0.1:0" placeholder:"HOST:PORT" help:"Address to answer on; port 0 takes a free one."`
	LogLevel string `name:"log-level" enum:"debug,info,warn,error" default:"warn" help:"Least level that is logged: debug, info, warn, error."`
}

// Run plays the trial, prints what came of it, and serves until ^C unless Exit is set. Everything it made is removed at
// the end.
func (c *demoCommand) Run(s streams) (err error) {
	at := listening{Listen: c.Listen}
	if err := at.check(); err != nil {
		return usageError{err}
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	folder, err := os.MkdirTemp("", "evenrig-demo-")
	if err != nil {
		return fmt.Errorf("make a folder for the demo: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(folder)) }()
	// The database's user must be able to pass through it.
	if err := os.Chmod(folder, 0o711); err != nil { //nolint:gosec // entered, not read
		return fmt.Errorf("make a folder for the demo: %w", err)
	}
	where := storage{Data: folder, LogLevel: c.LogLevel}
	log := where.log(s)
	begun := time.Now()
	fmt.Fprintln(s.out, "Starting a private PostgreSQL and the service …")
	clock := &storyClock{}
	clock.set(demoStart)
	p, err := where.assemble(ctx, where.ownDatabase, log, clock.now)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, p.close()) }()
	running, err := p.start(ctx, at, log)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, running.stop()) }()
	fmt.Fprintf(s.out, "It answers at %s\n\n", running.url)

	secret, err := p.service.FirstAdmin(ctx, "Secretary")
	if err != nil {
		return err
	}
	story := newStory(running.url, clock, s.out)
	played, err := story.play(ctx, secret)
	if err != nil {
		if ctx.Err() != nil {
			return nil
		}
		return fmt.Errorf("the demo stopped: %w", err)
	}
	clock.goReal()
	if err := printDemo(s.out, played, running.url, time.Since(begun)); err != nil || c.Exit {
		return err
	}
	page := filepath.Join(folder, "report.html")
	if err := os.WriteFile(page, played.page, 0o600); err != nil {
		return fmt.Errorf("save the report: %w", err)
	}
	if err := story.letIn(ctx); err != nil {
		return err
	}
	fmt.Fprintf(s.out, `
In a browser %[1]s/ for strangers, %[1]s/sign-in for %[2]s:
  e-mail %[3]s, password %[4]s
The report as a file: %[5]s
Serving until ^C.
`, running.url, demoOrganiser, demoEmail, demoPassword, page)
	select {
	case <-ctx.Done():
	case err = <-running.failed:
	case <-p.database.died():
		err = errors.New("the private PostgreSQL ended by itself")
	}
	return err
}

// played is what the story left behind.
type played struct {
	trial     string // path of the trial
	analysis  string // path of its closing analysis
	organiser string // token
	result    []byte
	page      []byte // the report
	published string // path of the published trial
	requests  int
}

func printDemo(w io.Writer, d played, url string, took time.Duration) error {
	r, err := analysis.Decode(d.result)
	if err != nil {
		return fmt.Errorf("read the result: %w", err)
	}
	fmt.Fprintf(w, "\n%s\n\n", demoQuestion)
	for _, line := range fill(r.Verdict.Sentence, 76) {
		fmt.Fprintf(w, "  %s\n", line)
	}
	fmt.Fprintf(w, `
  anglers %d · outings %d · fish recorded %d · analysed %d
  %s lower: %d took it, %d the other · %s lower: %d took it, %d the other

The season took %s and %d requests. The report, with the organiser's token:

  curl -H 'Authorization: Bearer %s' \
       %s%s/report > report.html

Result %s%s · catches %s%s/catches.csv
For everybody %s%s
`,
		r.Counts.Anglers, r.Counts.Outings, r.Counts.Catches, r.Counts.Analysed,
		r.Test, r.Counts.TestLower.Lower, r.Counts.TestLower.Upper, r.Control, r.Counts.ControlLower.Lower, r.Counts.ControlLower.Upper,
		took.Round(100*time.Millisecond), d.requests, d.organiser, url, d.analysis, url, d.analysis, url, d.trial, url, strings.TrimPrefix(d.published, "/v1"))
	return nil
}

// fill breaks a text into lines of at most width characters, where its words allow it.
func fill(text string, width int) []string {
	lines := []string{""}
	for _, word := range strings.Fields(text) {
		last := &lines[len(lines)-1]
		switch {
		case *last == "":
			*last = word
		case utf8.RuneCountInString(*last)+1+utf8.RuneCountInString(word) <= width:
			*last += " " + word
		default:
			lines = append(lines, word)
		}
	}
	return lines
}

// storyClock is the service's clock while the story is told: it stands at the moment that is being told, and goes on as
// a real one afterwards.
type storyClock struct {
	mu   sync.Mutex
	at   time.Time
	real bool
}

func (c *storyClock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.real {
		return time.Now()
	}
	// A little time passes with every look, so that nothing happens at the same instant as something else.
	c.at = c.at.Add(time.Millisecond)
	return c.at
}

// set moves the clock on to t; it never goes back.
func (c *storyClock) set(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if t.After(c.at) {
		c.at = t
	}
}

func (c *storyClock) goReal() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.real = true
}
