package conduct_test

import (
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

// The organiser sees from whom something is missing, by name, and nothing of any fish.
func TestOutstanding(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 3).opened(ruleSheet())
	r, outing, _, period := e.inAPeriod(e.anglers[0])
	r.land(period, "C")
	heard := w.clock.read()
	silent := e.join(e.anglers[1])
	done, ended, _, _ := e.inAPeriod(e.anglers[2])
	must(w.s.EndOuting(w.ctx, done.actor, e.trial, ended, trial.OutingEnd{EndedAt: w.clock.read(), Reason: "planned"}))(t)
	guide := e.anglers[0]
	guest := must(w.s.BringGuest(w.ctx, guide, e.trial, trial.Enrolment{ID: w.randomID(), Code: [32]byte{8}, Consent: allTicks}))(t)
	must(w.s.PrintSlips(w.ctx, e.eyes, e.trial, silent.enrolment, 4))(t)

	list := must(w.s.Outstanding(w.ctx, e.organiser, e.trial))(t)
	by := map[trial.ID]trial.Outstanding{}
	for _, o := range list {
		by[o.EnrolmentID] = o
	}
	if o := by[r.enrolment]; !o.Waits() || o.OpenOutings != 1 || o.OpenSince == nil || o.LastHeard == nil || !o.LastHeard.Equal(heard) || o.Name == "" || o.Guest {
		t.Errorf("fishing since %s: %+v", outing, o)
	}
	if o := by[silent.enrolment]; o.Waits() || o.LastHeard != nil || o.Slips != 4 || o.Carried != 0 {
		t.Errorf("never heard: %+v", o)
	}
	if o := by[done.enrolment]; o.Waits() || o.OpenOutings != 0 || o.LastHeard == nil {
		t.Errorf("ended: %+v", o)
	}
	if o := by[guest.Enrolment.ID]; !o.Waits() || !o.CardOut || !o.Guest || o.Name != "" || len(list) != 4 {
		t.Errorf("a guest whose card is not in, of %d: %+v", len(list), o)
	}
}

// A trial with paper out is locked before the 30 days are over once its organiser says, for good and with the reason, that every card
// is in; the time for fish noted late is waited for all the same.
func TestCardsAreIn(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 3).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	r.land(period, "C")
	must(w.s.PrintSlips(w.ctx, e.eyes, e.trial, r.enrolment, 2))(t)
	const reason = "both slips lie in the tin, unopened"
	_, err := w.s.DeclareCardsIn(w.ctx, e.organiser, e.trial, reason)
	wantKind(t, err, trial.Conflict, "trial.state")
	e.move(trial.Closed)
	_, err = w.s.DeclareCardsIn(w.ctx, e.organiser, e.trial, "so")
	wantFields(t, err, "reason")
	if view := must(w.s.Trial(w.ctx, r.actor, e.trial))(t); view.CardsIn != nil || trial.KindOf(view.Awaits) != trial.Conflict {
		t.Errorf("before: %+v, %v", view.CardsIn, view.Awaits)
	}
	declared := must(w.s.DeclareCardsIn(w.ctx, e.organiser, e.trial, reason))(t)
	if declared.Awaits != nil || declared.CardsIn == nil || declared.CardsIn.Reason != reason {
		t.Errorf("declared %+v, %v", declared.CardsIn, declared.Awaits)
	}
	must(w.s.DeclareCardsIn(w.ctx, e.organiser, e.trial, reason))(t)
	_, err = w.s.DeclareCardsIn(w.ctx, e.organiser, e.trial, "on second thoughts, they are all here")
	wantKind(t, err, trial.Conflict, "cards.in")
	if view := must(w.s.Trial(w.ctx, e.eyes, e.trial))(t); view.CardsIn == nil || view.CardsIn.Reason != reason {
		t.Errorf("the scrutineer reads %+v", view.CardsIn)
	}
	public, private := w.partsOf(e.trial, e.trial, trial.LedgerCardsIn)
	if len(public) != 1 || !strings.Contains(public[0], reason) || strings.Contains(public[0], e.organiser.AccountID.String()) || !strings.Contains(private[0], e.organiser.AccountID.String()) {
		t.Errorf("the organiser's chain holds %q, %q", public, private)
	}
	_, err = w.s.MoveTrial(w.ctx, e.organiser, e.trial, trial.Locked, "")
	wantKind(t, err, trial.Conflict, "trial.too_early") // late_limit_h stands
	w.clock.move(time.Duration(ruleSheet().OutingLimits.LateLimitH) * time.Hour)
	e.move(trial.Locked)
	_, err = w.s.DeclareCardsIn(w.ctx, e.organiser, e.trial, "and now it is late")
	wantKind(t, err, trial.Conflict, "cards.in")
	if faults := must(w.s.Check(w.ctx))(t).Faults; len(faults) > 0 {
		t.Error(strings.Join(faults, "\n"))
	}
}
