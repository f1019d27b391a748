package conduct_test

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"evenrig/service/trial"
)

// measure saves a reading of an outing's water, now.
func (r *rod) measure(outing trial.ID, c float64) trial.WelfareState {
	r.e.w.t.Helper()
	in := trial.Temperature{ID: r.e.w.id(), OutingID: outing, At: r.e.w.clock.read(), Water: trial.Measure{Value: c, Unit: "C"}}
	view := must(r.e.w.s.MeasureWater(r.e.w.ctx, r.actor, r.e.trial, in))(r.e.w.t)
	return view.Outing.Welfare
}

// At the stop temperature no round and no half may begin, until a later reading or the organiser says otherwise. Limits: 18 and 20 C,
// DAERA guidance on angling in warm water.
func TestWarmWaterThroughTheDay(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	r := e.join(e.anglers[0])
	outing, unit := r.outing(), r.unit()
	if got := must(w.s.Outing(w.ctx, r.actor, e.trial, outing))(t).Welfare; got != trial.WelfareUnmeasured {
		t.Errorf("without a thermometer: %s", got)
	}
	w.clock.move(time.Minute)
	if got := r.measure(outing, 18); got != trial.WelfareCaution {
		t.Errorf("at 18 C: %s", got)
	}
	period := r.begin(outing, unit, 1)
	w.clock.move(time.Hour)
	if got := r.measure(outing, 20); got != trial.WelfareStop {
		t.Errorf("at 20 C: %s", got)
	}
	fish := r.land(period, "C") // one more on the line is still logged
	r.swap(period)
	second := trial.Period{ID: w.id(), OutingID: outing, UnitID: unit, Half: 2, Confirmed: true, StartedAt: w.clock.read()}
	_, err := w.s.BeginPeriod(w.ctx, r.actor, e.trial, second)
	wantKind(t, err, trial.Conflict, "welfare.stop")
	_, err = w.s.FetchUnit(w.ctx, r.actor, e.trial, w.id())
	wantKind(t, err, trial.Conflict, "welfare.stop")
	// What began before the warm reading, and arrives only now, is taken.
	other := e.join(e.anglers[1])
	theirs, theirUnit := other.outing(), other.unit()
	began := w.clock.read()
	w.clock.move(time.Hour)
	other.measure(theirs, 22)
	must(w.s.BeginPeriod(w.ctx, other.actor, e.trial, trial.Period{ID: w.id(), OutingID: theirs, UnitID: theirUnit, Half: 1, Confirmed: true, StartedAt: began}))(t)

	// The organiser lets the first fish on today; the second stays stopped.
	name := must(w.s.Enrolment(w.ctx, r.actor, e.trial))(t).Pseudonym
	leave := trial.WelfareOverride{Day: w.clock.read().Format(time.DateOnly), Reason: "a spring-fed stretch"}
	_, err = w.s.OverrideWelfare(w.ctx, r.actor, e.trial, name, leave)
	wantKind(t, err, trial.Forbidden, "forbidden")
	_, err = w.s.OverrideWelfare(w.ctx, e.organiser, e.trial, "ZZZZZZ", leave)
	wantKind(t, err, trial.NotFound, "not_found")
	_, err = w.s.OverrideWelfare(w.ctx, e.organiser, e.trial, name, trial.WelfareOverride{Day: "today"})
	wantFields(t, err, "day", "reason")
	must(w.s.OverrideWelfare(w.ctx, e.organiser, e.trial, name, leave))(t)
	must(w.s.BeginPeriod(w.ctx, r.actor, e.trial, second))(t)
	if got := must(w.s.Outing(w.ctx, r.actor, e.trial, outing))(t).Welfare; got != trial.WelfareStop {
		t.Errorf("let fish on, the water still says %s", got)
	}
	_, err = w.s.FetchUnit(w.ctx, other.actor, e.trial, w.id())
	wantKind(t, err, trial.Conflict, "welfare.stop")
	if list := must(w.s.WelfareOverrides(w.ctx, e.eyes, e.trial))(t); len(list) != 1 || list[0].Angler != name || list[0].Reason != leave.Reason || list[0].N != 1 {
		t.Errorf("overrides %+v", list)
	}
	public, _ := w.partsOf(e.trial, e.trial, trial.LedgerOverride)
	if len(public) != 1 || !strings.Contains(public[0], leave.Reason) || strings.Contains(public[0], name) || strings.Contains(public[0], leave.Day) {
		t.Errorf("the chain says %s", public)
	}
	// A cooler reading lets the second go on.
	w.clock.move(time.Hour)
	if got := other.measure(theirs, 17.9); got != trial.WelfareFine {
		t.Errorf("at 17.9 C: %s", got)
	}
	must(w.s.FetchUnit(w.ctx, other.actor, e.trial, w.id()))(t)
	w.sound()
	_ = fish
}

// A reading is sent under the phone's own id and sent again as often as it likes.
func TestReadingSentAgain(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	r, other := e.join(e.anglers[0]), e.join(e.anglers[1])
	outing := r.outing()
	in := trial.Temperature{ID: w.id(), OutingID: outing, At: w.clock.move(time.Minute), Water: trial.Measure{Value: 64.4, Unit: "F"}}
	for i := range 2 {
		if view := must(w.s.MeasureWater(w.ctx, r.actor, e.trial, in))(t); view.Created != (i == 0) || view.Temperature.Water != in.Water || view.Outing.Welfare != trial.WelfareCaution {
			t.Errorf("time %d: %+v", i, view)
		}
	}
	changed := in
	changed.Water.Value = 60
	_, err := w.s.MeasureWater(w.ctx, r.actor, e.trial, changed)
	wantKind(t, err, trial.Conflict, "record.conflict")
	_, err = w.s.MeasureWater(w.ctx, other.actor, e.trial, in)
	wantKind(t, err, trial.Conflict, "record.conflict")
	stray := in
	stray.ID = w.id()
	_, err = w.s.MeasureWater(w.ctx, other.actor, e.trial, stray)
	wantKind(t, err, trial.NotFound, "not_found")
	stray.Water.Unit = "K"
	_, err = w.s.MeasureWater(w.ctx, r.actor, e.trial, stray)
	wantFields(t, err, "value")
	if list := must(w.s.Temperatures(w.ctx, r.actor, e.trial, outing))(t); len(list) != 1 || list[0].ID != in.ID {
		t.Errorf("readings %+v", list)
	}
	_, err = w.s.Temperatures(w.ctx, other.actor, e.trial, outing)
	wantKind(t, err, trial.NotFound, "not_found")
	w.ok(w.s.Withdraw(w.ctx, r.actor, e.trial, true))
	_, err = w.s.MeasureWater(w.ctx, r.actor, e.trial, in)
	wantKind(t, err, trial.Gone, "record.erased")
	w.sound()
}

// The answer to a fish says how far the swap rule has come, from the angler's own fish and the server's clock alone, sent once or
// again, one by one or at once.
func TestAnswerSaysHowFarTheSwapIs(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet()) // 2 fish or 45 minutes
	r, _, _, period := e.inAPeriod(e.anglers[0])
	other, _, _, otherPeriod := e.inAPeriod(e.anglers[1])
	other.land(otherPeriod, "C")
	send := func(c trial.Catch) trial.SwapState {
		t.Helper()
		view := must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, c))(t)
		if view.Swap == nil {
			t.Fatal("the answer says nothing of the swap")
		}
		return *view.Swap
	}
	lost := r.fish(period, "C")
	lost.Outcome = trial.Lost
	if s := send(lost); s.Fish != 0 || *s.Of != 2 || s.Due || *s.MinutesLeft != 25 {
		t.Errorf("a lost fish does not count: %+v", s)
	}
	first := r.fish(period, "unknown")
	if s := send(first); s.Fish != 1 || s.Due {
		t.Errorf("a fish whose fly is not known counts: %+v", s)
	}
	if s := send(first); s.Fish != 1 || s.Due {
		t.Errorf("sent again: %+v", s)
	}
	w.clock.move(time.Minute)
	second := r.fish(period, "N")
	if s := send(second); s.Fish != 2 || !s.Due || *s.MinutesLeft != 24 {
		t.Errorf("after two: %+v", s)
	}
	must(w.s.AmendCatch(w.ctx, r.actor, e.trial, second.ID, patchOf(t, 1, map[string]any{"void": true})))(t)
	if s := send(second); s.Fish != 1 || s.Due {
		t.Errorf("one is void: %+v", s)
	}
	w.clock.move(30 * time.Minute)
	if s := send(first); s.Fish != 1 || !s.Due || *s.MinutesLeft != 0 {
		t.Errorf("by time: %+v", s)
	}
	r.swap(period)
	if s := send(first); s.Due || s.MinutesLeft != nil || s.Fish != 1 {
		t.Errorf("once it has ended: %+v", s)
	}
	view := must(w.s.Period(w.ctx, r.actor, e.trial, period))(t)
	if view.Swap.Fish != 1 || view.Swap.Due {
		t.Errorf("the period says %+v", view.Swap)
	}
	// Six at once: each answer counts its own fish and some of the others, and one of them counts all.
	otherNow := must(w.s.Period(w.ctx, other.actor, e.trial, otherPeriod))(t).Swap.Fish
	var wait sync.WaitGroup
	most := make([]int, 6)
	for i := range most {
		c := other.fish(otherPeriod, "C")
		wait.Go(func() {
			if view, err := w.s.SubmitCatch(w.ctx, other.actor, e.trial, c); err == nil {
				most[i] = view.Swap.Fish
			}
		})
	}
	wait.Wait()
	seen := map[int]bool{}
	for _, n := range most {
		seen[n] = true
	}
	for n := otherNow + 1; n <= otherNow+6; n++ {
		if !seen[n] {
			t.Errorf("nobody was told of fish %d: %v", n, most)
		}
	}
	if batch := must(w.s.SubmitBatch(w.ctx, r.actor, e.trial, []trial.Catch{first}))(t); batch[0].View.Swap != nil {
		t.Errorf("a batch is kept quick: %+v", batch[0].View.Swap)
	}
}

// decided has an account decide a dispute.
func (e *contest) decided(who trial.Actor, dispute trial.ID, decision string) error {
	_, err := e.w.s.DecideDispute(e.w.ctx, who, e.trial, dispute, trial.DisputeDecision{Decision: decision, Reason: "as I see it from the words"})
	return err
}

// A fish is disputed, two others decide blind, and what both leave out is counted as disputed; everything stands in the angler's
// chain, and after locking it stays as it is.
func TestDisputedFish(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 4).opened(ruleSheet())
	r, outing, _, period := e.inAPeriod(e.anglers[0])
	friend := e.anglers[1]
	kept, out, split := r.land(period, "C"), r.land(period, "N"), r.land(period, "C")
	w.clock.move(time.Minute)
	file := func(who trial.Actor, subject trial.ID) trial.ID {
		t.Helper()
		return must(w.s.FileDispute(w.ctx, who, e.trial, subject, "hooked on the walk back"))(t).Dispute.ID
	}
	d := file(friend, out.ID)
	if again := must(w.s.FileDispute(w.ctx, friend, e.trial, out.ID, "hooked on the walk back"))(t); again.Created || again.Dispute.ID != d {
		t.Errorf("filed again: %+v", again)
	}
	_, err := w.s.FileDispute(w.ctx, e.eyes, e.trial, out.ID, "hooked on the walk back")
	wantKind(t, err, trial.Conflict, "dispute.exists")
	_, err = w.s.FileDispute(w.ctx, friend, e.trial, w.id(), "hooked on the walk back")
	wantKind(t, err, trial.NotFound, "not_found")
	_, err = w.s.FileDispute(w.ctx, friend, e.trial, kept.ID, "no")
	wantFields(t, err, "words")

	wantKind(t, e.decided(r.actor, d, trial.Keep), trial.Conflict, "dispute.involved")
	wantKind(t, e.decided(friend, d, trial.Keep), trial.Conflict, "dispute.involved")
	_, err = w.s.DecideDispute(w.ctx, e.eyes, e.trial, d, trial.DisputeDecision{Decision: "maybe"})
	wantFields(t, err, "decision", "reason")
	w.ok(e.decided(e.eyes, d, trial.Exclude))
	wantKind(t, e.decided(e.eyes, d, trial.Keep), trial.Conflict, "dispute.decided")
	analysed := func() int64 { return must(w.s.Progress(w.ctx, e.organiser, e.trial))(t).Analysed }
	if analysed() != 3 {
		t.Errorf("with one decision %d fish are analysed", analysed())
	}
	// Until both stand, what one said is his own.
	for _, who := range []trial.Actor{e.eyes, e.organiser, r.actor, friend} {
		view := must(w.s.Disputes(w.ctx, who, e.trial))(t)[0]
		own := who.AccountID == e.eyes.AccountID
		if (len(view.Dispute.Decisions) == 1) != own || view.Decided != own || view.MayDecide != (who.AccountID == e.organiser.AccountID) {
			t.Errorf("%+v sees %+v", who, view)
		}
		if !view.Dispute.FiledBy.IsZero() || !view.Dispute.EnrolmentID.IsZero() || view.Dispute.Subject.IsZero() != (own || who.AccountID == e.organiser.AccountID) {
			t.Errorf("%+v is told who: %+v", who, view.Dispute)
		}
	}
	w.ok(e.decided(e.organiser, d, trial.Exclude))
	wantKind(t, e.decided(e.anglers[2], d, trial.Keep), trial.Conflict, "dispute.decided")
	if p := must(w.s.Progress(w.ctx, e.organiser, e.trial))(t); p.Analysed != 2 || p.Excluded[trial.Disputed] != 1 {
		t.Errorf("progress %+v", p)
	}
	if view := must(w.s.Catch(w.ctx, r.actor, e.trial, out.ID))(t); view.Excluded != trial.Disputed || view.Taken != trial.TookControl {
		t.Errorf("its angler sees %+v", view)
	}
	// Correcting it does not bring it back; sent again it is the same fish.
	must(w.s.AmendCatch(w.ctx, r.actor, e.trial, out.ID, patchOf(t, 1, map[string]any{"note": "as it was"})))(t)
	if view := must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, out))(t); view.Created || !view.Catch.Disputed {
		t.Errorf("sent again: %+v", view.Catch)
	}

	d = file(e.organiser, split.ID)
	w.ok(e.decided(friend, d, trial.Exclude))
	w.ok(e.decided(e.anglers[2], d, trial.Keep))
	d = file(r.actor, kept.ID) // his own doubt
	w.ok(e.decided(friend, d, trial.Keep))
	w.ok(e.decided(e.anglers[2], d, trial.Keep))
	open := file(friend, outing)
	w.ok(e.decided(e.anglers[2], open, trial.Exclude))
	var outcomes []string
	for _, view := range must(w.s.Disputes(w.ctx, e.eyes, e.trial))(t) {
		outcomes = append(outcomes, view.Outcome)
	}
	if got := strings.Join(outcomes, " "); got != "exclude disagreed keep open" {
		t.Errorf("outcomes %s", got)
	}
	if analysed() != 2 {
		t.Errorf("%d fish are analysed", analysed())
	}
	filed, words := w.partsOf(e.trial, r.enrolment, trial.LedgerDispute)
	decisions, _ := w.partsOf(e.trial, r.enrolment, trial.LedgerDecision)
	if len(filed) != 4 || len(decisions) != 7 || strings.Contains(filed[0], "walk back") || !strings.Contains(words[0], "walk back") {
		t.Errorf("the chain has %d disputes, %d decisions: %s", len(filed), len(decisions), filed)
	}
	for _, text := range append(append(filed, words...), decisions...) {
		for _, who := range []trial.Actor{e.eyes, e.organiser, friend, e.anglers[2]} {
			if strings.Contains(text, who.AccountID.String()) {
				t.Errorf("the chain tells who: %s", text)
			}
		}
	}
	w.sound()
	e.lock()
	wantKind(t, e.decided(e.organiser, open, trial.Exclude), trial.Conflict, "trial.locked")
	_, err = w.s.FileDispute(w.ctx, e.eyes, e.trial, period, "hooked on the walk back")
	wantKind(t, err, trial.NotFound, "not_found")
	_, err = w.s.FileDispute(w.ctx, e.eyes, e.trial, kept.ID, "hooked on the walk back")
	wantKind(t, err, trial.Conflict, "trial.locked")
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	a := must(w.s.Analysis(w.ctx, e.organiser, e.trial, 1))(t)
	if !strings.Contains(string(a.Result), `"disputed": 1`) && !strings.Contains(string(a.Result), `"disputed":1`) {
		t.Error("the result does not count the disputed fish")
	}
	w.sound()
}

// All of a disputed outing's fish are left out, those that arrive later too.
func TestDisputedOuting(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 3).opened(ruleSheet())
	r, outing, _, period := e.inAPeriod(e.anglers[0])
	r.land(period, "C")
	waiting := r.fish(period, "N")
	d := must(w.s.FileDispute(w.ctx, e.anglers[1], e.trial, outing, "a third fly was on all day"))(t)
	if d.Facts.Catch != nil || d.Facts.Fish != 1 || d.Facts.WaterType != "river" {
		t.Errorf("facts %+v", d.Facts)
	}
	w.ok(e.decided(e.eyes, d.Dispute.ID, trial.Exclude))
	w.ok(e.decided(e.anglers[2], d.Dispute.ID, trial.Exclude))
	w.clock.move(time.Minute)
	must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, waiting))(t)
	if p := must(w.s.Progress(w.ctx, e.organiser, e.trial))(t); p.Analysed != 0 || p.Excluded[trial.Disputed] != 2 {
		t.Errorf("progress %+v", p)
	}
	for _, view := range must(w.s.Catches(w.ctx, r.actor, e.trial, everything))(t) {
		if view.Excluded != trial.Disputed || !view.Catch.Disputed {
			t.Errorf("a fish of it is %+v", view)
		}
	}
	// Moved to another outing they stay left out.
	elsewhere, unit := r.outing(), r.unit()
	must(w.s.AmendCatch(w.ctx, r.actor, e.trial, waiting.ID, patchOf(t, 1, map[string]any{"period": r.begin(elsewhere, unit, 1).String()})))(t)
	if view := must(w.s.Catch(w.ctx, r.actor, e.trial, waiting.ID))(t); view.Excluded != trial.Disputed {
		t.Errorf("moved away it is %q", view.Excluded)
	}
	// A dispute goes with the records that it is about; who decided stays unnamed when he has himself erased.
	other := e.join(e.anglers[2])
	w.ok(w.s.Withdraw(w.ctx, other.actor, e.trial, true))
	if list := must(w.s.Disputes(w.ctx, e.organiser, e.trial))(t); len(list) != 1 || list[0].Outcome != trial.Exclude {
		t.Errorf("disputes %+v", list)
	}
	w.ok(w.s.Withdraw(w.ctx, r.actor, e.trial, true))
	if list := must(w.s.Disputes(w.ctx, e.organiser, e.trial))(t); len(list) != 0 {
		t.Errorf("the dispute outlives what it was about: %+v", list)
	}
	w.sound()
}

// Of any number who decide at once two are heard, and the outcome is theirs.
func TestDecidedAtOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 6).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	fish := r.land(period, "C")
	d := must(w.s.FileDispute(w.ctx, e.anglers[1], e.trial, fish.ID, "hooked on the walk back"))(t).Dispute.ID
	var wait sync.WaitGroup
	answers := make([]error, 5)
	for i, who := range []trial.Actor{e.eyes, e.organiser, e.anglers[2], e.anglers[3], e.anglers[4]} {
		wait.Go(func() { answers[i] = e.decided(who, d, trial.Exclude) })
	}
	wait.Wait()
	heard := 0
	for _, err := range answers {
		if err == nil {
			heard++
		} else {
			wantKind(t, err, trial.Conflict, "dispute.decided")
		}
	}
	if heard != 2 {
		t.Errorf("%d were heard", heard)
	}
	if view := must(w.s.Catch(w.ctx, r.actor, e.trial, fish.ID))(t); view.Excluded != trial.Disputed {
		t.Errorf("excluded as %q", view.Excluded)
	}
	w.sound()
}

// Past the season, and once the trial has its fish, opening an outing says so and refuses nothing.
func TestOutingPastItsEnd(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := ruleSheet()
	p.MaxFish = 2
	e := w.newClub("Wend Grayling Club", 1).opened(p)
	r, _, _, period := e.inAPeriod(e.anglers[0])
	r.land(period, "C")
	r.land(period, "N")
	said := func() string {
		view := must(w.s.OpenOuting(w.ctx, r.actor, e.trial, trial.Outing{ID: w.id(), Water: "Upper Wend", StartedAt: w.clock.read()}))(t)
		var codes []string
		for _, warning := range view.Warnings {
			codes = append(codes, warning.Code)
		}
		return fmt.Sprint(codes)
	}
	if got := said(); got != "[]" {
		t.Errorf("before anybody counted: %s", got)
	}
	must(w.s.Progress(w.ctx, e.organiser, e.trial))(t) // counts
	if got := said(); got != "[fish.enough]" {
		t.Errorf("with its 2 fish: %s", got)
	}
	w.clock.move(120 * 24 * time.Hour)
	if got := said(); got != "[season.over fish.enough]" {
		t.Errorf("past the season: %s", got)
	}
	w.ok(w.store.InReadTx(w.ctx, func(ctx context.Context, tx trial.ReadTx) error {
		n, err := tx.AnalysedLately(ctx, e.trial)
		if n != 2 {
			t.Errorf("%d fish as last counted", n)
		}
		return err
	}))
}
