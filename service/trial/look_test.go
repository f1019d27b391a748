package trial_test

import (
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

var lookTime = time.Date(2026, 9, 10, 12, 0, 0, 0, time.UTC)

func planned() trial.Protocol {
	p := complete()
	p.Stopping, p.MaxFish, p.MinAnglers = trial.GroupSequential, 100, 6
	p.Looks = &trial.Looks{Planned: 4, Spending: trial.SpendOBrienFleming, Method: trial.LookMixedModel}
	return p
}

func TestStoppingRules(t *testing.T) {
	if err := planned().Validate(); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		change func(p *trial.Protocol)
		fields string
	}{
		"unknown rule":          {func(p *trial.Protocol) { p.Stopping = "when it looks clear" }, "looks stopping"},
		"looks without a plan":  {func(p *trial.Protocol) { p.Looks = nil }, "looks"},
		"looks of a fixed size": {func(p *trial.Protocol) { p.Stopping = trial.FixedSize }, "looks"},
		"one look":              {func(p *trial.Protocol) { p.Looks.Planned = 1 }, "looks.planned"},
		"seven looks":           {func(p *trial.Protocol) { p.Looks.Planned = 7 }, "looks.planned"},
		"spending":              {func(p *trial.Protocol) { p.Looks.Spending = "" }, "looks.spending"},
		"method":                {func(p *trial.Protocol) { p.Looks.Method = "raw_share" }, "looks.method"},
		"few anglers":           {func(p *trial.Protocol) { p.MinAnglers = 5 }, "min_anglers"},
		"open evidence":         {func(p *trial.Protocol) { p.EvidenceOpen = true }, "evidence_open"},
		"recorded":              {func(p *trial.Protocol) { p.Source = trial.Recorded }, "stopping"},
		"all at once":           {func(p *trial.Protocol) { p.Looks.Planned, p.Looks.Spending, p.MinAnglers = 0, "x", 1 }, "looks.planned looks.spending min_anglers"},
	} {
		t.Run(name, func(t *testing.T) {
			p := planned()
			c.change(&p)
			wantFaults(t, p.Validate(), strings.Fields(c.fields)...)
		})
	}
}

func TestWhenALookIsDue(t *testing.T) {
	open := trial.Trial{State: trial.Open, Source: trial.Drawn}
	anytime := complete()
	anytime.Stopping = trial.Anytime
	decided := func(d trial.Decision, fish int64) []trial.Look {
		return []trial.Look{{N: 1, At: lookTime.Add(-24 * time.Hour), Decision: d, Fish: fish}}
	}
	for name, c := range map[string]struct {
		trial         trial.Trial
		protocol      trial.Protocol
		looks         []trial.Look
		fish, anglers int64
		want          int
		waits         string
	}{
		"fixed":                 {open, complete(), nil, 1000, 20, 0, "stopping rule"},
		"too few fish":          {open, planned(), nil, 24, 8, 0, "25"},
		"the first look":        {open, planned(), nil, 25, 6, 1, ""},
		"too few anglers":       {open, planned(), nil, 30, 5, 0, "6 anglers"},
		"being computed":        {open, planned(), decided("", 25), 60, 8, 0, "computed"},
		"the second look":       {open, planned(), decided(trial.GoOn, 25), 50, 8, 2, ""},
		"after no decision":     {open, planned(), decided(trial.NoDecision, 25), 50, 8, 2, ""},
		"after advice":          {open, planned(), decided(trial.StopFutile, 25), 50, 8, 2, ""},
		"after a stop":          {open, planned(), decided(trial.Stop, 25), 90, 8, 0, "ended"},
		"after the end":         {open, planned(), decided(trial.Ended, 25), 90, 8, 0, "ended"},
		"the closing look":      {open, planned(), append(append(decided(trial.GoOn, 25), decided(trial.GoOn, 50)...), decided(trial.GoOn, 75)...), 500, 8, 0, "locked"},
		"draft":                 {trial.Trial{State: trial.Draft}, planned(), nil, 100, 8, 0, "draft"},
		"locked":                {trial.Trial{State: trial.Locked}, planned(), nil, 100, 8, 0, "locked"},
		"closed":                {trial.Trial{State: trial.Closed}, planned(), nil, 100, 8, 1, ""},
		"evidence of nothing":   {open, anytime, nil, 0, 0, 0, "no round"},
		"first evidence":        {open, anytime, nil, 1, 1, 1, ""},
		"no new evidence":       {open, anytime, decided(trial.GoOn, 8), 8, 1, 0, "no round"},
		"new evidence":          {open, anytime, decided(trial.GoOn, 8), 9, 1, 2, ""},
		"evidence within a day": {open, anytime, []trial.Look{{N: 1, At: lookTime.Add(-time.Hour), Decision: trial.GoOn}}, 9, 1, 0, "once a day"},
	} {
		t.Run(name, func(t *testing.T) {
			n, waits := c.trial.NextLook(c.protocol, c.looks, c.fish, c.anglers, lookTime)
			if n != c.want || (n == 0) != (waits != "") || !strings.Contains(waits, c.waits) {
				t.Errorf("look %d, waits for %q; want %d, %q", n, waits, c.want, c.waits)
			}
		})
	}
}

// Planned looks come at equal parts of max_fish, rounded up: common practice, no source.
func TestFishAtLook(t *testing.T) {
	p := planned()
	p.MaxFish, p.Looks.Planned = 100, 3
	for n, want := range map[int]int64{1: 34, 2: 67, 3: 100} {
		if got := p.FishAtLook(n); got != want {
			t.Errorf("look %d at %d fish, want %d", n, got, want)
		}
	}
}
