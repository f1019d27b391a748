package trial_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

var states = []trial.State{
	trial.Draft, trial.Registered, trial.Open, trial.Paused, trial.Closed, trial.Locked, trial.Published, trial.Abandoned,
}

// inState is a drawn trial that was registered ten days ago, closed five days ago and locked a day ago, as far as its
// state has come.
func inState(s trial.State) trial.Trial {
	t := trial.Trial{ID: madeUp(1), ClubID: madeUp(2), State: s, Design: trial.Paired, Source: trial.Drawn, CreatedAt: noon.AddDate(0, 0, -11)}
	switch s {
	case trial.Registered, trial.Open, trial.Paused, trial.Closed, trial.Locked, trial.Published:
		t.RegisteredAt = ptr(noon.AddDate(0, 0, -10))
	}
	switch s {
	case trial.Closed, trial.Locked, trial.Published:
		t.ClosedAt = ptr(noon.AddDate(0, 0, -5))
	}
	switch s {
	case trial.Locked, trial.Published:
		t.LockedAt = ptr(noon.AddDate(0, 0, -1))
	}
	return t
}

// The life of a trial: draft → registered → open ⇄ paused → closed → locked, or abandoned with a reason before it is
// locked. What is locked is never opened again, and nothing follows abandoning. The step to published is left to the
// publishing of packages and stands in no row.
func TestEveryPairOfStates(t *testing.T) {
	steps := map[trial.State]string{
		trial.Draft:      "registered abandoned",
		trial.Registered: "open abandoned",
		trial.Open:       "paused closed abandoned",
		trial.Paused:     "open closed abandoned",
		trial.Closed:     "locked abandoned",
	}
	p := complete()
	for _, from := range states {
		for _, to := range append(states, "", "reopened") {
			t.Run(fmt.Sprintf("%s to %s", from, to), func(t *testing.T) {
				err := inState(from).Move(to, "the river is in flood", p, noon)
				if to != "" && strings.Contains(" "+steps[from]+" ", " "+string(to)+" ") {
					if err != nil {
						t.Errorf("refused: %v", err)
					}
					return
				}
				code := "trial.state"
				if from == trial.Locked && to == trial.Published {
					code = "trial.publication" // that takes a licence
				}
				wantKind(t, err, trial.Conflict, code)
			})
		}
	}
}

func TestReasons(t *testing.T) {
	p := complete()
	for _, c := range []struct {
		to     trial.State
		reason string
		ok     bool
	}{
		{trial.Abandoned, "", false},
		{trial.Abandoned, "dull", false},
		{trial.Abandoned, "flood", true},
		{trial.Abandoned, strings.Repeat("ü", 500), true},
		{trial.Abandoned, strings.Repeat("ü", 501), false},
		{trial.Abandoned, "flood\x00", false},
		{trial.Paused, "", true},
		{trial.Paused, strings.Repeat("ü", 501), false},
		{trial.Paused, "flood\x1b", false},
	} {
		err := inState(trial.Open).Move(c.to, c.reason, p, noon)
		if c.ok && err != nil {
			t.Errorf("%s for %.20q: %v", c.to, c.reason, err)
		}
		if !c.ok {
			wantFaults(t, err, "reason")
		}
	}
}

// A trial is locked at the earliest late_limit_h after closing, so that what was noted in time still arrives; with a
// limit of 0 at once.
func TestTooEarlyToLock(t *testing.T) {
	closed := inState(trial.Closed)
	for _, hours := range []int{0, 1, 72, 720} {
		p := complete()
		p.OutingLimits.LateLimitH = hours
		earliest := closed.ClosedAt.Add(time.Duration(hours) * time.Hour)
		if err := closed.Move(trial.Locked, "", p, earliest); err != nil {
			t.Errorf("%d h: refused at the earliest moment: %v", hours, err)
		}
		wantKind(t, closed.Move(trial.Locked, "", p, earliest.Add(-time.Nanosecond)), trial.Conflict, "trial.too_early")
		// The same instant written in another zone is the same instant.
		if err := closed.Move(trial.Locked, "", p, earliest.In(time.FixedZone("", 5*3600))); err != nil {
			t.Errorf("%d h: refused in another zone: %v", hours, err)
		}
	}
	// Nothing is noted late in an imported table.
	recorded := inState(trial.Closed)
	recorded.Source = trial.Recorded
	if err := recorded.Move(trial.Locked, "", complete(), *recorded.ClosedAt); err != nil {
		t.Errorf("recorded: %v", err)
	}
}

// Hidden from registration until locked when there is a draw; an abandoned trial was never meant to be read.
func TestHidden(t *testing.T) {
	want := map[trial.State]bool{
		trial.Registered: true, trial.Open: true, trial.Paused: true, trial.Closed: true, trial.Abandoned: true,
		trial.Locked: false, trial.Published: false,
	}
	for state, hidden := range want {
		drawn, recorded := inState(state), inState(state)
		recorded.Source = trial.Recorded
		if drawn.Hidden() != hidden {
			t.Errorf("drawn, %s: hidden %t, want %t", state, drawn.Hidden(), hidden)
		}
		if recorded.Hidden() {
			t.Errorf("recorded, %s: hidden, want nothing hidden", state)
		}
	}
}

// Who joins when, and when units are handed out: a pause opens no units, closing opens none, a recorded trial has no
// draw and no enrolling.
func TestEnrolsAndDraws(t *testing.T) {
	enrols := map[trial.State]bool{trial.Registered: true, trial.Open: true, trial.Paused: true}
	for _, state := range states {
		drawn, recorded := inState(state), inState(state)
		recorded.Source = trial.Recorded
		if got := drawn.Enrols() == nil; got != enrols[state] {
			t.Errorf("%s: enrols %t, want %t", state, got, enrols[state])
		}
		if got := drawn.Draws() == nil; got != (state == trial.Open) {
			t.Errorf("%s: draws %t", state, got)
		}
		if trial.KindOf(recorded.Enrols()) != trial.Conflict || trial.KindOf(recorded.Draws()) != trial.Conflict {
			t.Errorf("recorded, %s: enrols %v, draws %v; want two conflicts", state, recorded.Enrols(), recorded.Draws())
		}
	}
}

// Before a drawn trial is locked an analysis is not due; a recorded one is analysed at any time after opening.
func TestAnalyses(t *testing.T) {
	for _, state := range states {
		drawn, recorded := inState(state), inState(state)
		recorded.Source = trial.Recorded
		locked := state == trial.Locked || state == trial.Published
		if err := drawn.Analyses(); (err == nil) != locked {
			t.Errorf("drawn, %s: %v", state, err)
		} else if err != nil {
			wantKind(t, err, trial.Conflict, "look.not_due")
		}
		opened := locked || state == trial.Open || state == trial.Paused || state == trial.Closed
		if err := recorded.Analyses(); (err == nil) != opened {
			t.Errorf("recorded, %s: %v", state, err)
		} else if err != nil {
			wantKind(t, err, trial.Conflict, "look.not_due")
		}
	}
}

// What happened before closing is taken, whenever it arrives; what happened after it, before registration or outside
// the trial's open time is not.
func TestTakes(t *testing.T) {
	at := func(days int) time.Time { return noon.AddDate(0, 0, days) }
	for _, c := range []struct {
		state trial.State
		days  int
		code  string
	}{
		{trial.Draft, -3, "trial.state"},
		{trial.Registered, -3, "trial.state"},
		{trial.Abandoned, -3, "trial.state"},
		{trial.Open, -3, ""},
		{trial.Open, 0, ""},
		{trial.Open, -12, "trial.before"},
		{trial.Paused, -3, ""},
		{trial.Closed, -6, ""},
		{trial.Closed, -5, ""},
		{trial.Closed, -4, "trial.closed"},
		{trial.Closed, -12, "trial.before"},
		{trial.Locked, -6, ""},
		{trial.Locked, -4, "trial.closed"},
		{trial.Published, -6, ""},
		{trial.Published, 0, "trial.closed"},
	} {
		err := inState(c.state).Takes(at(c.days))
		if c.code == "" {
			if err != nil {
				t.Errorf("%s, %d days: %v", c.state, c.days, err)
			}
			continue
		}
		wantKind(t, err, trial.Conflict, c.code)
	}
	closed := inState(trial.Closed)
	wantKind(t, closed.Takes(closed.ClosedAt.Add(time.Millisecond)), trial.Conflict, "trial.closed")
	// A phone's clock may be wrong by a zone: within a day before registration is taken.
	open := inState(trial.Open)
	if err := open.Takes(open.RegisteredAt.Add(-23 * time.Hour)); err != nil {
		t.Errorf("23 h before registration: %v", err)
	}
	wantKind(t, open.Takes(open.RegisteredAt.Add(-25*time.Hour)), trial.Conflict, "trial.before")
}
