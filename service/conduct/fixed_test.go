package conduct_test

import (
	"testing"
	"time"

	"evenrig/service/trial"
)

// Once a trial is locked, and its seed and result can be read, nothing that an angler sends changes which fish are
// analysed: ends and reports are refused like corrections, while late fish are kept with their outing and period. What
// was sent before is answered as before.
func TestLockFixesWhichFishAreAnalysed(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, outing, unit, period := e.inAPeriod(e.anglers[0])
	begun := w.clock.read()
	fish := r.land(period, "C")
	w.clock.move(time.Minute)
	spare := r.unit()
	report := trial.Deviation{ID: w.id(), OutingID: outing, PeriodID: period, Kind: trial.CouldNotSwap, FromAt: w.clock.read()}
	must(w.s.ReportDeviation(w.ctx, r.actor, e.trial, report))(t)
	late := w.clock.read()
	e.lock()
	before := must(w.s.Progress(w.ctx, e.organiser, e.trial))(t)
	if before.Analysed != 1 {
		t.Fatalf("progress at the lock: %+v", before)
	}

	for _, kind := range []trial.DeviationKind{trial.ThirdFly, trial.WrongWayRound, trial.OffTrial} {
		_, err := w.s.ReportDeviation(w.ctx, r.actor, e.trial, trial.Deviation{ID: w.id(), OutingID: outing, PeriodID: period, Kind: kind, FromAt: begun.Add(-time.Minute)})
		wantKind(t, err, trial.Conflict, "trial.locked")
	}
	swapNow := begun.Add(-time.Minute)
	_, err := w.s.EndPeriod(w.ctx, r.actor, e.trial, period, trial.PeriodEnd{SwapNowAt: &swapNow, EndedAt: begun, Reason: trial.EndedByRule})
	wantKind(t, err, trial.Conflict, "trial.locked")
	_, err = w.s.EndOuting(w.ctx, r.actor, e.trial, outing, trial.OutingEnd{EndedAt: begun.Add(-time.Minute), Reason: "planned"})
	wantKind(t, err, trial.Conflict, "trial.locked")
	_, err = w.s.AmendCatch(w.ctx, r.actor, e.trial, fish.ID, patchOf(t, 1, map[string]any{"void": true}))
	wantKind(t, err, trial.Conflict, "trial.locked")
	_, err = w.s.AmendPeriod(w.ctx, r.actor, e.trial, period, patchOf(t, 1, map[string]any{"confirmed": false}))
	wantKind(t, err, trial.Conflict, "trial.locked")
	if again := must(w.s.ReportDeviation(w.ctx, r.actor, e.trial, report))(t); again.Created {
		t.Error("a report sent again was made anew")
	}

	// The rest of the outing, from a phone that found signal only now.
	second := trial.Period{ID: w.id(), OutingID: outing, UnitID: unit, Half: 2, Confirmed: true, StartedAt: late}
	must(w.s.BeginPeriod(w.ctx, r.actor, e.trial, second))(t)
	other := trial.Outing{ID: w.id(), Water: "Mill Reach", StartedAt: late}
	must(w.s.OpenOuting(w.ctx, r.actor, e.trial, other))(t)
	third := trial.Period{ID: w.id(), OutingID: other.ID, UnitID: spare, Half: 1, Confirmed: true, StartedAt: late}
	must(w.s.BeginPeriod(w.ctx, r.actor, e.trial, third))(t)
	for _, p := range []trial.ID{period, second.ID, third.ID} {
		f := r.fish(p, "N")
		f.CaughtAt, f.NotedAt = late, late
		if v := must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, f))(t); !v.Catch.AfterLock {
			t.Errorf("sent after the lock: %+v", v.Catch)
		}
	}
	after := must(w.s.Progress(w.ctx, e.organiser, e.trial))(t)
	if after.Analysed != 1 || after.Catches != 4 || after.Excluded[trial.AfterLock] != 3 {
		t.Errorf("progress %+v, want the one fish analysed and 3 after the lock", after)
	}
}

// The closing analysis is the one that locking asked for, whatever is asked for before and after it.
func TestWhichAnalysisIsTheClosingOne(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	r.land(period, "C")
	stuck := r.fish(period, "N")
	w.clock.move(time.Minute)
	if v := must(w.s.Trial(w.ctx, e.eyes, e.trial))(t); v.Closing != 0 {
		t.Errorf("closing analysis %d before locking", v.Closing)
	}
	e.lock()
	w.clock.move(time.Minute)
	must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, stuck))(t)
	if again := must(w.s.RequestAnalysis(w.ctx, e.organiser, e.trial))(t); again.N != 2 {
		t.Fatalf("asked again after a late fish: analysis %d", again.N)
	}
	if v := must(w.s.Trial(w.ctx, e.eyes, e.trial))(t); v.Closing != 1 {
		t.Errorf("closing analysis %d, want 1", v.Closing)
	}
}
