package conduct_test

import (
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

// as is the rod of an angler in the hands of another member.
func (r *rod) as(a trial.Actor) *rod {
	other := *r
	other.actor = a
	other.actor.For = r.enrolment
	return &other
}

// A guide keeps an angler's day on one phone: nothing before the angler allows it, everything but what is the angler's alone after,
// and of the fish only those that the guide typed.
func TestNotingForAnother(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 3).opened(ruleSheet())
	r := e.join(e.anglers[0])
	guide := e.anglers[1] // who has not joined
	other := w.newClub("Mill Reach Anglers", 1)
	now := w.clock.read()
	open := func(a trial.Actor) error {
		a.For = r.enrolment
		_, err := w.s.OpenOuting(w.ctx, a, e.trial, trial.Outing{ID: w.id(), Water: "Upper Wend", StartedAt: now})
		return err
	}
	wantKind(t, open(guide), trial.NotFound, "not_found")
	w.ok(w.s.SetNoters(w.ctx, r.actor, e.trial, []trial.ID{guide.AccountID}))
	if got := must(w.s.Noters(w.ctx, r.actor, e.trial))(t); len(got) != 1 || got[0] != guide.AccountID {
		t.Errorf("noters %v", got)
	}
	wantFields(t, w.s.SetNoters(w.ctx, r.actor, e.trial, []trial.ID{e.eyes.AccountID}), "accounts")
	wantFields(t, w.s.SetNoters(w.ctx, r.actor, e.trial, []trial.ID{other.anglers[0].AccountID}), "accounts")
	wantKind(t, open(other.anglers[0]), trial.NotFound, "not_found")
	wantKind(t, open(e.anglers[2]), trial.NotFound, "not_found")
	wantKind(t, open(e.eyes), trial.Forbidden, "forbidden")
	if list := must(w.s.NotedFor(w.ctx, guide, e.trial))(t); len(list) != 1 || list[0].Enrolment != r.enrolment || list[0].Name == "" || list[0].Pseudonym != "" {
		t.Errorf("noting for %+v: a name tells who it is, a pseudonym would tell too much", list)
	}

	// The whole day by the guide.
	by := r.as(guide)
	outing, unit := by.outing(), by.unit()
	by.actor.For = trial.ID{} // from here on the records say whose they are
	period := by.begin(outing, unit, 1)
	w.clock.move(5 * time.Minute)
	typed := by.land(period, "C")
	own := r.land(period, "N")
	d := trial.Deviation{ID: w.id(), OutingID: outing, PeriodID: period, Kind: trial.CouldNotSwap, FromAt: w.clock.read()}
	must(w.s.ReportDeviation(w.ctx, by.actor, e.trial, d))(t)
	by.swap(period)

	mine := must(w.s.Catches(w.ctx, r.actor, e.trial, everything))(t)
	if len(mine) != 2 || mine[0].Catch.NotedBy != guide.AccountID || mine[0].NotedBy != trial.ByHelper || mine[1].Catch.NotedBy != r.actor.AccountID || mine[1].NotedBy != trial.ByAngler || mine[0].Catch.EnrolmentID != r.enrolment {
		t.Errorf("the angler has %+v", mine)
	}
	seen := must(w.s.Catches(w.ctx, r.as(guide).actor, e.trial, everything))(t)
	if len(seen) != 1 || seen[0].Catch.ID != typed.ID {
		t.Errorf("the guide sees %+v", seen)
	}
	must(w.s.Catch(w.ctx, guide, e.trial, typed.ID))(t)
	_, err := w.s.Catch(w.ctx, guide, e.trial, own.ID)
	wantKind(t, err, trial.NotFound, "not_found")
	_, err = w.s.AmendCatch(w.ctx, guide, e.trial, own.ID, patchOf(t, 1, map[string]any{"note": "mine"}))
	wantKind(t, err, trial.NotFound, "not_found")
	_, err = w.s.Amendments(w.ctx, guide, e.trial, own.ID)
	wantKind(t, err, trial.NotFound, "not_found")
	must(w.s.AmendCatch(w.ctx, guide, e.trial, typed.ID, patchOf(t, 1, map[string]any{"taken_pattern": "N"})))(t)
	if list := must(w.s.Amendments(w.ctx, r.actor, e.trial, typed.ID))(t); len(list) != 1 || list[0].By != guide.AccountID || list[0].Corrector != trial.ByHelper {
		t.Errorf("corrections %+v", list)
	}
	must(w.s.Outing(w.ctx, guide, e.trial, outing))(t)
	must(w.s.Period(w.ctx, guide, e.trial, period))(t)
	must(w.s.Periods(w.ctx, guide, e.trial, outing))(t)
	must(w.s.Deviation(w.ctx, guide, e.trial, d.ID))(t)
	for _, who := range []trial.Actor{e.anglers[2], e.organiser} {
		_, err = w.s.Catch(w.ctx, who, e.trial, typed.ID)
		wantKind(t, err, trial.NotFound, "")
		_, err = w.s.SubmitCatch(w.ctx, who, e.trial, r.fish(period, "C"))
		wantKind(t, err, trial.NotFound, "not_found")
	}

	// What is the angler's alone.
	f := r.as(guide).actor
	wantKind(t, w.s.Withdraw(w.ctx, f, e.trial, true), trial.Forbidden, "for.own_only")
	wantKind(t, w.s.Withdraw(w.ctx, f, e.trial, false), trial.Forbidden, "for.own_only")
	wantKind(t, w.s.SetNoters(w.ctx, f, e.trial, nil), trial.Forbidden, "for.own_only")
	_, err = w.s.Enrolment(w.ctx, f, e.trial)
	wantKind(t, err, trial.Forbidden, "for.own_only")

	if p := must(w.s.Progress(w.ctx, e.eyes, e.trial))(t).Effort; p.TypedFish != 1 || p.Guests != 0 {
		t.Errorf("counted %+v", p)
	}

	// Once the angler says no, what was typed before can still be sent again, and nothing new.
	w.ok(w.s.SetNoters(w.ctx, r.actor, e.trial, nil))
	again := must(w.s.SubmitCatch(w.ctx, guide, e.trial, typed))(t)
	if again.Created {
		t.Error("a fish was doubled")
	}
	_, err = w.s.SubmitCatch(w.ctx, guide, e.trial, r.fish(period, "C"))
	wantKind(t, err, trial.NotFound, "not_found")
	wantKind(t, open(guide), trial.NotFound, "not_found")

	// A member who left the club notes for nobody, not even within the seconds for which intake remembers a member.
	w.ok(w.s.SetNoters(w.ctx, r.actor, e.trial, []trial.ID{guide.AccountID}))
	must(w.s.SubmitCatch(w.ctx, guide, e.trial, r.fish(period, "C")))(t)
	w.ok(w.s.RemoveMember(w.ctx, e.organiser, e.id, guide.AccountID))
	w.clock.move(6 * time.Second)
	_, err = w.s.SubmitCatch(w.ctx, guide, e.trial, r.fish(period, "C"))
	wantKind(t, err, trial.NotFound, "not_found")
	wantKind(t, open(guide), trial.NotFound, "not_found")
	if checked := must(w.s.Check(w.ctx))(t); len(checked.Faults) > 0 {
		t.Error(strings.Join(checked.Faults, "\n"))
	}
}

// A guest for a day joins on paper: a member writes the consent down and notes. The guest's fish count; when the guest wants it,
// the guide or the organiser ends it.
func TestGuests(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 3).opened(ruleSheet())
	guide := e.anglers[0]
	sent := trial.Enrolment{ID: w.randomID(), Code: [32]byte{7}, Consent: allTicks}
	sent.Consent.Minor = true
	joined := must(w.s.BringGuest(w.ctx, guide, e.trial, sent))(t)
	again := must(w.s.BringGuest(w.ctx, guide, e.trial, sent))(t)
	if !joined.Created || again.Created || again.Enrolment.Pseudonym != joined.Enrolment.Pseudonym || again.Receipt != joined.Receipt || again.Enrolment.GuardianBy != guide.AccountID {
		t.Errorf("joined %+v, again %+v", joined, again)
	}
	changed := sent
	changed.Consent.Minor = false
	_, err := w.s.BringGuest(w.ctx, guide, e.trial, changed)
	wantKind(t, err, trial.Conflict, "record.conflict")
	_, err = w.s.BringGuest(w.ctx, e.anglers[1], e.trial, sent)
	wantKind(t, err, trial.Conflict, "record.conflict")
	_, err = w.s.BringGuest(w.ctx, e.eyes, e.trial, sent)
	wantKind(t, err, trial.Forbidden, "forbidden")
	unticked := sent
	unticked.ID, unticked.Consent.AdultOrGuardian = w.randomID(), false
	_, err = w.s.BringGuest(w.ctx, guide, e.trial, unticked)
	wantFields(t, err, "consent.adult_or_guardian")

	second := must(w.s.BringGuest(w.ctx, guide, e.trial, trial.Enrolment{ID: w.randomID(), Code: [32]byte{8}, Consent: allTicks}))(t)
	list := must(w.s.NotedFor(w.ctx, guide, e.trial))(t)
	if len(list) != 2 || !list[0].Guest || list[0].Name != "" || list[0].Pseudonym != joined.Enrolment.Pseudonym || list[1].Enrolment != second.Enrolment.ID {
		t.Errorf("noting for %+v", list)
	}
	g := (&rod{e: e, enrolment: sent.ID}).as(guide)
	outing, unit := g.outing(), g.unit()
	period := g.begin(outing, unit, 1)
	w.clock.move(5 * time.Minute)
	fish := g.land(period, "C")
	if fishes := must(w.s.Catches(w.ctx, g.actor, e.trial, everything))(t); len(fishes) != 1 {
		t.Errorf("the guide sees %+v", fishes)
	}
	if p := must(w.s.Progress(w.ctx, e.eyes, e.trial))(t).Effort; p.Guests != 2 || p.TypedFish != 1 || p.Enrolled != 2 {
		t.Errorf("counted %+v", p)
	}
	stranger := e.anglers[1]
	stranger.For = sent.ID
	wantKind(t, w.s.Withdraw(w.ctx, stranger, e.trial, true), trial.NotFound, "not_found")
	w.ok(w.s.Withdraw(w.ctx, g.actor, e.trial, false))
	_, err = w.s.FetchUnit(w.ctx, g.actor, e.trial, w.id())
	wantKind(t, err, trial.Conflict, "enrolment.left")
	organiser := e.organiser
	organiser.For = sent.ID
	w.ok(w.s.Withdraw(w.ctx, organiser, e.trial, true))
	_, err = w.s.SubmitCatch(w.ctx, guide, e.trial, fish)
	wantKind(t, err, trial.Gone, "record.erased")
	_, err = w.s.BringGuest(w.ctx, guide, e.trial, sent)
	wantKind(t, err, trial.Gone, "record.erased")
	if err = w.s.Withdraw(w.ctx, organiser, e.trial, true); trial.KindOf(err) != trial.Gone {
		t.Errorf("erased twice: %v", err)
	}
	if checked := must(w.s.Check(w.ctx))(t); len(checked.Faults) > 0 {
		t.Error(strings.Join(checked.Faults, "\n"))
	}
}

// Who has his own records erased is not known any more as somebody's guide either: nothing of the account is left, and what was
// typed stays typed.
func TestErasedNoterIsForgotten(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	guide := e.join(e.anglers[1])
	r, _, _, period := e.inAPeriod(e.anglers[0])
	w.ok(w.s.SetNoters(w.ctx, r.actor, e.trial, []trial.ID{guide.actor.AccountID}))
	typed := r.fish(period, "C")
	must(w.s.SubmitCatch(w.ctx, guide.actor, e.trial, typed))(t)
	must(w.s.AmendCatch(w.ctx, guide.actor, e.trial, typed.ID, patchOf(t, 1, map[string]any{"note": "net"})))(t)
	must(w.s.BringGuest(w.ctx, guide.actor, e.trial, trial.Enrolment{ID: w.randomID(), Code: [32]byte{8}, Consent: allTicks}))(t)
	w.ok(w.s.Withdraw(w.ctx, guide.actor, e.trial, true))

	if got := must(w.s.Noters(w.ctx, r.actor, e.trial))(t); len(got) != 0 {
		t.Errorf("noters %v", got)
	}
	c := must(w.s.Catch(w.ctx, r.actor, e.trial, typed.ID))(t)
	corrections := must(w.s.Amendments(w.ctx, r.actor, e.trial, typed.ID))(t)
	if !c.Catch.NotedBy.IsZero() || len(corrections) != 1 || !corrections[0].By.IsZero() {
		t.Errorf("typed by %s, corrected by %+v", c.Catch.NotedBy, corrections)
	}
	if list := must(w.s.NotedFor(w.ctx, guide.actor, e.trial))(t); len(list) != 0 {
		t.Errorf("still noting for %+v", list)
	}
	if p := must(w.s.Progress(w.ctx, e.eyes, e.trial))(t).Effort; p.TypedFish != 1 || p.Guests != 1 {
		t.Errorf("counted %+v", p)
	}
	if checked := must(w.s.Check(w.ctx))(t); len(checked.Faults) > 0 {
		t.Error(strings.Join(checked.Faults, "\n"))
	}
}
