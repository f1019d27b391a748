package conduct_test

import (
	"fmt"
	"testing"
	"time"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// A catch sent again is the catch that stands: after nothing happened, after a correction, after it was voided, after
// closing and after locking; it is stored once.
func TestCatchSentAgain(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	fish := r.fish(period, "C")
	first := must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, fish))(t)
	if !first.Created || first.Receipt == nil || first.Receipt.Hash.IsZero() || first.Receipt.ChainID != r.enrolment || first.Catch.Version != 1 {
		t.Fatalf("first: %+v", first)
	}
	again := func(when string, version int) trial.Catch {
		t.Helper()
		view := must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, fish))(t)
		if view.Created || view.Receipt == nil || *view.Receipt != *first.Receipt || view.Catch.Version != version {
			t.Errorf("%s: created %t, version %d, receipt %+v; want the same receipt %+v and version %d", when, view.Created, view.Catch.Version, view.Receipt, first.Receipt, version)
		}
		return view.Catch
	}
	again("at once", 1)
	w.clock.move(20 * time.Minute)
	again("later", 1)
	// The same instant written with another offset is the same record.
	elsewhere := fish
	elsewhere.CaughtAt, elsewhere.NotedAt = fish.CaughtAt.In(time.FixedZone("", 7200)), fish.NotedAt.In(time.FixedZone("", 7200))
	if view, err := w.s.SubmitCatch(w.ctx, r.actor, e.trial, elsewhere); err != nil || view.Created {
		t.Errorf("in another zone: created %t, %v", view.Created, err)
	}
	must(w.s.AmendCatch(w.ctx, r.actor, e.trial, fish.ID, patchOf(t, 1, map[string]any{"taken_pattern": "N"})))(t)
	if c := again("after a correction", 2); c.TakenPattern != "N" {
		t.Errorf("after a correction it is %+v", c)
	}
	must(w.s.AmendCatch(w.ctx, r.actor, e.trial, fish.ID, patchOf(t, 2, map[string]any{"void": true})))(t)
	if c := again("after it was voided", 3); !c.Void {
		t.Errorf("after it was voided it is %+v", c)
	}
	e.move(trial.Paused)
	again("in a pause", 3)
	e.move(trial.Closed)
	again("after closing", 3)
	w.clock.move(2 * time.Hour)
	e.move(trial.Locked)
	again("after locking", 3)
	if list := must(w.s.Catches(w.ctx, r.actor, e.trial, everything))(t); len(list) != 1 {
		t.Errorf("%d catches, want 1", len(list))
	}
}

// Other content under an id that stands is a conflict, an id of another angler's too, about which nothing is said.
func TestCatchConflicts(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	other, _, _, otherPeriod := e.inAPeriod(e.anglers[1])
	fish := r.land(period, "C")
	changed := fish
	changed.TakenPattern = "N"
	_, own := w.s.SubmitCatch(w.ctx, r.actor, e.trial, changed)
	wantKind(t, own, trial.Conflict, "record.conflict")
	theirs := other.fish(otherPeriod, "C")
	theirs.ID = fish.ID
	view, foreign := w.s.SubmitCatch(w.ctx, other.actor, e.trial, theirs)
	wantKind(t, foreign, trial.Conflict, "record.conflict")
	if view.Catch.ID != (trial.ID{}) || own == nil || foreign == nil || own.Error() != foreign.Error() {
		t.Errorf("another's id says %+v, %v; one's own %v", view, foreign, own)
	}
	// Even the very same record is not another's to replay.
	_, err := w.s.SubmitCatch(w.ctx, other.actor, e.trial, fish)
	wantKind(t, err, trial.Conflict, "record.conflict")
	if got := must(w.s.Catch(w.ctx, r.actor, e.trial, fish.ID))(t); got.Catch.TakenPattern != "C" || got.Catch.Version != 1 {
		t.Errorf("the fish became %+v", got.Catch)
	}
	// A new fish in another angler's period.
	_, err = w.s.SubmitCatch(w.ctx, other.actor, e.trial, other.fish(period, "C"))
	wantKind(t, err, trial.NotFound, "not_found")
	for _, read := range []func() error{
		func() error { _, err := w.s.Catch(w.ctx, other.actor, e.trial, fish.ID); return err },
		func() error { _, err := w.s.Period(w.ctx, other.actor, e.trial, period); return err },
		func() error {
			_, err := w.s.AmendCatch(w.ctx, other.actor, e.trial, fish.ID, patchOf(t, 1, map[string]any{"taken_pattern": "N"}))
			return err
		},
		func() error {
			_, err := w.s.AmendPeriod(w.ctx, other.actor, e.trial, period, patchOf(t, 1, map[string]any{"fished": "test_lower"}))
			return err
		},
		func() error {
			_, err := w.s.EndPeriod(w.ctx, other.actor, e.trial, period, trial.PeriodEnd{EndedAt: w.clock.read(), Reason: "other"})
			return err
		},
	} {
		wantKind(t, read(), trial.NotFound, "not_found")
	}
	_, err = w.s.Amendments(w.ctx, other.actor, e.trial, fish.ID)
	wantKind(t, err, trial.NotFound, "not_found")
}

// Every field of a fish is refused by name and saves nothing.
func TestBadCatchSavesNothing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	_, err := w.s.SubmitCatch(w.ctx, r.actor, e.trial, trial.Catch{ID: w.id(), PeriodID: period})
	wantFields(t, err, "taken_pattern", "outcome", "origin", "species", "caught_at", "noted_at")
	unit := must(w.s.Units(w.ctx, r.actor, e.trial))(t)[0]
	both := r.fish(period, "C")
	both.TakenPosition = trial.Lower
	if unit.Lower == "C" {
		both.TakenPosition = trial.Upper
	}
	_, err = w.s.SubmitCatch(w.ctx, r.actor, e.trial, both)
	wantKind(t, err, trial.Invalid, "catch.disagrees")
	early := r.fish(period, "C")
	early.CaughtAt, early.NotedAt = morning.AddDate(0, 0, -3), morning.AddDate(0, 0, -3)
	_, err = w.s.SubmitCatch(w.ctx, r.actor, e.trial, early)
	wantKind(t, err, trial.Conflict, "trial.before")
	if list := must(w.s.Catches(w.ctx, r.actor, e.trial, everything))(t); len(list) != 0 {
		t.Errorf("something was saved: %+v", list)
	}
}

// A batch gives one outcome for each catch in its order; a bad one spoils no other, one twice is one fish, and one id
// with two contents is a conflict.
func TestBatch(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	a, b := r.fish(period, "C"), r.fish(period, "N")
	bad, lost := r.fish(period, "Z"), r.fish(w.id(), "C")
	other := b
	other.Note = "another note"
	got := must(w.s.SubmitBatch(w.ctx, r.actor, e.trial, []trial.Catch{a, bad, b, a, lost, other, b}))(t)
	if len(got) != 7 {
		t.Fatalf("%d outcomes of 7", len(got))
	}
	for i, c := range []struct {
		created bool
		kind    trial.Kind
		code    string
	}{
		{true, 0, ""},
		{false, trial.Invalid, "catch.invalid"},
		{true, 0, ""},
		{false, 0, ""},
		{false, trial.NotFound, "not_found"},
		{false, trial.Conflict, "record.conflict"},
		{false, 0, ""},
	} {
		if c.code != "" {
			wantKind(t, got[i].Err, c.kind, c.code)
		} else if got[i].Err != nil || got[i].View.Created != c.created {
			t.Errorf("outcome %d: created %t, %v; want %t", i, got[i].View.Created, got[i].Err, c.created)
		}
	}
	if *got[0].View.Receipt != *got[3].View.Receipt || *got[2].View.Receipt != *got[6].View.Receipt {
		t.Error("the same fish twice got two receipts")
	}
	if list := must(w.s.Catches(w.ctx, r.actor, e.trial, everything))(t); len(list) != 2 {
		t.Errorf("%d catches, want 2", len(list))
	}
	if none := must(w.s.SubmitBatch(w.ctx, r.actor, e.trial, nil))(t); len(none) != 0 {
		t.Errorf("an empty batch has outcomes: %+v", none)
	}
}

// Outings, periods, their ends, reports and the next unit are replayed like catches: the same again changes nothing,
// other content is a conflict.
func TestEverythingElseSentAgain(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	r, other := e.join(e.anglers[0]), e.join(e.anglers[1])
	o := trial.Outing{ID: w.id(), Water: "Upper Wend", StartedAt: w.clock.read(), WaterTemperature: &trial.Measure{Value: 54.5, Unit: "F"}, Note: "low water"}
	openOuting := func(a trial.Actor, o trial.Outing) (bool, error) {
		v, err := w.s.OpenOuting(w.ctx, a, e.trial, o)
		return v.Created, err
	}
	changedOuting := o
	changedOuting.Note = "high water"
	replays(t, "outing", r.actor, other.actor, openOuting, o, changedOuting)

	unit := w.id()
	fetch := func(id trial.ID) conduct.UnitView { return must(w.s.FetchUnit(w.ctx, r.actor, e.trial, id))(t) }
	first := fetch(unit)
	w.clock.move(time.Minute)
	second := fetch(unit)
	if !first.Created || second.Created || !first.Unit.FetchedAt.Equal(second.Unit.FetchedAt) || first.Unit.First != second.Unit.First || second.Unit.N != 1 {
		t.Errorf("fetched %+v, again %+v", first, second)
	}
	if next := fetch(w.id()); next.Unit.N != 2 {
		t.Errorf("the next unit is number %d", next.Unit.N)
	}

	p := trial.Period{ID: w.id(), OutingID: o.ID, UnitID: unit, Half: 1, Confirmed: true, StartedAt: w.clock.read()}
	begin := func(a trial.Actor, p trial.Period) (bool, error) {
		v, err := w.s.BeginPeriod(w.ctx, a, e.trial, p)
		return v.Created, err
	}
	changedPeriod := p
	changedPeriod.Confirmed = false
	replays(t, "period", r.actor, other.actor, begin, p, changedPeriod)

	w.clock.move(30 * time.Minute)
	d := trial.Deviation{ID: w.id(), OutingID: o.ID, PeriodID: p.ID, Kind: trial.SpacingChanged, FromAt: w.clock.read(), Note: "shortened by a snag"}
	report := func(a trial.Actor, d trial.Deviation) (bool, error) {
		v, err := w.s.ReportDeviation(w.ctx, a, e.trial, d)
		return v.Created, err
	}
	changedReport := d
	changedReport.Kind = trial.DepthChanged
	replays(t, "report", r.actor, other.actor, report, d, changedReport)

	now := w.clock.read()
	end := trial.PeriodEnd{EndedAt: now, SwapNowAt: &now, Reason: trial.EndedByRule}
	endPeriod := func(a trial.Actor, end trial.PeriodEnd) (bool, error) {
		v, err := w.s.EndPeriod(w.ctx, a, e.trial, p.ID, end)
		return v.Created, err
	}
	changedEnd := end
	changedEnd.Reason = "could_not_swap"
	replays(t, "period's end", r.actor, trial.Actor{}, endPeriod, end, changedEnd)
	outingEnd := trial.OutingEnd{EndedAt: now, Reason: "planned", NotLogged: 1}
	endOuting := func(a trial.Actor, end trial.OutingEnd) (bool, error) {
		v, err := w.s.EndOuting(w.ctx, a, e.trial, o.ID, end)
		return v.Created, err
	}
	changedOutingEnd := outingEnd
	changedOutingEnd.NotLogged = 2
	replays(t, "outing's end", r.actor, trial.Actor{}, endOuting, outingEnd, changedOutingEnd)

	// What was sent comes back as it was sent.
	back := must(w.s.Outing(w.ctx, r.actor, e.trial, o.ID))(t).Outing
	if back.Note != o.Note || *back.WaterTemperature != *o.WaterTemperature || !back.StartedAt.Equal(o.StartedAt) || back.End == nil || back.End.NotLogged != 1 {
		t.Errorf("outing %+v, sent %+v", back, o)
	}
	reports := must(w.s.Deviations(w.ctx, r.actor, e.trial, o.ID))(t)
	if len(reports) != 1 || reports[0].Note != d.Note || reports[0].Kind != d.Kind || !reports[0].FromAt.Equal(d.FromAt) {
		t.Errorf("reports %+v, sent %+v", reports, d)
	}
	periods := must(w.s.Periods(w.ctx, r.actor, e.trial, o.ID))(t)
	if len(periods) != 1 || periods[0].Period.Drawn != first.Unit.First || periods[0].Period.Fished != first.Unit.First || periods[0].Period.End == nil {
		t.Errorf("periods %+v; unit %+v", periods, first)
	}
	units := must(w.s.Units(w.ctx, r.actor, e.trial))(t)
	if len(units) != 2 || units[0].Unit.OpenedAt == nil || !units[0].Unit.OpenedAt.Equal(p.StartedAt) || units[0].Unit.FetchedAt.Equal(p.StartedAt) || units[1].Unit.OpenedAt != nil {
		t.Errorf("units %+v", units)
	}
}

// replays sends a record, the same again, and another under its id, as its angler and as somebody else.
func replays[T any](t *testing.T, what string, angler, stranger trial.Actor, send func(trial.Actor, T) (bool, error), record, changed T) {
	t.Helper()
	for i := range 3 {
		if created, err := send(angler, record); err != nil || created != (i == 0) {
			t.Errorf("%s, time %d: created %t, %v", what, i+1, created, err)
		}
	}
	_, err := send(angler, changed)
	wantKind(t, err, trial.Conflict, "record.conflict")
	if stranger != (trial.Actor{}) {
		_, err := send(stranger, record)
		wantKind(t, err, trial.Conflict, "record.conflict")
	}
}

// Erased is gone: no replay of anything brings it back, nothing of it is read, and the chains still verify.
func TestErased(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	kept, _, _, keptPeriod := e.inAPeriod(e.anglers[1])
	fish := r.land(period, "C")
	kept.land(keptPeriod, "N")
	must(w.s.AmendCatch(w.ctx, r.actor, e.trial, fish.ID, patchOf(t, 1, map[string]any{"note": "a private word"})))(t)
	w.ok(w.s.Withdraw(w.ctx, r.actor, e.trial, true))

	_, err := w.s.SubmitCatch(w.ctx, r.actor, e.trial, fish)
	wantKind(t, err, trial.Gone, "record.erased")
	other := fish
	other.TakenPattern = "N"
	_, err = w.s.SubmitCatch(w.ctx, r.actor, e.trial, other)
	wantKind(t, err, trial.Gone, "record.erased")
	for name, read := range map[string]func() error{
		"catch":   func() error { _, err := w.s.Catch(w.ctx, r.actor, e.trial, fish.ID); return err },
		"catches": func() error { _, err := w.s.Catches(w.ctx, r.actor, e.trial, everything); return err },
		"amendments": func() error {
			list, err := w.s.Amendments(w.ctx, r.actor, e.trial, fish.ID)
			if len(list) > 0 {
				t.Errorf("amendments of an erased record: %+v", list)
			}
			return err
		},
	} {
		if trial.KindOf(read()) != trial.NotFound && trial.KindOf(read()) != trial.Gone {
			t.Errorf("%s of an erased enrolment: %v", name, read())
		}
	}
	progress := must(w.s.Progress(w.ctx, e.organiser, e.trial))(t)
	if progress.Catches != 1 {
		t.Errorf("%d catches counted, want the one that was kept", progress.Catches)
	}
	checked := must(w.s.Check(w.ctx))(t)
	if len(checked.Faults) > 0 || checked.Chains != 3 {
		t.Errorf("check: %+v", checked)
	}
	for _, x := range must(w.s.Enrolments(w.ctx, e.organiser, e.trial))(t) {
		if x.ID == r.enrolment && (x.AccountID != (trial.ID{}) || x.Name != "" || x.Code != [32]byte{} || x.ErasedAt == nil) {
			t.Errorf("the erased enrolment still says %+v", x)
		}
	}
}

// Who leaves and lets the records stay takes no further part, while what was caught stays and is sent again like any.
func TestLeaving(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	fish := r.land(period, "C")
	w.ok(w.s.Withdraw(w.ctx, r.actor, e.trial, false))
	w.ok(w.s.Withdraw(w.ctx, r.actor, e.trial, false))
	_, err := w.s.FetchUnit(w.ctx, r.actor, e.trial, w.id())
	wantKind(t, err, trial.Conflict, "enrolment.left")
	_, err = w.s.OpenOuting(w.ctx, r.actor, e.trial, trial.Outing{ID: w.id(), Water: "Upper Wend", StartedAt: w.clock.read()})
	wantKind(t, err, trial.Conflict, "enrolment.left")
	if view, err := w.s.SubmitCatch(w.ctx, r.actor, e.trial, fish); err != nil || view.Created {
		t.Errorf("sent again after leaving: created %t, %v", view.Created, err)
	}
	if list := must(w.s.Catches(w.ctx, r.actor, e.trial, everything))(t); len(list) != 1 {
		t.Errorf("%d catches after leaving, want 1", len(list))
	}
	if view := must(w.s.Trial(w.ctx, e.organiser, e.trial))(t); view.ActiveAnglers != 0 {
		t.Errorf("%d active anglers", view.ActiveAnglers)
	}
}

// Enrolling again says the same; another code or a second enrolment of one account is refused; an id that is taken too.
func TestEnrolling(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	r := e.join(e.anglers[0])
	sent := trial.Enrolment{ID: r.enrolment, Code: r.code, Consent: allTicks}
	again, err := w.s.Enrol(w.ctx, r.actor, e.trial, sent)
	own := must(w.s.Enrolment(w.ctx, r.actor, e.trial))(t)
	if err != nil || again.Created || again.Enrolment.Pseudonym != own.Pseudonym || len(own.Pseudonym) != 6 || own.Code != r.code {
		t.Errorf("again %+v, %v; it stands as %+v", again, err, own)
	}
	other := sent
	other.Code[0]++
	_, err = w.s.Enrol(w.ctx, r.actor, e.trial, other)
	wantKind(t, err, trial.Conflict, "enrolment.exists")
	other = sent
	other.ID = w.randomID()
	_, err = w.s.Enrol(w.ctx, r.actor, e.trial, other)
	wantKind(t, err, trial.Conflict, "enrolment.exists")
	_, err = w.s.Enrol(w.ctx, e.anglers[1], e.trial, sent)
	wantKind(t, err, trial.Conflict, "")
	_, err = w.s.Enrol(w.ctx, e.anglers[1], e.trial, trial.Enrolment{})
	wantFields(t, err, "enrolment", "code", "consent.take_part", "consent.store", "consent.share_pseudonymous", "consent.licence_confirmed", "consent.adult_or_guardian")
	_, err = w.s.Enrol(w.ctx, e.eyes, e.trial, trial.Enrolment{ID: w.randomID(), Code: [32]byte{1}, Consent: allTicks})
	wantKind(t, err, trial.Forbidden, "forbidden")
	if _, err := w.s.Catches(w.ctx, e.anglers[1], e.trial, everything); trial.KindOf(err) != trial.NotFound {
		t.Errorf("who has not joined reads catches: %v", err)
	}
}

// The rules of a unit and its halves hold through the database.
func TestUnitsInOrder(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := ruleSheet()
	p.Draw.TripUnits = 2
	e := w.newClub("Wend Grayling Club", 1).opened(p)
	r := e.join(e.anglers[0])
	outing := r.outing()
	first, second := r.unit(), r.unit()
	_, err := w.s.FetchUnit(w.ctx, r.actor, e.trial, w.id())
	wantKind(t, err, trial.Conflict, "unit.waiting")
	_, err = w.s.FetchUnit(w.ctx, r.actor, e.trial, trial.ID{1, 2, 3, 4, 5, 6, 0x40, 8})
	wantFields(t, err, "unit")
	begin := func(unit trial.ID, half int) error {
		_, err := w.s.BeginPeriod(w.ctx, r.actor, e.trial, trial.Period{ID: w.id(), OutingID: outing, UnitID: unit, Half: half, Confirmed: true, StartedAt: w.clock.read()})
		return err
	}
	wantKind(t, begin(second, 1), trial.Conflict, "unit.order")
	wantKind(t, begin(first, 2), trial.Conflict, "period.half")
	wantKind(t, begin(w.id(), 1), trial.NotFound, "not_found")
	wantFields(t, begin(first, 3), "half")
	w.ok(begin(first, 1))
	wantKind(t, begin(first, 1), trial.Conflict, "period.half")
	w.clock.move(time.Minute)
	moved := trial.Deviation{ID: w.id(), OutingID: outing, Kind: trial.Moved, Water: "Mill Reach", FromAt: w.clock.read()}
	must(w.s.ReportDeviation(w.ctx, r.actor, e.trial, moved))(t)
	wantKind(t, begin(first, 2), trial.Conflict, "period.moved")
	w.ok(begin(second, 1))
	must(w.s.EndOuting(w.ctx, r.actor, e.trial, outing, trial.OutingEnd{EndedAt: w.clock.read(), Reason: "planned"}))(t)
	w.clock.move(time.Hour)
	wantKind(t, begin(second, 2), trial.Conflict, "outing.ended")
	outing = r.outing()
	wantKind(t, begin(second, 2), trial.Conflict, "period.outing")
	e.move(trial.Paused)
	_, err = w.s.FetchUnit(w.ctx, r.actor, e.trial, w.id())
	wantKind(t, err, trial.Conflict, "trial.state")
	if view := must(w.s.FetchUnit(w.ctx, r.actor, e.trial, second))(t); view.Created || view.Unit.N != 2 {
		t.Errorf("a unit handed out before the pause: %+v", view)
	}
}

// No unit is handed out while the water is too warm for the fish (trout and grayling: stop at 20 degrees C, DAERA's
// guidance; 69.8 degrees F = 21).
func TestWarmWaterStops(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r := e.join(e.anglers[0])
	o := trial.Outing{ID: w.id(), Water: "Upper Wend", StartedAt: w.clock.read(), WaterTemperature: &trial.Measure{Value: 69.8, Unit: "F"}}
	view := must(w.s.OpenOuting(w.ctx, r.actor, e.trial, o))(t)
	if view.Welfare != trial.WelfareStop {
		t.Errorf("at 21 degrees C: %s", view.Welfare)
	}
	_, err := w.s.FetchUnit(w.ctx, r.actor, e.trial, w.id())
	wantKind(t, err, trial.Conflict, "welfare.stop")
	must(w.s.EndOuting(w.ctx, r.actor, e.trial, o.ID, trial.OutingEnd{EndedAt: w.clock.read(), Reason: "warm_water"}))(t)
	w.clock.move(20 * time.Hour)
	cool := trial.Outing{ID: w.id(), Water: "Upper Wend", StartedAt: w.clock.read(), WaterTemperature: &trial.Measure{Value: 12, Unit: "C"}}
	must(w.s.OpenOuting(w.ctx, r.actor, e.trial, cool))(t)
	r.unit()
}

// How far the swap rule has come is said of one's own period: two fish or 45 minutes, not sure counts, lost does not.
func TestSwapDueThroughTheDay(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, unit, period := e.inAPeriod(e.anglers[0])
	want := func(when string, counted int, due bool) {
		t.Helper()
		v := must(w.s.Period(w.ctx, r.actor, e.trial, period))(t)
		if v.Swap.Fish != counted || v.Swap.Due != due {
			t.Errorf("%s: %d fish, due %t; want %d, %t", when, v.Swap.Fish, v.Swap.Due, counted, due)
		}
	}
	want("at first", 0, false)
	lost := r.fish(period, "C")
	lost.Outcome = trial.Lost
	must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, lost))(t)
	want("one lost", 0, false)
	r.land(period, "unknown")
	want("one not sure", 1, false)
	r.land(period, "N")
	want("two", 2, true)
	r.swap(period)
	want("swapped", 2, false)
	period = r.begin(must(w.s.Outings(w.ctx, r.actor, e.trial, everything))(t)[0].Outing.ID, unit, 2)
	want("counting anew", 0, false)
	w.clock.move(45 * time.Minute)
	want("by time", 0, true)
}

// Lists come in pages by id: every record once, in order, none of another's.
func TestPages(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	other, _, _, otherPeriod := e.inAPeriod(e.anglers[1])
	want := map[trial.ID]bool{}
	for range 7 {
		want[r.land(period, "C").ID] = true
		other.land(otherPeriod, "N")
	}
	var after trial.ID
	seen := map[trial.ID]bool{}
	for pages := 0; ; pages++ {
		list := must(w.s.Catches(w.ctx, r.actor, e.trial, trial.Page{After: after, Limit: 3}))(t)
		if len(list) == 0 {
			break
		}
		if len(list) > 3 || pages > 4 {
			t.Fatalf("page %d has %d fish", pages, len(list))
		}
		for _, v := range list {
			if seen[v.Catch.ID] || !want[v.Catch.ID] || fmt.Sprint(v.Catch.ID) <= fmt.Sprint(after) {
				t.Errorf("fish %s after %s", v.Catch.ID, after)
			}
			seen[v.Catch.ID], after = true, v.Catch.ID
		}
	}
	if len(seen) != 7 {
		t.Errorf("%d fish in all pages, want 7", len(seen))
	}
}
