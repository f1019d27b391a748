package conduct_test

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// wholeLog reads a trial's masked log part by part.
func (e *contest) wholeLog(who trial.Actor, limit int) (entries []conduct.LogEntry) {
	e.w.t.Helper()
	after := ""
	for {
		part := must(e.w.s.MaskedLog(e.w.ctx, who, e.trial, after, limit))(e.w.t)
		entries = append(entries, part.Entries...)
		if after = part.Next; after == "" {
			return entries
		}
		if len(part.Entries) != limit {
			e.w.t.Fatalf("a part of %d entries has a next one, want %d", len(part.Entries), limit)
		}
	}
}

// Before locking the log says that something was recorded, not what; after it, everything but which pattern is which.
func TestMaskedLog(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	sheet := ruleSheet()
	sheet.Draw.SameFlyCheck = 1
	e := w.newClub("Wend Grayling Club", 3).opened(sheet)
	rods, fish := e.season(func(n int) string { return []string{"C", "N", "C"}[n%3] })
	must(w.s.AmendCatch(w.ctx, rods[0].actor, e.trial, fish[20].ID, patchOf(t, 1, map[string]any{"taken_pattern": "unknown", "note": "it was the collared one"})))
	w.ok(w.s.Withdraw(w.ctx, rods[2].actor, e.trial, true))

	hidden := e.wholeLog(e.eyes, 7)
	for _, entry := range hidden {
		text := string(must(json.Marshal(entry))(t))
		if entry.Record != nil || !entry.Subject.IsZero() || strings.Contains(text, "lower") || strings.Contains(text, "catch") {
			t.Errorf("while hidden the log says %s", text)
		}
	}
	e.lock()
	entries := e.wholeLog(e.anglers[1], 7)
	if whole := must(w.s.MaskedLog(w.ctx, e.organiser, e.trial, "", 10_000))(t); len(whole.Entries) != len(entries) || len(entries) < len(hidden) {
		t.Errorf("%d entries in parts, %d at once, %d before locking", len(entries), len(whole.Entries), len(hidden))
	}
	counts := map[string]int{}
	erased := 0
	for i, entry := range entries {
		if i > 0 && entries[i-1].ChainID == entry.ChainID && entry.N != entries[i-1].N+1 || (i == 0 || entries[i-1].ChainID != entry.ChainID) && entry.N != 1 {
			t.Errorf("entry %d of chain %s follows entry %d of %s", entry.N, entry.ChainID, entries[max(i-1, 0)].N, entries[max(i-1, 0)].ChainID)
		}
		if entry.Erased {
			erased++
			if entry.Record != nil || entry.Angler != "" {
				t.Errorf("an erased angler's entry says %+v", entry)
			}
			continue
		}
		text := string(must(json.Marshal(entry.Record))(t))
		for _, tell := range []string{`"C"`, `"N"`, "test_lower", "control_lower", "collar"} {
			if strings.Contains(text, tell) {
				t.Errorf("the log tells the patterns apart by %s: %s", tell, text)
			}
		}
		if entry.Kind == trial.LedgerCatch {
			counts[fmt.Sprint(entry.Record["taken_pattern"])]++
		}
	}
	if erased == 0 {
		t.Error("the erased angler's chain is not there")
	}
	// Of the two who remain each first block has two control flies.
	if counts["same_fly_check"] != 8 || counts["A"]+counts["B"] != 24 || counts["A"] == 0 || counts["B"] == 0 {
		t.Errorf("fish by what they took: %v", counts)
	}
	view := must(w.s.Trial(w.ctx, e.eyes, e.trial))(t)
	if again := view.Trial.Mask(sheet); fmt.Sprint(again) != fmt.Sprint(view.Trial.Mask(sheet)) {
		t.Error("the coin falls another way the second time")
	}
	_, err := w.s.MaskedLog(w.ctx, e.eyes, e.trial, "the middle", 7)
	wantFields(t, err, "after")
}

// Over many trials the changed fly is called A about as often as B: 200 tosses lie within 60 and 140 but for a chance of 1e-8
// (binomial, four and a half standard deviations and more).
func TestMaskIsACoin(t *testing.T) {
	t.Parallel()
	sheet := ruleSheet()
	called := 0
	for i := range 200 {
		seed := trial.Digest{byte(i), 7}
		record, err := trial.Trial{Seed: &seed}.Mask(sheet).Record([]byte(`{"taken_pattern":"C"}`), false)
		if err != nil {
			t.Fatal(err)
		}
		if record["taken_pattern"] == "A" {
			called++
		}
	}
	if called < 60 || called > 140 {
		t.Errorf("the changed fly is called A in %d of 200 trials", called)
	}
}

// Any member may ask, the organiser answers once, and the report shows both, and what was never answered.
func TestQuestions(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := w.newClub("Wend Grayling Club", 2)
	draft := must(w.s.CreateTrial(w.ctx, c.organiser, c.id, ruleSheet()))(t).Trial.ID
	_, err := w.s.Ask(w.ctx, c.eyes, draft, "Is it a draft?")
	wantKind(t, err, trial.Conflict, "trial.state")
	e := c.opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	r.land(period, "C")

	first := must(w.s.Ask(w.ctx, e.eyes, e.trial, "Who tied the flies, and who saw the hooks?"))(t)
	second := must(w.s.Ask(w.ctx, r.actor, e.trial, "Why was the long glide left out?"))(t)
	if first.Question.N != 1 || second.Question.N != 2 || !second.Mine {
		t.Errorf("questions %+v, %+v", first, second)
	}
	_, err = w.s.Ask(w.ctx, e.eyes, e.trial, "Why")
	wantFields(t, err, "question")
	_, err = w.s.Answer(w.ctx, e.eyes, e.trial, 1, "I do not know.")
	wantKind(t, err, trial.Forbidden, "forbidden")
	_, err = w.s.Answer(w.ctx, e.organiser, e.trial, 3, "Nobody asked.")
	wantKind(t, err, trial.NotFound, "not_found")
	w.clock.move(time.Hour)
	must(w.s.Answer(w.ctx, e.organiser, e.trial, 1, "Two of us, one batch of hooks."))(t)
	_, err = w.s.Answer(w.ctx, e.organiser, e.trial, 1, "Three of us.")
	wantKind(t, err, trial.Conflict, "question.answered")

	for _, who := range []trial.Actor{e.organiser, e.anglers[1], e.eyes} {
		list := must(w.s.Questions(w.ctx, who, e.trial))(t)
		if len(list) != 2 || list[0].Question.Answer != "Two of us, one batch of hooks." || list[1].Question.AnsweredAt != nil || list[1].Question.AskedAs != trial.Angler {
			t.Errorf("questions %+v", list)
		}
		for _, q := range list {
			if !q.Question.AskedBy.IsZero() || !q.Question.AnsweredBy.IsZero() || q.Mine != (q.Question.N == 1 && who == e.eyes) {
				t.Errorf("a member is told who asked: %+v", q)
			}
		}
	}
	w.ok(w.s.Withdraw(w.ctx, r.actor, e.trial, true))
	if list := must(w.s.Questions(w.ctx, r.actor, e.trial))(t); len(list) != 2 || list[1].Mine {
		t.Errorf("once erased the question stands without its asker: %+v", list)
	}
	e.lock()
	closing := must(w.s.Trial(w.ctx, e.organiser, e.trial))(t).Closing
	w.ok(w.s.Analyse(w.ctx, e.trial, closing))
	var page strings.Builder
	w.ok(w.s.Report(w.ctx, e.organiser, e.trial, closing, conduct.ReportPage, &page))
	for _, want := range []string{"Who tied the flies", "one batch of hooks", "Why was the long glide left out?", "ot answered"} {
		if !strings.Contains(page.String(), want) {
			t.Errorf("the report does not say %q", want)
		}
	}
	w.wantSound()
}

// An angler changes what may be published and when to be asked again; the chain keeps it.
func TestConsentChanges(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r := e.join(e.anglers[0])
	yes, no := true, false
	before := len(must(w.s.Enrolments(w.ctx, e.organiser, e.trial))(t))
	for _, c := range []struct {
		change conduct.ConsentChange
		want   trial.Consent
	}{
		{conduct.ConsentChange{PublishOpen: &yes, ContactAgain: &yes}, trial.Consent{PublishOpen: true, ContactAgain: true}},
		{conduct.ConsentChange{PublishOpen: &yes}, trial.Consent{PublishOpen: true, ContactAgain: true}}, // nothing new
		{conduct.ConsentChange{PublishOpen: &no, PlaceCoarse: &yes}, trial.Consent{PlaceCoarse: true, ContactAgain: true}},
		{conduct.ConsentChange{}, trial.Consent{PlaceCoarse: true, ContactAgain: true}},
	} {
		got := must(w.s.ChangeConsent(w.ctx, r.actor, e.trial, c.change))(t).Consent
		want := allTicks
		want.PublishOpen, want.PlaceCoarse, want.ContactAgain = c.want.PublishOpen, c.want.PlaceCoarse, c.want.ContactAgain
		if stored := must(w.s.Enrolment(w.ctx, r.actor, e.trial))(t).Consent; got != want || stored != want {
			t.Errorf("ticks %+v, stored %+v, want %+v", got, stored, want)
		}
	}
	_, err := w.s.ChangeConsent(w.ctx, e.eyes, e.trial, conduct.ConsentChange{PublishOpen: &yes})
	wantKind(t, err, trial.Forbidden, "")
	if data, _ := w.ownData(r.actor); strings.Count(fmt.Sprint(data["receipts"]), "kind:consent") != 2 {
		t.Errorf("two changes stand in the chain: %v", data["receipts"])
	}
	if after := len(must(w.s.Enrolments(w.ctx, e.organiser, e.trial))(t)); after != before {
		t.Errorf("%d enrolments, %d before", after, before)
	}
	w.ok(w.s.Withdraw(w.ctx, r.actor, e.trial, false))
	must(w.s.ChangeConsent(w.ctx, r.actor, e.trial, conduct.ConsentChange{ContactAgain: &no}))(t) // also who has left
	w.ok(w.s.Withdraw(w.ctx, r.actor, e.trial, true))
	_, err = w.s.ChangeConsent(w.ctx, r.actor, e.trial, conduct.ConsentChange{ContactAgain: &yes})
	wantKind(t, err, trial.NotFound, "not_enrolled")
	w.wantSound()
}

// Nothing of an angler under age is kept before another organiser has confirmed that the guardian agrees.
func TestGuardian(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	young := e.anglers[0]
	ticks := allTicks
	ticks.Minor = true
	id := w.randomID()
	must(w.s.Enrol(w.ctx, young, e.trial, trial.Enrolment{ID: id, Code: [32]byte{1}, Consent: ticks}))(t)
	_, err := w.s.FetchUnit(w.ctx, young, e.trial, w.id())
	wantKind(t, err, trial.Conflict, "enrolment.guardian")
	o := trial.Outing{ID: w.id(), Water: "Upper Wend", StartedAt: w.clock.read()}
	_, err = w.s.OpenOuting(w.ctx, young, e.trial, o)
	wantKind(t, err, trial.Conflict, "enrolment.guardian")
	for _, who := range []trial.Actor{young, e.anglers[1], e.eyes} {
		wantKind(t, w.s.ConfirmGuardian(w.ctx, who, e.trial, id), trial.Forbidden, "forbidden")
	}
	wantKind(t, w.s.ConfirmGuardian(w.ctx, e.organiser, e.trial, w.randomID()), trial.NotFound, "not_found")
	w.ok(w.s.ConfirmGuardian(w.ctx, e.organiser, e.trial, id))
	w.ok(w.s.ConfirmGuardian(w.ctx, e.founder, e.trial, id)) // the first stands
	if got := must(w.s.Enrolment(w.ctx, young, e.trial))(t); got.GuardianBy != e.organiser.AccountID || got.GuardianAt == nil {
		t.Errorf("the enrolment says %+v", got)
	}
	must(w.s.OpenOuting(w.ctx, young, e.trial, o))(t)
	must(w.s.FetchUnit(w.ctx, young, e.trial, w.id()))(t)
	grown := e.join(e.anglers[1])
	wantKind(t, w.s.ConfirmGuardian(w.ctx, e.organiser, e.trial, grown.enrolment), trial.Conflict, "enrolment.adult")
	own := w.randomID()
	must(w.s.Enrol(w.ctx, e.organiser, e.trial, trial.Enrolment{ID: own, Code: [32]byte{2}, Consent: ticks}))(t)
	wantKind(t, w.s.ConfirmGuardian(w.ctx, e.organiser, e.trial, own), trial.Forbidden, "forbidden")
	w.ok(w.s.Withdraw(w.ctx, young, e.trial, true))
	wantKind(t, w.s.ConfirmGuardian(w.ctx, e.organiser, e.trial, id), trial.Gone, "record.erased")
	w.wantSound()
}
