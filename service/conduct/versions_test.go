package conduct_test

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

// sound fails the test unless every chain, checkpoint and count of the server agrees.
func (w *world) sound() {
	w.t.Helper()
	w.ok(w.s.Checkpoint(w.ctx))
	checked := must(w.s.Check(w.ctx))(w.t)
	if len(checked.Faults) > 0 || checked.Chains == 0 {
		w.t.Errorf("the records do not agree: %+v", checked)
	}
}

// partsOf returns the public and the private texts of a chain's entries of one kind.
func (w *world) partsOf(id, chain trial.ID, kind string) (public, private []string) {
	w.t.Helper()
	w.ok(w.store.InReadTx(w.ctx, func(ctx context.Context, tx trial.ReadTx) error {
		entries, err := tx.EntriesOf(ctx, id, chain)
		if err != nil {
			return err
		}
		parts, err := tx.PartsOf(ctx, id, chain)
		public, private = nil, nil
		for _, e := range entries {
			if e.Kind == kind {
				public, private = append(public, string(parts[e.N].Public)), append(private, string(parts[e.N].Private))
			}
		}
		return err
	}))
	return public, private
}

// amended puts another version of the trial's rule sheet into force.
func (e *contest) amended(change func(p *trial.Protocol)) trial.ProtocolVersion {
	e.w.t.Helper()
	seen := must(e.w.s.Protocol(e.w.ctx, e.organiser, e.trial))(e.w.t)
	p := seen.Protocol
	change(&p)
	v := must(e.w.s.AmendProtocol(e.w.ctx, e.organiser, e.trial, seen.Revision, p, "three weeks of flood"))(e.w.t)
	return v.ProtocolVersion
}

// A version is added with its reason, what was registered stands, and so does the draw that is committed to it.
func TestRuleSheetIsAmendedByVersions(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	before := must(w.s.Trial(w.ctx, e.organiser, e.trial))(t).Trial
	first := must(w.s.Protocol(w.ctx, e.organiser, e.trial))(t)
	r, _, unit, period := e.inAPeriod(e.anglers[0])
	r.land(period, "C")
	w.clock.move(time.Hour)
	later := e.amended(func(p *trial.Protocol) {
		p.SeasonEnd, p.Waters = "2026-12-15", append(p.Waters, trial.Water{Name: "Long Pool", WaterType: "stillwater"})
	})
	if later.Version != 2 || !later.At.Equal(w.clock.read()) || later.By != e.organiser.AccountID {
		t.Errorf("the version is %+v", later)
	}
	after := must(w.s.Trial(w.ctx, e.eyes, e.trial))(t).Trial
	if after.ProtocolVersion != 2 || after.Fingerprint != before.Fingerprint || after.Commitment != before.Commitment || after.Scheme != before.Scheme {
		t.Errorf("the trial was %+v, is %+v", before, after)
	}
	now := must(w.s.Protocol(w.ctx, e.anglers[1], e.trial))(t)
	if now.Version != 2 || now.Protocol.SeasonEnd != "2026-12-15" || now.Fingerprint == first.Fingerprint || now.Revision != first.Revision+1 {
		t.Errorf("in force is version %d, revision %d", now.Version, now.Revision)
	}
	versions := must(w.s.ProtocolVersions(w.ctx, e.eyes, e.trial))(t)
	if len(versions) != 2 || versions[0].Fingerprint != before.Fingerprint || versions[0].Reason != "" || !versions[0].At.Equal(*before.RegisteredAt) || len(versions[0].Changes) != 0 {
		t.Fatalf("versions %+v", versions)
	}
	if v := versions[1]; v.Reason != "three weeks of flood" || len(v.Changes) != 2 || v.Changes[0].Field != "season_end" || v.Changes[1].Field != "waters" {
		t.Errorf("the second version is %+v", v)
	}
	one := must(w.s.ProtocolVersion(w.ctx, e.anglers[1], e.trial, 1))(t)
	if sha256.Sum256(one.Canonical) != [32]byte(before.Fingerprint) {
		t.Error("the first version is not what was registered")
	}
	for _, n := range []int{0, 3, -1} {
		_, err := w.s.ProtocolVersion(w.ctx, e.organiser, e.trial, n)
		wantKind(t, err, trial.NotFound, "not_found")
	}
	// The organiser's chain tells what was changed and why, but no water.
	public, private := w.partsOf(e.trial, e.trial, trial.LedgerProtocol)
	if len(public) != 1 || !strings.Contains(public[0], `"fields":["season_end","waters"]`) || !strings.Contains(public[0], "three weeks of flood") ||
		!strings.Contains(public[0], versions[1].Fingerprint.String()) || !strings.Contains(public[0], versions[0].Fingerprint.String()) {
		t.Errorf("the chain says %s", public)
	}
	if strings.Contains(public[0], "Long Pool") || !strings.Contains(private[0], "Long Pool") {
		t.Errorf("the water stands in %s, not in %s", public, private)
	}
	w.sound()
	// Fishing goes on: a swap, the new water, the same draw.
	r.swap(period)
	o := trial.Outing{ID: w.id(), Water: "Long Pool", StartedAt: w.clock.read()}
	if view := must(w.s.OpenOuting(w.ctx, r.actor, e.trial, o))(t); view.Outing.ProtocolVersion != 2 {
		t.Errorf("the outing goes by version %d", view.Outing.ProtocolVersion)
	}
	if units := must(w.s.Units(w.ctx, r.actor, e.trial))(t); len(units) != 1 || units[0].Unit.ID != unit {
		t.Errorf("units %+v", units)
	}
	e.lock()
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	w.sound()
	again := must(w.s.Recompute(w.ctx))(t)
	if len(again) != 1 || !again[0].Same {
		t.Errorf("computed again: %+v", again)
	}
}

// Who may amend, when, on what he last read, and which fields: everything else is refused and changes nothing.
func TestAmendmentsThatAreRefused(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := w.newClub("Wend Grayling Club", 1)
	e := c.opened(ruleSheet())
	p := must(w.s.Protocol(w.ctx, e.organiser, e.trial))(t)
	next := p.Protocol
	next.SeasonEnd = "2026-12-15"
	_, err := w.s.AmendProtocol(w.ctx, e.anglers[0], e.trial, p.Revision, next, "three weeks of flood")
	wantKind(t, err, trial.Forbidden, "forbidden")
	_, err = w.s.AmendProtocol(w.ctx, e.organiser, e.trial, p.Revision+1, next, "three weeks of flood")
	wantKind(t, err, trial.Stale, "version.stale")
	_, err = w.s.AmendProtocol(w.ctx, e.organiser, e.trial, p.Revision, next, "flood")
	wantFields(t, err, "reason")
	bad := next
	bad.MaxFish, bad.Alpha = 900, .1
	bad.Species = append([]string{"Salmo trutta"}, bad.Species...)
	_, err = w.s.AmendProtocol(w.ctx, e.organiser, e.trial, p.Revision, bad, "three weeks of flood")
	wantFields(t, err, "protocol.max_fish", "protocol.alpha", "protocol.species")
	if versions := must(w.s.ProtocolVersions(w.ctx, e.organiser, e.trial))(t); len(versions) != 1 {
		t.Errorf("%d versions stand", len(versions))
	}
	draft := must(w.s.CreateTrial(w.ctx, c.organiser, c.id, ruleSheet()))(t).Trial
	_, err = w.s.AmendProtocol(w.ctx, c.organiser, draft.ID, 1, next, "three weeks of flood")
	wantKind(t, err, trial.Conflict, "trial.state")
	if versions := must(w.s.ProtocolVersions(w.ctx, c.organiser, draft.ID))(t); len(versions) != 0 {
		t.Errorf("a draft has %d versions", len(versions))
	}
	e.move(trial.Closed)
	_, err = w.s.AmendProtocol(w.ctx, e.organiser, e.trial, p.Revision, next, "three weeks of flood")
	wantKind(t, err, trial.Conflict, "trial.state")
}

// A phone that carried version 1 goes by it, whenever what it noted arrives; sent again it is the same record.
func TestPhoneThatCarriesAnOlderVersion(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r := e.join(e.anglers[0])
	noted := trial.Outing{ID: w.id(), Water: "Upper Wend", StartedAt: w.clock.read(), WaterTemperature: &trial.Measure{Value: 19, Unit: "C"}}
	unsaid := noted
	unsaid.ID = w.id()
	must(w.s.OpenOuting(w.ctx, r.actor, e.trial, unsaid))(t)
	e.amended(func(p *trial.Protocol) { p.Welfare.StopC = 19 })
	noted.ProtocolVersion = 1
	for i := range 3 {
		view := must(w.s.OpenOuting(w.ctx, r.actor, e.trial, noted))(t)
		if view.Created != (i == 0) || view.Outing.ProtocolVersion != 1 || view.Welfare != trial.WelfareCaution {
			t.Errorf("time %d: %+v", i, view)
		}
	}
	must(w.s.OpenOuting(w.ctx, r.actor, e.trial, unsaid))(t) // did not say what it carried, before or after
	claimed := unsaid
	claimed.ProtocolVersion = 1
	_, err := w.s.OpenOuting(w.ctx, r.actor, e.trial, claimed)
	wantKind(t, err, trial.Conflict, "record.conflict")
	fresh := noted
	fresh.ID, fresh.ProtocolVersion = w.id(), 0
	if view := must(w.s.OpenOuting(w.ctx, r.actor, e.trial, fresh))(t); view.Outing.ProtocolVersion != 2 || view.Welfare != trial.WelfareStop {
		t.Errorf("by version 2 fishing stops at 19 C: %+v", view)
	}
	fresh.ID, fresh.ProtocolVersion = w.id(), 3
	_, err = w.s.OpenOuting(w.ctx, r.actor, e.trial, fresh)
	wantFields(t, err, "protocol_version")
	w.sound()
}

// Each version is read once and kept apart, by every process, also one that has met only the first.
func TestEveryProcessGoesByTheVersionInForce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	other := w.service(2)
	r := e.join(e.anglers[0])
	if _, err := other.OpenOuting(w.ctx, r.actor, e.trial, trial.Outing{ID: w.id(), Water: "Long Pool", StartedAt: w.clock.read()}); err == nil {
		t.Fatal("a water that is not on the list was taken")
	}
	e.amended(func(p *trial.Protocol) {
		p.Waters = append(p.Waters, trial.Water{Name: "Long Pool", WaterType: "river"})
	})
	must(other.OpenOuting(w.ctx, r.actor, e.trial, trial.Outing{ID: w.id(), Water: "Long Pool", StartedAt: w.clock.read()}))(t)
}

// An outing is corrected like a catch: who, when, why, old and new, and nothing that was private becomes public.
func TestAmendOuting(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	r := e.join(e.anglers[0])
	sent := trial.Outing{ID: w.id(), Water: "Upper Wend", StartedAt: w.clock.read(), Conditions: "clear", Note: "mist", WaterTemperature: &trial.Measure{Value: 52, Unit: "F"}}
	must(w.s.OpenOuting(w.ctx, r.actor, e.trial, sent))(t)
	unit := r.unit()
	w.clock.move(5 * time.Minute)
	period := r.begin(sent.ID, unit, 1)
	amend := func(seen int, changes map[string]any) error {
		_, err := w.s.AmendOuting(w.ctx, r.actor, e.trial, sent.ID, patchOf(t, seen, changes))
		return err
	}
	wantFields(t, amend(1, map[string]any{"ended_at": w.clock.read()}), "ended_at") // it goes on
	wantFields(t, amend(1, map[string]any{"water": "The Sea"}), "water")
	wantFields(t, amend(1, map[string]any{"enrolment_id": "x"}), "enrolment_id")
	wantKind(t, amend(1, map[string]any{"void": true}), trial.Conflict, "outing.fished")
	wantKind(t, amend(1, map[string]any{"started_at": w.clock.read().Add(time.Minute)}), trial.Conflict, "outing.periods")
	w.ok(amend(1, map[string]any{"water": "Mill Reach", "water_temperature": map[string]any{"value": 13, "unit": "C"}, "note": nil}))
	wantKind(t, amend(1, map[string]any{"water": "Upper Wend"}), trial.Stale, "version.stale")
	end := trial.OutingEnd{EndedAt: w.clock.move(2 * time.Hour), Reason: "planned", NotLogged: 0}
	must(w.s.EndOuting(w.ctx, r.actor, e.trial, sent.ID, end))(t)
	wantFields(t, amend(2, map[string]any{"end_reason": "bored", "not_logged": -1}), "end_reason", "not_logged")
	wantFields(t, amend(2, map[string]any{"ended_at": sent.StartedAt.Add(-time.Hour)}), "ended_at")
	w.ok(amend(2, map[string]any{"not_logged": 2, "end_reason": "tired", "ended_at": end.EndedAt.Add(-30 * time.Minute)}))
	_, err := w.s.AmendOuting(w.ctx, e.anglers[1], e.trial, sent.ID, patchOf(t, 3, map[string]any{"note": "mine"}))
	if err == nil {
		t.Error("another angler corrected it")
	}

	got := must(w.s.Outing(w.ctx, r.actor, e.trial, sent.ID))(t)
	if o := got.Outing; o.Version != 3 || o.Water != "Mill Reach" || o.Note != "" || o.Conditions != "clear" || o.End.NotLogged != 2 || o.End.Reason != "tired" ||
		!o.End.EndedAt.Equal(end.EndedAt.Add(-30*time.Minute)) || *got.Water != (trial.Measure{Value: 13, Unit: "C"}) {
		t.Errorf("it stands as %+v, end %+v", o, o.End)
	}
	// What was sent once and arrives again is answered with what stands.
	if view := must(w.s.OpenOuting(w.ctx, r.actor, e.trial, sent))(t); view.Created || view.Outing.Version != 3 || view.Outing.Water != "Mill Reach" {
		t.Errorf("sent again: %+v", view)
	}
	if view := must(w.s.EndOuting(w.ctx, r.actor, e.trial, sent.ID, end))(t); view.Created || view.Outing.End.NotLogged != 2 {
		t.Errorf("its end sent again: %+v", view.Outing.End)
	}
	list := must(w.s.Amendments(w.ctx, r.actor, e.trial, sent.ID))(t)
	if len(list) != 2 {
		t.Fatalf("%d corrections", len(list))
	}
	var old, now map[string]any
	if json.Unmarshal(list[0].Old, &old) != nil || json.Unmarshal(list[0].New, &now) != nil || old["water"] != "Upper Wend" || now["water"] != "Mill Reach" || old["note"] != "mist" {
		t.Errorf("old %s, new %s", list[0].Old, list[0].New)
	}
	public, private := w.partsOf(e.trial, r.enrolment, trial.LedgerAmendment)
	for _, text := range public {
		if strings.Contains(text, "Mill Reach") || strings.Contains(text, "mist") || strings.Contains(text, "2026-09-01T") || strings.Contains(text, r.actor.AccountID.String()) {
			t.Errorf("a correction tells everybody %s", text)
		}
		if !strings.Contains(text, `"by":"angler"`) || !strings.Contains(text, "tapped the wrong fly") {
			t.Errorf("a correction does not say by whom and why: %s", text)
		}
	}
	if !strings.Contains(public[1], `"not_logged":0`) || !strings.Contains(private[0], "Mill Reach") {
		t.Errorf("public %s, private %s", public[1], private[0])
	}
	if p := must(w.s.Progress(w.ctx, e.organiser, e.trial))(t); p.Effort.NotLogged != 2 {
		t.Errorf("progress %+v", p.Effort)
	}
	w.sound()
	e.lock()
	wantKind(t, amend(3, map[string]any{"note": "later"}), trial.Conflict, "trial.locked")
	_ = period
}

// An outing opened by mistake is no blank one, takes no period, and comes back when the mark is taken off.
func TestOutingOpenedByMistake(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r := e.join(e.anglers[0])
	outing, unit := r.outing(), r.unit()
	blank := func() int64 { return must(w.s.Progress(w.ctx, e.organiser, e.trial))(t).Effort.BlankOutings }
	if blank() != 1 {
		t.Errorf("%d blank outings", blank())
	}
	must(w.s.AmendOuting(w.ctx, r.actor, e.trial, outing, patchOf(t, 1, map[string]any{"void": true})))(t)
	if blank() != 0 {
		t.Errorf("%d blank outings once it is void", blank())
	}
	begin := trial.Period{ID: w.id(), OutingID: outing, UnitID: unit, Half: 1, Confirmed: true, StartedAt: w.clock.read()}
	_, err := w.s.BeginPeriod(w.ctx, r.actor, e.trial, begin)
	wantKind(t, err, trial.Conflict, "outing.void")
	must(w.s.AmendOuting(w.ctx, r.actor, e.trial, outing, patchOf(t, 2, map[string]any{"void": false})))(t)
	must(w.s.BeginPeriod(w.ctx, r.actor, e.trial, begin))(t)
	if blank() != 1 {
		t.Errorf("%d blank outings once it is restored", blank())
	}
}

// A voided fish is put back as it was; signs of harm are corrected like anything else.
func TestVoidFishIsRestored(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	fish := r.fish(period, "C")
	fish.Welfare = trial.JoinWelfare([]string{"dead", "bleeding"})
	must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, fish))(t)
	amend := func(seen int, changes map[string]any) trial.Exclusion {
		t.Helper()
		return must(w.s.AmendCatch(w.ctx, r.actor, e.trial, fish.ID, patchOf(t, seen, changes)))(t).Excluded
	}
	if got := amend(1, map[string]any{"void": true}); got != trial.Void {
		t.Errorf("void: %q", got)
	}
	if got := amend(2, map[string]any{"void": false}); got != trial.Analysed {
		t.Errorf("restored: %q", got)
	}
	amend(3, map[string]any{"welfare": []string{"deep_hooked", "dead"}})
	view := must(w.s.Catch(w.ctx, r.actor, e.trial, fish.ID))(t)
	if view.Catch.Welfare != "dead+deep_hooked" || view.Catch.Void || view.Catch.Version != 4 {
		t.Errorf("it stands as %+v", view.Catch)
	}
	_, err := w.s.AmendCatch(w.ctx, r.actor, e.trial, fish.ID, patchOf(t, 4, map[string]any{"welfare": []string{"tired"}}))
	wantFields(t, err, "welfare")
	amend(4, map[string]any{"welfare": nil})
	if list := must(w.s.Amendments(w.ctx, r.actor, e.trial, fish.ID))(t); len(list) != 4 {
		t.Errorf("%d corrections", len(list))
	}
	if again := must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, fish))(t); again.Created || again.Catch.Welfare != "" {
		t.Errorf("sent again: %+v", again.Catch)
	}
	bad := r.fish(period, "C")
	bad.Welfare = "dead+limping"
	_, err = w.s.SubmitCatch(w.ctx, r.actor, e.trial, bad)
	wantFields(t, err, "welfare")
	w.sound()
}

// A trial whose rule sheet was amended, whose records were corrected and disputed and whose water was warm is published like any
// other: its package agrees with itself, tells the versions with their reasons, and names nobody and no water.
func TestPublishWhatWasAmended(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 7).opened(ruleSheet())
	var rods []*rod
	for _, a := range e.anglers {
		rods = append(rods, e.joinWith(a, openTicks()))
	}
	e.day(rods, 2, mostlyTest)
	e.amended(func(p *trial.Protocol) {
		p.Waters, p.Welfare.StopC = append(p.Waters, trial.Water{Name: "Long Pool", WaterType: "stillwater"}), 19.5
	})
	e.day(rods, 2, inTurn)
	r := rods[0]
	outings := must(w.s.Outings(w.ctx, r.actor, e.trial, everything))(t)
	catches := must(w.s.Catches(w.ctx, rods[1].actor, e.trial, everything))(t)
	w.clock.move(time.Hour)
	warm := must(w.s.OpenOuting(w.ctx, r.actor, e.trial, trial.Outing{ID: w.id(), Water: "Long Pool", StartedAt: w.clock.read(), ProtocolVersion: 1}))(t).Outing.ID
	w.clock.move(time.Minute)
	r.measure(warm, 20)
	name := must(w.s.Enrolment(w.ctx, r.actor, e.trial))(t).Pseudonym
	must(w.s.OverrideWelfare(w.ctx, e.organiser, e.trial, name, trial.WelfareOverride{Day: w.clock.read().Format(time.DateOnly), Reason: "the thermometer lay in the shallows of Long Pool"}))(t)
	must(w.s.AmendOuting(w.ctx, r.actor, e.trial, outings[0].Outing.ID, patchOf(t, outings[0].Outing.Version, map[string]any{"water": "Mill Reach", "started_late": true, "not_logged": 1})))(t)
	must(w.s.AmendOuting(w.ctx, r.actor, e.trial, warm, patchOf(t, 1, map[string]any{"void": true})))(t)
	must(w.s.AmendCatch(w.ctx, rods[1].actor, e.trial, catches[0].Catch.ID, patchOf(t, 1, map[string]any{"welfare": []string{"dead"}, "void": true})))(t)
	for i, subject := range []trial.ID{catches[1].Catch.ID, catches[2].Catch.ID, outings[1].Outing.ID} {
		d := must(w.s.FileDispute(w.ctx, e.eyes, e.trial, subject, "angler 1 walked back along Upper Wend"))(t).Dispute.ID
		w.ok(e.decided(e.organiser, d, trial.Exclude))
		w.ok(e.decided(e.anglers[5], d, []string{trial.Exclude, trial.Keep, trial.Exclude}[i]))
	}
	w.sound()
	e.lock()
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	w.sound()
	e.publish()
	all := unpacked(t, w.downloaded(e.trial))
	for _, told := range []string{"three weeks of flood", "disputed", "season", "as I see it from the words"} {
		if !strings.Contains(all, told) {
			t.Errorf("the package does not tell %q", told)
		}
	}
	for _, never := range []string{"Upper Wend", "Mill Reach", "Long Pool", "angler 1", e.organiser.AccountID.String(), e.eyes.AccountID.String()} {
		if strings.Contains(all, never) {
			t.Errorf("the package tells %q", never)
		}
	}
}
