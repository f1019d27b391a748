package conduct_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"evenrig/service/analysis"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// day lets every angler fish one outing of the given number of finished blocks, two fish a half; flies gives the pattern
// that the n-th fish of the day took.
func (e *contest) day(rods []*rod, blocks int, flies func(n int) string) {
	e.w.t.Helper()
	e.w.clock.move(24 * time.Hour)
	n := 0
	for _, r := range rods {
		outing := r.outing()
		for range blocks {
			unit := r.unit()
			for half := 1; half <= 2; half++ {
				period := r.begin(outing, unit, half)
				for range 2 {
					e.w.clock.move(7 * time.Minute)
					r.land(period, flies(n))
					n++
				}
				r.swap(period)
			}
		}
		_, err := e.w.s.EndOuting(e.w.ctx, r.actor, e.trial, outing, trial.OutingEnd{EndedAt: e.w.clock.read(), Reason: "planned"})
		e.w.ok(err)
	}
}

func (e *contest) joinAll() (rods []*rod) {
	for _, a := range e.anglers {
		rods = append(rods, e.join(a))
	}
	return rods
}

// mostlyTest lets the test pattern have three fish of four.
func mostlyTest(n int) string {
	if n%4 == 3 {
		return "N"
	}
	return "C"
}

func inTurn(n int) string { return []string{"C", "N"}[n%2] }

func lookSheet() trial.Protocol {
	p := ruleSheet()
	p.Stopping, p.MaxFish = trial.GroupSequential, 96
	p.Looks = &trial.Looks{Planned: 4, Spending: trial.SpendPocock, Method: trial.LookMixedModel}
	return p
}

func (e *contest) looks() []trial.Look {
	e.w.t.Helper()
	return must(e.w.s.Looks(e.w.ctx, e.organiser, e.trial))(e.w.t)
}

// result decodes a finished analysis.
func (e *contest) result(n int) analysis.Result {
	e.w.t.Helper()
	a := must(e.w.s.Analysis(e.w.ctx, e.organiser, e.trial, n))(e.w.t)
	return must(analysis.Decode(a.Result))(e.w.t)
}

// A planned look is made when its fish are in, once, by the service itself; nobody reads more of it than its decision
// until the trial is locked.
func TestPlannedLooks(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 6).opened(lookSheet())
	rods := e.joinAll()
	e.day(rods[:5], 1, inTurn) // 20 of 24 fish
	w.ok(w.s.LookWhenDue(w.ctx))
	_, err := w.s.RequestAnalysis(w.ctx, e.organiser, e.trial)
	wantKind(t, err, trial.Conflict, "look.not_due")
	if !strings.Contains(err.Error(), "24") || !strings.Contains(err.Error(), "20") {
		t.Errorf("who asks too early learns what is waited for: %v", err)
	}
	e.day(rods[5:], 1, inTurn)
	w.ok(w.s.LookWhenDue(w.ctx))
	w.ok(w.s.Checkpoint(w.ctx))
	w.ok(w.s.LookWhenDue(w.ctx))
	looks := e.looks()
	if len(looks) != 1 || looks[0].Fish != 24 || looks[0].Anglers != 6 || looks[0].Decision != "" || !looks[0].By.IsZero() {
		t.Fatalf("one look is made, at 24 fish of 6 anglers, by the service: %+v", looks)
	}
	_, err = w.s.RequestAnalysis(w.ctx, e.organiser, e.trial)
	wantKind(t, err, trial.Conflict, "look.not_due")

	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	look := e.looks()[0]
	if look.Decision != trial.GoOn {
		t.Errorf("equal shares do not stop a trial: %+v", look)
	}
	for what, number := range map[string]*float64{"information": look.Information, "spent": look.Spent, "boundary": look.BoundaryP, "p": look.P, "log odds": look.LogOdds, "evidence": look.EValue} {
		if number != nil {
			t.Errorf("a hidden look shows its %s, %g", what, *number)
		}
	}
	for _, who := range []trial.Actor{e.organiser, e.eyes, e.anglers[0]} {
		_, err := w.s.Analysis(w.ctx, who, e.trial, 1)
		wantKind(t, err, trial.Conflict, "analysis.hidden")
		wantKind(t, w.s.Report(w.ctx, who, e.trial, 1, conduct.ReportPage, &bytes.Buffer{}), trial.Conflict, "analysis.hidden")
		for _, a := range must(w.s.Analyses(w.ctx, who, e.trial))(t) {
			if !a.Fingerprint.IsZero() || a.Result != nil || a.Input != nil {
				t.Errorf("the list shows what a look counted: %+v", a)
			}
		}
	}

	e.day(rods, 4, mostlyTest) // all 96 and more: only one look is due at a time
	for n := 2; n <= 3; n++ {
		w.ok(w.s.LookWhenDue(w.ctx))
		if looks := e.looks(); len(looks) < n {
			break // an earlier look ended the trial
		}
		w.ok(w.s.Analyse(w.ctx, e.trial, n))
	}
	w.ok(w.s.LookWhenDue(w.ctx))
	made := e.looks()
	if len(made) > 3 {
		t.Fatalf("of 4 looks the last is the closing one, but %d were made before", len(made))
	}
	e.lock()
	closing := must(w.s.Trial(w.ctx, e.organiser, e.trial))(t).Closing
	w.ok(w.s.Analyse(w.ctx, e.trial, closing))
	for _, l := range e.looks() {
		if l.P == nil || l.BoundaryP == nil || l.Information == nil || l.Spent == nil {
			t.Errorf("a locked trial shows its looks: %+v", l)
			continue
		}
		if crossed := *l.P <= *l.BoundaryP; crossed != (l.Decision == trial.Stop) {
			t.Errorf("look %d: p %g against %g decided %s", l.N, *l.P, *l.BoundaryP, l.Decision)
		}
	}
	m := e.result(closing).Monitoring
	if m == nil || m.Adjusted == nil || m.Rule != trial.GroupSequential || m.Planned != 4 {
		t.Fatalf("the closing count allows for the looks: %+v", m)
	}
	if ended := m.Looks[len(m.Looks)-1]; ended.Decision != trial.Stop || m.Adjusted.P > .05 || m.Adjusted.Low <= 0 {
		t.Errorf("three of four fish on the test pattern end the trial for it: %+v, %+v", ended, m.Adjusted)
	}
	if h := e.result(closing).Headline; *h.Low != m.Adjusted.Low || *h.P != m.Adjusted.P {
		t.Errorf("the headline speaks with the looks allowed for: %+v, want %+v", h, m.Adjusted)
	}
	if m.EValue == nil || m.Evidence == nil || len(m.Evidence.Path) == 0 {
		t.Errorf("a drawn trial has evidence from its draw: %+v", m.Evidence)
	}
}

// The evidence may be looked at once a day; whether members read it is the protocol's to say.
func TestEvidenceAtAnyTime(t *testing.T) {
	t.Parallel()
	for _, open := range []bool{false, true} {
		w := newWorld(t)
		p := ruleSheet()
		p.Stopping, p.EvidenceOpen = trial.Anytime, open
		e := w.newClub("Wend Grayling Club", 4).opened(p)
		rods := e.joinAll()
		w.ok(w.s.LookWhenDue(w.ctx))
		if len(e.looks()) != 0 {
			t.Fatal("there is nothing to look at")
		}
		for day := 1; day <= 3; day++ {
			e.day(rods, 2, mostlyTest)
			w.ok(w.s.LookWhenDue(w.ctx))
			w.ok(w.s.LookWhenDue(w.ctx))
			looks := e.looks()
			if len(looks) != day {
				t.Fatalf("day %d: %d looks", day, len(looks))
			}
			w.ok(w.s.Analyse(w.ctx, e.trial, looks[day-1].Analysis))
			look := e.looks()[day-1]
			if (look.EValue != nil) != open || (look.ShareLow != nil) != open || look.P != nil {
				t.Errorf("open %v: %+v", open, look)
			}
			if look.Decision == trial.Stop {
				break
			}
		}
		e.day(rods[:1], 1, inTurn)
		w.clock.move(48 * time.Hour)
		before := e.looks()
		w.ok(w.s.LookWhenDue(w.ctx))
		if stopped := before[len(before)-1].Decision == trial.Stop; stopped != (len(e.looks()) == len(before)) {
			t.Errorf("after a look that stops the trial there is none: %d after %+v", len(e.looks()), before)
		}
	}
}

func TestNoteTellsNoSplit(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 6).opened(lookSheet())
	e.day(e.joinAll(), 1, mostlyTest)
	note := must(w.s.Note(w.ctx, e.anglers[0], e.trial))(t)
	for _, want := range []string{"24 fish", "6 anglers", "6 outings", "Next count: look 1 is due now"} {
		if !strings.Contains(note, want) {
			t.Errorf("the note lacks %q:\n%s", want, note)
		}
	}
	for _, pattern := range []string{"collared", "plain nymph", "point", "dropper"} {
		if strings.Contains(note, pattern) {
			t.Errorf("the note speaks of %q:\n%s", pattern, note)
		}
	}
}

// A look tells no more than its decision: two copies of a trial with opposite splits, whose look decided to go on, answer
// alike to whatever anybody else asks, and so do two under anytime whose evidence is not open.
func TestLooksHideTheSplit(t *testing.T) {
	t.Parallel()
	anytime := ruleSheet()
	anytime.Stopping = trial.Anytime
	strict := lookSheet()
	strict.Looks.Spending = trial.SpendOBrienFleming
	for name, p := range map[string]trial.Protocol{"planned looks": strict, "anytime": anytime} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			play := func(codes string) []string {
				w := newWorld(t)
				e := w.newClub("Wend Grayling Club", 9).opened(p)
				var rods []*rod
				for _, a := range e.anglers[3:] { // the first three only watch
					rods = append(rods, e.join(a))
				}
				e.day(rods, 1, func(n int) string { return codes[n%8 : n%8+1] })
				w.ok(w.s.LookWhenDue(w.ctx))
				w.ok(w.s.Analyse(w.ctx, e.trial, 1))
				if look := e.looks()[0]; look.Decision != trial.GoOn {
					t.Fatalf("the look says %q", look.Decision)
				}
				outings := must(w.s.Outings(w.ctx, rods[0].actor, e.trial, everything))(t)
				return said(w, e, target{club: e.id, trial: e.trial, outing: outings[0].Outing.ID, analysis: 1})
			}
			want, got := play("CCNCNCCN"), play("NNCNCNNC")
			for i := range want {
				if i < len(got) && got[i] != want[i] {
					t.Errorf("the answer depends on the flies taken:\n%s\n%s", want[i], got[i])
				}
			}
			if len(want) != len(got) || len(want) < 200 {
				t.Errorf("%d and %d answers were compared", len(want), len(got))
			}
		})
	}
}
