package conduct_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// A correction keeps what was there: who, when, why, old and new; the version counts; a stale If-Match is refused.
func TestAmendCatch(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	fish := r.land(period, "C")
	view := must(w.s.AmendCatch(w.ctx, r.actor, e.trial, fish.ID, patchOf(t, 1, map[string]any{"taken_pattern": "N", "length": map[string]any{"value": 31.5, "unit": "cm"}})))(t)
	if view.Catch.Version != 2 || view.Catch.TakenPattern != "N" || view.Taken != trial.TookControl || *view.Catch.Length != (trial.Measure{Value: 31.5, Unit: "cm"}) {
		t.Errorf("corrected to %+v", view)
	}
	_, err := w.s.AmendCatch(w.ctx, r.actor, e.trial, fish.ID, patchOf(t, 1, map[string]any{"taken_pattern": "C"}))
	wantKind(t, err, trial.Stale, "version.stale")
	w.clock.move(time.Hour)
	must(w.s.AmendCatch(w.ctx, r.actor, e.trial, fish.ID, patchOf(t, 2, map[string]any{"length": nil, "void": true})))(t)
	list := must(w.s.Amendments(w.ctx, r.actor, e.trial, fish.ID))(t)
	if len(list) != 2 || list[0].N != 1 || list[1].N != 2 {
		t.Fatalf("amendments %+v", list)
	}
	var old, now map[string]any
	if json.Unmarshal(list[0].Old, &old) != nil || json.Unmarshal(list[0].New, &now) != nil {
		t.Fatalf("old %s, new %s", list[0].Old, list[0].New)
	}
	if old["taken_pattern"] != "C" || now["taken_pattern"] != "N" || old["length"] != nil || len(old) != 2 || len(now) != 2 {
		t.Errorf("old %v, new %v", old, now)
	}
	if list[0].By != r.actor.AccountID || list[0].Reason != "tapped the wrong fly" || list[0].Subject != fish.ID || !list[1].At.Equal(list[0].At.Add(time.Hour)) {
		t.Errorf("amendments %+v", list)
	}
	if got := must(w.s.Catch(w.ctx, r.actor, e.trial, fish.ID))(t); got.Catch.Length != nil || !got.Catch.Void || got.Excluded != trial.Void {
		t.Errorf("it stands as %+v", got)
	}
}

// A correction that is at fault says where and leaves everything as it was.
func TestBadAmendments(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	_, _, _, foreign := e.inAPeriod(e.anglers[1])
	fish := r.land(period, "C")
	amend := func(c conduct.Correction) error {
		_, err := w.s.AmendCatch(w.ctx, r.actor, e.trial, fish.ID, c)
		return err
	}
	raw := func(patch string) error {
		return amend(conduct.Correction{Seen: 1, Reason: "tapped the wrong fly", Patch: json.RawMessage(patch)})
	}
	wantFields(t, raw(`{"enrolment_id":"x","received_at":"x","taken_pattern":"N"}`), "enrolment_id", "received_at")
	wantFields(t, raw(`{"outcome":null,"caught_at":null}`), "outcome", "caught_at")
	wantFields(t, raw(`{"foul_hooked":"no"}`), "foul_hooked")
	wantFields(t, raw(`{"taken_pattern":"Z","species":"grayling","outcome":"eaten"}`), "taken_pattern", "species", "outcome")
	wantFields(t, raw(`{"length":{"value":30}}`), "length")
	for _, patch := range []string{``, `null`, `[]`, `"C"`, `{`, `{}`, `{"taken_pattern":"C"}`} {
		if err := raw(patch); trial.KindOf(err) != trial.Invalid {
			t.Errorf("patch %q: %v, want Invalid", patch, err)
		}
	}
	c := patchOf(t, 1, map[string]any{"taken_pattern": "N"})
	c.Reason = ""
	wantFields(t, amend(c), "reason")
	wantKind(t, amend(patchOf(t, 1, map[string]any{"period": foreign.String()})), trial.NotFound, "not_found")
	wantKind(t, amend(patchOf(t, 1, map[string]any{"period": w.id().String()})), trial.NotFound, "not_found")
	position := trial.Lower
	if must(w.s.Period(w.ctx, r.actor, e.trial, period))(t).Lower == "C" {
		position = trial.Upper
	}
	wantKind(t, amend(patchOf(t, 1, map[string]any{"taken_position": position})), trial.Invalid, "catch.disagrees")
	if got := must(w.s.Catch(w.ctx, r.actor, e.trial, fish.ID))(t); got.Catch.Version != 1 || got.Catch.TakenPattern != "C" {
		t.Errorf("it stands as %+v", got.Catch)
	}
	if list := must(w.s.Amendments(w.ctx, r.actor, e.trial, fish.ID))(t); len(list) != 0 {
		t.Errorf("amendments %+v", list)
	}
	e.move(trial.Closed)
	w.ok(amend(patchOf(t, 1, map[string]any{"taken_pattern": "N"})))
	w.clock.move(2 * time.Hour)
	e.move(trial.Locked)
	wantKind(t, amend(patchOf(t, 2, map[string]any{"taken_pattern": "C"})), trial.Conflict, "trial.locked")
}

// Correcting what was fished reads every fish of the period anew: what was given stays, the other turns; where both were
// given the pattern stays; what was drawn stands beside what was fished.
func TestAmendPeriodReadsAnew(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	before := must(w.s.Period(w.ctx, r.actor, e.trial, period))(t)
	send := func(pattern string, position trial.Position) trial.ID {
		c := r.fish(period, pattern)
		c.TakenPosition = position
		must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, c))(t)
		return c.ID
	}
	byPattern, byPosition, both, unsure := send("C", ""), send("", trial.Lower), send(before.Lower, trial.Lower), send("unknown", "")
	turned := before.Period.Drawn.Other()
	after := must(w.s.AmendPeriod(w.ctx, r.actor, e.trial, period, patchOf(t, 1, map[string]any{"fished": turned})))(t)
	if after.Period.Fished != turned || after.Period.Drawn != before.Period.Drawn || after.Lower != before.Upper || after.Upper != before.Lower || after.Period.Version != 2 {
		t.Errorf("before %+v, after %+v", before, after)
	}
	// The fly that hung lower is now known to be the other one.
	part := map[string]trial.Taken{"C": trial.TookTest, "N": trial.TookControl}
	place := map[string]trial.Position{after.Lower: trial.Lower, after.Upper: trial.Upper}
	for _, c := range []struct {
		name     string
		id       trial.ID
		taken    trial.Taken
		position trial.Position
	}{
		{"by pattern", byPattern, trial.TookTest, place["C"]},
		{"by position", byPosition, part[after.Lower], trial.Lower},
		{"by both", both, part[before.Lower], trial.Upper},
		{"not sure", unsure, trial.TookUnknown, trial.UnknownPosition},
	} {
		got := must(w.s.Catch(w.ctx, r.actor, e.trial, c.id))(t)
		if got.Taken != c.taken || got.Position != c.position || got.Arrangement != turned || got.Catch.Version != 1 {
			t.Errorf("%s: took %s at %s in %s, version %d; want %s at %s in %s", c.name, got.Taken, got.Position, got.Arrangement, got.Catch.Version, c.taken, c.position, turned)
		}
	}
	list := must(w.s.Amendments(w.ctx, r.actor, e.trial, period))(t)
	if len(list) != 1 || list[0].Kind != "period" {
		t.Errorf("amendments %+v", list)
	}
	_, err := w.s.AmendPeriod(w.ctx, r.actor, e.trial, period, patchOf(t, 1, map[string]any{"confirmed": false}))
	wantKind(t, err, trial.Stale, "version.stale")
	_, err = w.s.AmendPeriod(w.ctx, r.actor, e.trial, period, patchOf(t, 2, map[string]any{"drawn": turned}))
	wantFields(t, err, "drawn")
	_, err = w.s.AmendPeriod(w.ctx, r.actor, e.trial, period, patchOf(t, 2, map[string]any{"fished": "both_lower"}))
	wantFields(t, err, "fished")
	must(w.s.AmendPeriod(w.ctx, r.actor, e.trial, period, patchOf(t, 2, map[string]any{"confirmed": false})))(t)
	for _, v := range must(w.s.Catches(w.ctx, r.actor, e.trial, everything))(t) {
		if v.Excluded != trial.NotConfirmed {
			t.Errorf("%s in a period not confirmed: %q", v.Catch.ID, v.Excluded)
		}
	}
}

// A fly's number that was misread is corrected as everything else of a period: by whom, why, both values kept.
func TestAmendFlyNumbers(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	numbered := must(w.s.AmendPeriod(w.ctx, r.actor, e.trial, period, patchOf(t, 1, map[string]any{"test_fly": 3, "control_fly": 4})))(t).Period
	if numbered.TestFly != 3 || numbered.ControlFly != 4 || numbered.Fished != numbered.Drawn || numbered.Version != 2 {
		t.Errorf("numbered %+v", numbered)
	}
	again := must(w.s.AmendPeriod(w.ctx, r.actor, e.trial, period, patchOf(t, 2, map[string]any{"test_fly": 5, "control_fly": nil})))(t).Period
	if again != must(w.s.Period(w.ctx, r.actor, e.trial, period))(t).Period || again.TestFly != 5 || again.ControlFly != 0 {
		t.Errorf("corrected %+v", again)
	}
	list := must(w.s.Amendments(w.ctx, r.actor, e.trial, period))(t)
	if len(list) != 2 || list[1].Corrector != trial.ByAngler || string(list[1].Old) != `{"control_fly":4,"test_fly":3}` || string(list[1].New) != `{"control_fly":0,"test_fly":5}` {
		t.Errorf("corrections %+v", list)
	}
	public, _ := w.partsOf(e.trial, r.enrolment, trial.LedgerAmendment)
	if !strings.Contains(strings.Join(public, "\n"), `"old":{"control_fly":4,"test_fly":3}`) {
		t.Errorf("the chain holds %v", public)
	}
	for _, bad := range []any{-1, 81, "seven"} {
		_, err := w.s.AmendPeriod(w.ctx, r.actor, e.trial, period, patchOf(t, 3, map[string]any{"test_fly": bad}))
		wantFields(t, err, "test_fly")
	}
}

// A report of the wrong way round turns the fish from its time on and no earlier one.
func TestWrongWayRoundReported(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, outing, _, period := e.inAPeriod(e.anglers[0])
	view := must(w.s.Period(w.ctx, r.actor, e.trial, period))(t)
	early := r.fish(period, "")
	early.TakenPosition = trial.Lower
	must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, early))(t)
	w.clock.move(10 * time.Minute)
	from := w.clock.read()
	w.clock.move(10 * time.Minute)
	late := r.fish(period, "")
	late.TakenPosition = trial.Lower
	must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, late))(t)
	must(w.s.ReportDeviation(w.ctx, r.actor, e.trial, trial.Deviation{ID: w.id(), OutingID: outing, PeriodID: period, Kind: trial.WrongWayRound, FromAt: from}))(t)
	part := map[string]trial.Taken{"C": trial.TookTest, "N": trial.TookControl}
	if got := must(w.s.Catch(w.ctx, r.actor, e.trial, early.ID))(t); got.Taken != part[view.Lower] {
		t.Errorf("before the report: took %s, want %s", got.Taken, part[view.Lower])
	}
	got := must(w.s.Catch(w.ctx, r.actor, e.trial, late.ID))(t)
	if got.Taken != part[view.Upper] || got.Arrangement != view.Period.Drawn.Other() || got.Excluded != trial.Analysed {
		t.Errorf("after the report: %+v, want %s", got, part[view.Upper])
	}
}
