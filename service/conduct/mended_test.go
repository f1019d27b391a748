package conduct_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"evenrig/service/analysis"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

func TestMendedStrangerLearnsPatterns(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	other := w.newClub("Mill Reach Anglers", 1)
	_, err := w.s.SubmitCatch(w.ctx, other.anglers[0], e.trial, trial.Catch{ID: w.id(), PeriodID: w.id(), TakenPattern: "Z"})
	if trial.KindOf(err) != trial.NotFound {
		t.Errorf("a stranger's bad catch: %v", err)
	}
	// in draft
	v := must(w.s.CreateTrial(w.ctx, e.organiser, e.id, ruleSheet()))(t)
	_, err = w.s.SubmitCatch(w.ctx, other.anglers[0], v.Trial.ID, trial.Catch{ID: w.id(), PeriodID: w.id(), TakenPattern: "Z"})
	t.Logf("draft: %v", err)
	_, err = w.s.SubmitCatch(w.ctx, e.eyes, e.trial, trial.Catch{ID: w.id(), PeriodID: w.id(), TakenPattern: "Z"})
	t.Logf("auditor: %v", err)
}

func TestMendedBothGivenCannotBeAmended(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	before := must(w.s.Period(w.ctx, r.actor, e.trial, period))(t)
	both := r.fish(period, before.Lower)
	both.TakenPosition = trial.Lower
	must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, both))(t)
	must(w.s.AmendPeriod(w.ctx, r.actor, e.trial, period, patchOf(t, 1, map[string]any{"fished": before.Period.Drawn.Other()})))(t)
	_, err := w.s.AmendCatch(w.ctx, r.actor, e.trial, both.ID, patchOf(t, 1, map[string]any{"note": "released well"}))
	if err != nil {
		t.Errorf("a note cannot be added: %v", err)
	}
}

func TestMendedAmendedPastClosing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	fish := r.land(period, "C")
	w.clock.move(time.Minute)
	e.move(trial.Closed)
	after := w.clock.move(30 * time.Minute)
	_, err := w.s.AmendCatch(w.ctx, r.actor, e.trial, fish.ID, patchOf(t, 1, map[string]any{"caught_at": after, "noted_at": after}))
	if err == nil {
		t.Error("a fish was moved to a time after closing")
	}
	_, err = w.s.AmendCatch(w.ctx, r.actor, e.trial, fish.ID, patchOf(t, 2, map[string]any{"caught_at": "2020-01-01T00:00:00Z"}))
	if err == nil {
		t.Error("a fish was moved to a time before registration")
	}
	_, err = w.s.AmendPeriod(w.ctx, r.actor, e.trial, period, patchOf(t, 1, map[string]any{"started_at": "2020-01-01T00:00:00Z"}))
	if err == nil {
		t.Error("a period was moved to a time before its outing and registration")
	}
}

func TestMendedErasedReplays(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r := e.join(e.anglers[0])
	o := trial.Outing{ID: w.id(), Water: "Upper Wend", StartedAt: w.clock.read()}
	must(w.s.OpenOuting(w.ctx, r.actor, e.trial, o))(t)
	unit := r.unit()
	p := trial.Period{ID: w.id(), OutingID: o.ID, UnitID: unit, Half: 1, Confirmed: true, StartedAt: w.clock.read()}
	must(w.s.BeginPeriod(w.ctx, r.actor, e.trial, p))(t)
	d := trial.Deviation{ID: w.id(), OutingID: o.ID, PeriodID: p.ID, Kind: trial.FlyLost, FromAt: w.clock.read()}
	must(w.s.ReportDeviation(w.ctx, r.actor, e.trial, d))(t)
	w.ok(w.s.Withdraw(w.ctx, r.actor, e.trial, true))
	_, err := w.s.OpenOuting(w.ctx, r.actor, e.trial, o)
	if trial.KindOf(err) != trial.Gone {
		t.Errorf("outing: %v", err)
	}
	_, err = w.s.BeginPeriod(w.ctx, r.actor, e.trial, p)
	if trial.KindOf(err) != trial.Gone {
		t.Errorf("period: %v", err)
	}
	_, err = w.s.ReportDeviation(w.ctx, r.actor, e.trial, d)
	if trial.KindOf(err) != trial.Gone {
		t.Errorf("report: %v", err)
	}
	_, err = w.s.Enrol(w.ctx, r.actor, e.trial, trial.Enrolment{ID: r.enrolment, Code: r.code, Consent: allTicks})
	if trial.KindOf(err) != trial.Gone {
		t.Errorf("enrolment: %v", err)
	}
	// joining anew under a new id, then the old ids
	again := e.join(r.actor)
	_, err = w.s.OpenOuting(w.ctx, again.actor, e.trial, o)
	if trial.KindOf(err) != trial.Gone {
		t.Errorf("outing, joined anew: %v", err)
	}
	_, err = w.s.FetchUnit(w.ctx, again.actor, e.trial, unit)
	t.Logf("unit, joined anew: %v", err)
	list := must(w.s.Enrolments(w.ctx, e.organiser, e.trial))(t)
	t.Logf("enrolments %d", len(list))
	t.Logf("effort %+v", must(w.s.Progress(w.ctx, e.organiser, e.trial))(t))
}

func TestMendedAnalysisBeyondItsCheckpoint(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 0).opened(recordedSheet())
	must(e.importTable("angler,lower_pattern,taken_position\nann,C,lower\nann,N,lower\n", false))(t)
	a := must(w.s.RequestAnalysis(w.ctx, e.organiser, e.trial))(t)
	must(e.importTable("angler,lower_pattern,taken_position\nbob,C,lower\nbob,N,lower\n", false))(t)
	w.ok(w.s.Analyse(w.ctx, e.trial, a.N))
	done := must(w.s.Analysis(w.ctx, e.organiser, e.trial, a.N))(t)
	r := must(analysis.Decode(done.Result))(t)
	if r.Counts.Catches != 2 {
		t.Errorf("analysis %d of checkpoint %d, taken when 2 fish stood, counts %d", a.N, done.Checkpoint, r.Counts.Catches)
	}
	b := must(w.s.RequestAnalysis(w.ctx, e.organiser, e.trial))(t)
	w.ok(w.s.Analyse(w.ctx, e.trial, b.N))
	other := must(w.s.Analysis(w.ctx, e.organiser, e.trial, b.N))(t)
	t.Logf("checkpoints %d, %d; fingerprints %s, %s", done.Checkpoint, other.Checkpoint, done.Fingerprint, other.Fingerprint)
}

func TestMendedClosingAnalysisCountsLateArrivals(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	stuck := r.fish(period, "N")
	r.land(period, "C")
	w.clock.move(time.Minute)
	e.lock()
	must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, stuck))(t)
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	res := must(analysis.Decode(must(w.s.Analysis(w.ctx, e.organiser, e.trial, 1))(t).Result))(t)
	t.Logf("closing analysis: %+v", res.Counts)
}

func TestMendedNULInDraft(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := w.newClub("Wend Grayling Club", 0)
	p := ruleSheet()
	p.Title = "Collar\x00"
	_, err := w.s.CreateTrial(w.ctx, c.organiser, c.id, p)
	if err != nil && trial.KindOf(err) == trial.Internal {
		t.Errorf("draft with NUL in its title: %v", err)
	}
	p = ruleSheet()
	p.Question = "Does it\x00 matter, one wonders?"
	_, err = w.s.CreateTrial(w.ctx, c.organiser, c.id, p)
	wantKind(t, err, trial.Invalid, "protocol.invalid")
}

func TestMendedPeriodDefaults(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r := e.join(e.anglers[0])
	outing, unit := r.outing(), r.unit()
	p := trial.Period{ID: w.id(), OutingID: outing, UnitID: unit, Half: 1, Confirmed: true, StartedAt: w.clock.read()}
	v := must(w.s.BeginPeriod(w.ctx, r.actor, e.trial, p))(t)
	p.Fished = v.Period.Fished
	_, err := w.s.BeginPeriod(w.ctx, r.actor, e.trial, p)
	if err != nil {
		t.Errorf("the same record with the default written out: %v", err)
	}
	w.ok(w.store.InReadTx(w.ctx, func(ctx context.Context, tx trial.ReadTx) error {
		parts := must(tx.PartsOf(ctx, e.trial, r.enrolment))(t)
		for _, q := range parts {
			t.Logf("%s | %s", q.Public, q.Private)
		}
		return nil
	}))
}

func TestMendedAnotherAnglersIds(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	_, outing, unit, period := e.inAPeriod(e.anglers[0])
	other := e.join(e.anglers[1])
	v, err := w.s.FetchUnit(w.ctx, other.actor, e.trial, unit)
	if trial.KindOf(err) != trial.Conflict || v != (conduct.UnitView{}) {
		t.Errorf("another's unit: %+v, %v", v, err)
	}
	o, err := w.s.Outing(w.ctx, other.actor, e.trial, outing)
	if o.Outing.Water != "" || o.Outing.ID != (trial.ID{}) {
		t.Errorf("another's outing beside the error: %+v, %v", o, err)
	}
	_ = period
	d := trial.Deviation{ID: w.id(), OutingID: outing, Kind: trial.OffTrial, FromAt: w.clock.read(), Note: "secret"}
	must(w.s.ReportDeviation(w.ctx, e.anglers[0], e.trial, d))(t)
	dv, err := w.s.Deviation(w.ctx, other.actor, e.trial, d.ID)
	if dv.Note != "" {
		t.Errorf("another's report beside the error: %+v, %v", dv, err)
	}
}

func TestMendedAfterLeaving(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, outing, unit, period := e.inAPeriod(e.anglers[0])
	onPhone := r.fish(period, "C")
	end := w.clock.read()
	w.clock.move(time.Minute)
	w.ok(w.s.Withdraw(w.ctx, r.actor, e.trial, false))
	w.clock.move(time.Minute)
	_, err := w.s.SubmitCatch(w.ctx, r.actor, e.trial, onPhone)
	t.Logf("caught before leaving, sent after: %v", err)
	later := r.fish(period, "C")
	w.clock.move(time.Hour)
	_, err = w.s.SubmitCatch(w.ctx, r.actor, e.trial, later)
	if err == nil {
		t.Error("a fish caught after leaving is taken")
	}
	_, err = w.s.EndPeriod(w.ctx, r.actor, e.trial, period, trial.PeriodEnd{EndedAt: end, SwapNowAt: &end, Reason: "swap_rule"})
	t.Logf("end of period: %v", err)
	_, err = w.s.BeginPeriod(w.ctx, r.actor, e.trial, trial.Period{ID: w.id(), OutingID: outing, UnitID: unit, Half: 2, Confirmed: true, StartedAt: end})
	if err != nil {
		t.Errorf("a half begun before leaving, sent after: %v", err)
	}
}

func TestMendedClosedService(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	s := conduct.New(w.store, conduct.Options{Clock: w.clock.read, Random: &stream{seed: 9}, Key: conduct.SealKey{1, 2, 3}})
	s.Close()
	defer func() {
		if p := recover(); p != nil {
			t.Errorf("a catch after Close: panic %v", p)
		}
	}()
	_, err := s.SubmitCatch(w.ctx, r.actor, e.trial, r.fish(period, "C"))
	t.Logf("after Close: %v", err)
}

func TestMendedWaterAcrossOutings(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := ruleSheet()
	p.Draw.BlockMaySpan = true
	e := w.newClub("Wend Grayling Club", 1).opened(p)
	r, outing, unit, period := e.inAPeriod(e.anglers[0])
	r.swap(period)
	must(w.s.EndOuting(w.ctx, r.actor, e.trial, outing, trial.OutingEnd{EndedAt: w.clock.read(), Reason: "planned"}))(t)
	w.clock.move(24 * time.Hour)
	o := trial.Outing{ID: w.id(), Water: "Mill Reach", StartedAt: w.clock.read()}
	must(w.s.OpenOuting(w.ctx, r.actor, e.trial, o))(t)
	_, err := w.s.BeginPeriod(w.ctx, r.actor, e.trial, trial.Period{ID: w.id(), OutingID: o.ID, UnitID: unit, Half: 2, Confirmed: true, StartedAt: w.clock.read()})
	if err == nil {
		t.Error("one block at two waters")
	}
}

func TestMendedEraseAfterLock(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 3).opened(ruleSheet())
	rods, _ := e.season(func(n int) string { return []string{"C", "N", "C"}[n%3] })
	e.lock()
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	w.ok(w.s.Withdraw(w.ctx, rods[0].actor, e.trial, true))
	c := must(w.s.Check(w.ctx))(t)
	if len(c.Faults) > 0 {
		t.Errorf("%+v", c)
	}
	a := must(w.s.RequestAnalysis(w.ctx, e.organiser, e.trial))(t)
	w.ok(w.s.Analyse(w.ctx, e.trial, a.N))
	r := must(analysis.Decode(must(w.s.Analysis(w.ctx, e.organiser, e.trial, a.N))(t).Result))(t)
	t.Logf("analysis %d: %+v", a.N, r.Counts)
	t.Logf("%+v", must(w.s.Progress(w.ctx, e.organiser, e.trial))(t))
	t.Logf("closing: %d", must(w.s.Trial(w.ctx, e.organiser, e.trial))(t).Closing)
}

func TestMendedAmbiguousContext(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	ctx, cancel := context.WithCancel(w.ctx)
	cancel()
	_, err := w.s.SubmitCatch(ctx, r.actor, e.trial, r.fish(period, "C"))
	t.Logf("canceled: %v kind %d", err, trial.KindOf(err))
	ctx, cancel = context.WithTimeout(w.ctx, 0)
	defer cancel()
	_, err = w.s.SubmitCatch(ctx, r.actor, e.trial, r.fish(period, "C"))
	if trial.KindOf(err) != trial.Unavailable {
		t.Errorf("deadline: %v kind %d", err, trial.KindOf(err))
	}
	_, err = w.s.Catches(ctx, r.actor, e.trial, everything)
	t.Logf("deadline: %v kind %d", err, trial.KindOf(err))
	fmt.Println()
}
