package conduct_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

// wantUnknown fails unless err says which field names a record that is not there.
func wantUnknown(t *testing.T, err error, field string) {
	t.Helper()
	wantKind(t, err, trial.NotFound, "not_found")
	if e, ok := errors.AsType[*trial.Error](err); !ok || len(e.Fields) != 1 || e.Fields[0].Field != field {
		t.Errorf("%v does not name %s", err, field)
	}
}

// A phone that sends out of order is told what to send first, and nothing of it is kept; in order all of it is taken.
func TestSentOutOfOrder(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r := e.join(e.anglers[0])
	unit := r.unit()
	now := w.clock.read()
	o := trial.Outing{ID: w.id(), Water: "Upper Wend", StartedAt: now}
	p := trial.Period{ID: w.id(), OutingID: o.ID, UnitID: unit, Half: 1, Confirmed: true, StartedAt: now}
	d := trial.Deviation{ID: w.id(), OutingID: o.ID, PeriodID: p.ID, Kind: trial.FlyLost, FromAt: now}
	fish := r.fish(p.ID, "C")
	periodEnd := trial.PeriodEnd{EndedAt: now, Reason: "other"}
	outingEnd := trial.OutingEnd{EndedAt: now, Reason: "planned"}
	sendFish := func() error { _, err := w.s.SubmitCatch(w.ctx, r.actor, e.trial, fish); return err }
	sendReport := func() error { _, err := w.s.ReportDeviation(w.ctx, r.actor, e.trial, d); return err }
	sendPeriodEnd := func() error { _, err := w.s.EndPeriod(w.ctx, r.actor, e.trial, p.ID, periodEnd); return err }
	sendPeriod := func() error { _, err := w.s.BeginPeriod(w.ctx, r.actor, e.trial, p); return err }
	sendOutingEnd := func() error { _, err := w.s.EndOuting(w.ctx, r.actor, e.trial, o.ID, outingEnd); return err }
	sendOuting := func() error { _, err := w.s.OpenOuting(w.ctx, r.actor, e.trial, o); return err }

	wantUnknown(t, sendFish(), "period")
	wantUnknown(t, sendReport(), "outing")
	wantUnknown(t, sendPeriod(), "outing")
	wantKind(t, sendPeriodEnd(), trial.NotFound, "not_found")
	wantKind(t, sendOutingEnd(), trial.NotFound, "not_found")
	w.ok(sendOuting())
	wantUnknown(t, sendReport(), "period")
	for _, send := range []func() error{sendPeriod, sendReport, sendFish, sendPeriodEnd, sendOutingEnd, sendFish, sendPeriod, sendOuting} {
		w.ok(send())
	}
	p.ID, p.UnitID, p.Half = w.id(), w.id(), 2
	wantUnknown(t, sendPeriod(), "unit")
	_, err := w.s.AmendCatch(w.ctx, r.actor, e.trial, fish.ID, patchOf(t, 1, map[string]any{"period": w.id()}))
	wantUnknown(t, err, "period")
}

// An end with other content says that it stays as it was sent, since no amendment changes it.
func TestEndsStay(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, outing, _, period := e.inAPeriod(e.anglers[0])
	now := w.clock.read()
	for _, reason := range []string{"other", "fly_lost"} {
		_, err := w.s.EndPeriod(w.ctx, r.actor, e.trial, period, trial.PeriodEnd{EndedAt: now, Reason: reason})
		wantEnd(t, err, reason != "other")
	}
	for _, reason := range []string{"planned", "tired"} {
		_, err := w.s.EndOuting(w.ctx, r.actor, e.trial, outing, trial.OutingEnd{EndedAt: now, Reason: reason})
		wantEnd(t, err, reason != "planned")
	}
}

func wantEnd(t *testing.T, err error, refused bool) {
	t.Helper()
	if !refused {
		if err != nil {
			t.Error(err)
		}
		return
	}
	wantKind(t, err, trial.Conflict, "record.conflict")
	if strings.Contains(err.Error(), "amendment") {
		t.Errorf("offers an amendment that there is not: %v", err)
	}
}

// A block by outing is two outings after each other: an outing has one period, and the second half is not left out.
func TestByOutingInOrder(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := ruleSheet()
	p.Design, p.Swap.AfterFish, p.Swap.AfterMinutes = trial.PairedByOuting, nil, nil
	e := w.newClub("Wend Grayling Club", 1).opened(p)
	r := e.join(e.anglers[0])
	units := []trial.ID{r.unit(), r.unit()}
	outings := []trial.ID{r.outing(), r.outing(), r.outing()}
	begin := func(outing, unit, half int) error {
		_, err := w.s.BeginPeriod(w.ctx, r.actor, e.trial, trial.Period{
			ID: w.id(), OutingID: outings[outing], UnitID: units[unit], Half: half, Confirmed: true, StartedAt: w.clock.read(),
		})
		return err
	}
	w.ok(begin(0, 0, 1))
	wantKind(t, begin(0, 0, 2), trial.Conflict, "period.outing")
	wantKind(t, begin(0, 1, 1), trial.Conflict, "period.outing")
	wantKind(t, begin(1, 1, 1), trial.Conflict, "unit.order")
	w.ok(begin(1, 0, 2))
	w.ok(begin(2, 1, 1))
	// A block lies at one water: at another the next unit is due, not the other half.
	away := trial.Outing{ID: w.id(), Water: "Mill Reach", StartedAt: w.clock.read()}
	must(w.s.OpenOuting(w.ctx, r.actor, e.trial, away))(t)
	outings, units = append(outings, away.ID), append(units, r.unit())
	wantKind(t, begin(3, 1, 2), trial.Conflict, "period.outing")
	w.ok(begin(3, 2, 1))
	for _, outing := range outings {
		must(w.s.EndOuting(w.ctx, r.actor, e.trial, outing, trial.OutingEnd{EndedAt: w.clock.read(), Reason: "planned"}))(t)
	}
	if progress := must(w.s.Progress(w.ctx, e.organiser, e.trial))(t); progress.Effort.Blocks != 3 || progress.Effort.FinishedBlocks != 1 {
		t.Errorf("progress %+v, want 1 of 3 blocks finished by their outings", progress.Effort)
	}
}

// A block that was left for the next unit is not taken up again.
func TestLeftBlockStaysLeft(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, outing, first, _ := e.inAPeriod(e.anglers[0])
	second := r.unit()
	r.begin(outing, second, 1)
	w.clock.move(time.Minute)
	_, err := w.s.BeginPeriod(w.ctx, r.actor, e.trial, trial.Period{ID: w.id(), OutingID: outing, UnitID: first, Half: 2, Confirmed: true, StartedAt: w.clock.read()})
	wantKind(t, err, trial.Conflict, "unit.order")
	r.begin(outing, second, 2)
}

// A unit that the phone carries is not fished in water too warm for the fish either (stop at 20 degrees C, DAERA's
// guidance on angling in warm water); who warns names the outing to end.
func TestWarmWaterStopsCarriedUnits(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r := e.join(e.anglers[0])
	unit := r.unit()
	o := trial.Outing{ID: w.id(), Water: "Upper Wend", StartedAt: w.clock.read(), WaterTemperature: &trial.Measure{Value: 20, Unit: "C"}}
	must(w.s.OpenOuting(w.ctx, r.actor, e.trial, o))(t)
	_, begun := w.s.BeginPeriod(w.ctx, r.actor, e.trial, trial.Period{ID: w.id(), OutingID: o.ID, UnitID: unit, Half: 1, Confirmed: true, StartedAt: o.StartedAt})
	_, fetched := w.s.FetchUnit(w.ctx, r.actor, e.trial, w.id())
	for _, err := range []error{begun, fetched} {
		wantKind(t, err, trial.Conflict, "welfare.stop")
		if err != nil && !strings.Contains(err.Error(), o.ID.String()) {
			t.Errorf("does not name the outing: %v", err)
		}
	}
}

// A period's start is corrected only to where the period can have begun.
func TestPeriodStaysInItsOuting(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, outing, _, period := e.inAPeriod(e.anglers[0])
	r.swap(period)
	w.clock.move(time.Hour)
	must(w.s.EndOuting(w.ctx, r.actor, e.trial, outing, trial.OutingEnd{EndedAt: w.clock.read(), Reason: "planned"}))(t)
	amend := func(seen int, start time.Time) error {
		_, err := w.s.AmendPeriod(w.ctx, r.actor, e.trial, period, patchOf(t, seen, map[string]any{"started_at": start}))
		return err
	}
	stored := must(w.s.Period(w.ctx, r.actor, e.trial, period))(t).Period
	wantFields(t, amend(1, stored.StartedAt.Add(-time.Minute)), "started_at")
	wantFields(t, amend(1, stored.End.EndedAt.Add(time.Second)), "started_at")
	wantKind(t, amend(1, w.clock.read().Add(time.Minute)), trial.Conflict, "outing.ended")
	w.ok(amend(1, stored.StartedAt.Add(time.Minute)))
}

// What the clock had put past closing can still be corrected in its other fields.
func TestCorrectedWithoutItsTime(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	ahead := r.fish(period, "C")
	ahead.CaughtAt, ahead.NotedAt = ahead.CaughtAt.Add(time.Hour), ahead.CaughtAt.Add(time.Hour)
	must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, ahead))(t)
	e.move(trial.Closed)
	must(w.s.AmendCatch(w.ctx, r.actor, e.trial, ahead.ID, patchOf(t, 1, map[string]any{"note": "my clock was an hour ahead"})))(t)
	_, err := w.s.AmendCatch(w.ctx, r.actor, e.trial, ahead.ID, patchOf(t, 2, map[string]any{"caught_at": ahead.CaughtAt.Add(-time.Minute)}))
	wantKind(t, err, trial.Conflict, "trial.closed")
	must(w.s.AmendCatch(w.ctx, r.actor, e.trial, ahead.ID, patchOf(t, 2, map[string]any{"caught_at": w.clock.read().Add(-time.Minute)})))(t)
}

// Corrections of what is not there are not an empty list.
func TestAmendmentsOfNothing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	fish := r.land(period, "C")
	other := e.join(e.anglers[1])
	for _, id := range []trial.ID{fish.ID, period} {
		if list := must(w.s.Amendments(w.ctx, r.actor, e.trial, id))(t); len(list) != 0 {
			t.Errorf("corrections of what was never corrected: %+v", list)
		}
		_, err := w.s.Amendments(w.ctx, other.actor, e.trial, id)
		wantKind(t, err, trial.NotFound, "not_found")
	}
	_, err := w.s.Amendments(w.ctx, r.actor, e.trial, w.id())
	wantKind(t, err, trial.NotFound, "not_found")
}

// The published table gives a fish the kind of water where it was caught, also after the angler had moved.
func TestExportedWaterAfterAMove(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := ruleSheet()
	p.Waters[1].WaterType = "lake"
	e := w.newClub("Wend Grayling Club", 1).opened(p)
	r, outing, _, period := e.inAPeriod(e.anglers[0])
	r.land(period, "C")
	w.clock.move(time.Minute)
	must(w.s.ReportDeviation(w.ctx, r.actor, e.trial, trial.Deviation{ID: w.id(), OutingID: outing, Kind: trial.Moved, Water: "Mill Reach", FromAt: w.clock.read()}))(t)
	r.land(r.begin(outing, r.unit(), 1), "N")
	w.clock.move(time.Minute)
	e.lock()
	var table strings.Builder
	w.ok(w.s.ExportCatches(w.ctx, e.organiser, e.trial, &table))
	lines := strings.Split(strings.TrimSpace(table.String()), "\n")
	column := slices.Index(strings.Split(lines[0], ","), "water_type")
	for i, want := range []string{"river", "lake"} {
		if got := strings.Split(lines[i+1], ",")[column]; got != want {
			t.Errorf("fish %d: water_type %q, want %q", i+1, got, want)
		}
	}
}

// A dry run says that the file was imported before; other bytes are another file.
func TestDryRunKnowsTheFile(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 0).opened(recordedSheet())
	const table = "angler,lower_pattern,taken_position,species\nIda,C,lower,Thymallus thymallus\n"
	known := func(dryRun bool, text string) bool {
		return must(w.s.ImportTable(w.ctx, e.organiser, e.trial, strings.NewReader(text), dryRun))(t).AlreadyImported
	}
	if known(true, table) || known(false, table) {
		t.Error("a new file is taken for one imported before")
	}
	if !known(true, table) || !known(false, table) {
		t.Error("the file is not known again")
	}
	if known(true, table+"Ida,N,lower,Thymallus thymallus\n") {
		t.Error("a longer file is taken for the one imported before")
	}
}
