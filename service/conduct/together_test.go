package conduct_test

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"evenrig/service/analysis"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// together runs do four times at once, on two processes of the service, and returns what each came to.
func (w *world) together(do func(n int, s *conduct.Service) error) []error {
	w.t.Helper()
	second := w.service(2)
	errs := make([]error, 4)
	start := make(chan struct{})
	var all sync.WaitGroup
	for i, s := range []*conduct.Service{w.s, second, w.s, second} {
		all.Go(func() {
			<-start
			errs[i] = do(i, s)
		})
	}
	close(start)
	all.Wait()
	return errs
}

// wantWon fails unless so many errors are nil and the others are of one kind.
func wantWon(t *testing.T, what string, errs []error, won int, others trial.Kind) {
	t.Helper()
	n := 0
	for _, err := range errs {
		if err == nil {
			n++
		} else if trial.KindOf(err) != others {
			t.Errorf("%s: %v", what, err)
		}
	}
	if n != won {
		t.Errorf("%s: %d of %d came through, want %d: %v", what, n, len(errs), won, errs)
	}
}

func (w *world) wantSound() {
	w.t.Helper()
	if checked := must(w.s.Check(w.ctx))(w.t); len(checked.Faults) > 0 {
		w.t.Errorf("check: %+v", checked)
	}
}

// The same enrolment sent by an impatient phone again and again is one enrolment, and none of the answers is a refusal.
func TestSameEnrolmentAtOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	sent := trial.Enrolment{ID: w.randomID(), Code: [32]byte{7}, Consent: allTicks}
	var views [4]conduct.EnrolmentView
	errs := w.together(func(n int, s *conduct.Service) (err error) {
		views[n], err = s.Enrol(w.ctx, e.anglers[0], e.trial, sent)
		return err
	})
	wantWon(t, "enrol", errs, 4, trial.Internal)
	created := 0
	for _, v := range views {
		if v.Created {
			created++
		}
		if v.Enrolment.Pseudonym != views[0].Enrolment.Pseudonym || v.Receipt != views[0].Receipt {
			t.Errorf("answers %+v", views)
		}
	}
	if created != 1 {
		t.Errorf("%d enrolments were made", created)
	}
	w.wantSound()
}

// Units fetched at once under different ids are numbered without gap or double, and no more than a phone may carry.
func TestUnitsAtOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := ruleSheet()
	p.Draw.TripUnits = 3
	e := w.newClub("Wend Grayling Club", 1).opened(p)
	r := e.join(e.anglers[0])
	ids := []trial.ID{w.id(), w.id(), w.id(), w.id()}
	errs := w.together(func(n int, s *conduct.Service) error {
		_, err := s.FetchUnit(w.ctx, r.actor, e.trial, ids[n])
		return err
	})
	wantWon(t, "fetch", errs, 3, trial.Conflict)
	var numbers []int
	for _, u := range must(w.s.Units(w.ctx, r.actor, e.trial))(t) {
		numbers = append(numbers, u.Unit.N)
	}
	if !slices.Equal(numbers, []int{1, 2, 3}) {
		t.Errorf("units %v", numbers)
	}
	w.wantSound()
}

// Of corrections of one version exactly one is made; the others are told that the record has changed.
func TestCorrectionsAtOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	fish := r.land(period, "C")
	errs := w.together(func(n int, s *conduct.Service) error {
		_, err := s.AmendCatch(w.ctx, r.actor, e.trial, fish.ID, patchOf(t, 1, map[string]any{"note": fmt.Sprint("note ", n)}))
		return err
	})
	wantWon(t, "amend a catch", errs, 1, trial.Stale)
	errs = w.together(func(n int, s *conduct.Service) error {
		start := w.clock.read().Add(-time.Duration(n+1) * time.Second)
		_, err := s.AmendPeriod(w.ctx, r.actor, e.trial, period, patchOf(t, 1, map[string]any{"started_at": start}))
		return err
	})
	wantWon(t, "amend a period", errs, 1, trial.Stale)
	for _, subject := range []trial.ID{fish.ID, period} {
		if list := must(w.s.Amendments(w.ctx, r.actor, e.trial, subject))(t); len(list) != 1 {
			t.Errorf("%d amendments", len(list))
		}
	}
	w.wantSound()
}

// An invitation's last use admits one.
func TestLastUseAtOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := w.newClub("Wend Grayling Club", 0)
	_, secret, err := w.s.Invite(w.ctx, c.founder, c.id, trial.Angler, 2, "")
	w.ok(err)
	must(w.s.AcceptInvitation(w.ctx, nil, secret, "Una", false))(t)
	before := len(must(w.s.Members(w.ctx, c.founder, c.id, everything))(t))
	errs := w.together(func(n int, s *conduct.Service) error {
		_, err := s.AcceptInvitation(w.ctx, nil, secret, fmt.Sprint("Ulf ", n), false)
		return err
	})
	wantWon(t, "accept", errs, 1, trial.NotFound)
	if members := must(w.s.Members(w.ctx, c.founder, c.id, everything))(t); len(members) != before+1 {
		t.Errorf("%d members, want %d", len(members), before+1)
	}
}

// A trial is moved once, and an analysis of the same records asked for at once is one analysis.
func TestOrganisersAtOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := w.newClub("Wend Grayling Club", 1)
	draft := must(w.s.CreateTrial(w.ctx, c.organiser, c.id, ruleSheet()))(t).Trial.ID
	move := func(to trial.State, won int) {
		t.Helper()
		errs := w.together(func(_ int, s *conduct.Service) error {
			_, err := s.MoveTrial(w.ctx, c.organiser, draft, to, "")
			return err
		})
		wantWon(t, string(to), errs, won, trial.Conflict)
	}
	move(trial.Registered, 1)
	move(trial.Open, 1)
	e := &contest{c, draft}
	r, _, _, period := e.inAPeriod(c.anglers[0])
	r.land(period, "C")
	move(trial.Closed, 1)
	w.clock.move(2 * time.Hour)
	move(trial.Locked, 1)
	numbers := make([]int, 4)
	errs := w.together(func(n int, s *conduct.Service) error {
		a, err := s.RequestAnalysis(w.ctx, c.organiser, draft)
		numbers[n] = a.N
		return err
	})
	wantWon(t, "analysis", errs, 4, trial.Internal)
	if !slices.Equal(numbers, []int{1, 1, 1, 1}) {
		t.Errorf("analyses %v, want the closing one each time", numbers)
	}
	w.wantSound()
}

// Fish sent while the trial is being locked are each on one side of the lock, and the closing analysis counts as
// analysed exactly those before it.
func TestLockWhileFishArrive(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	second := w.service(2)
	type sender struct {
		s    *conduct.Service
		r    *rod
		fish []trial.Catch
	}
	senders := []*sender{{s: w.s}, {s: second}}
	for i, from := range senders {
		r, _, _, period := e.inAPeriod(e.anglers[i])
		from.r = r
		for range 60 {
			from.fish = append(from.fish, r.fish(period, "C"))
		}
	}
	w.clock.move(time.Minute)
	e.move(trial.Closed)
	w.clock.move(2 * time.Hour)
	halfway := make(chan struct{})
	var once sync.Once
	var all sync.WaitGroup
	for _, from := range senders {
		all.Go(func() {
			for i, f := range from.fish {
				if i == len(from.fish)/3 {
					once.Do(func() { close(halfway) })
				}
				if _, err := from.s.SubmitCatch(w.ctx, from.r.actor, e.trial, f); err != nil {
					t.Errorf("submit: %v", err)
				}
			}
		})
	}
	all.Go(func() {
		<-halfway
		if _, err := second.MoveTrial(w.ctx, e.organiser, e.trial, trial.Locked, ""); err != nil {
			t.Errorf("lock: %v", err)
		}
	})
	all.Wait()
	var inTime int64
	for _, from := range senders {
		for _, v := range must(w.s.Catches(w.ctx, from.r.actor, e.trial, everything))(t) {
			if !v.Catch.AfterLock {
				inTime++
			}
		}
	}
	if inTime == 0 || inTime == 120 {
		t.Logf("%d of 120 fish before the lock: nothing was under way", inTime)
	}
	progress := must(w.s.Progress(w.ctx, e.organiser, e.trial))(t)
	if progress.Catches != 120 || progress.Analysed != inTime || progress.Excluded[trial.AfterLock] != 120-inTime {
		t.Errorf("progress %+v, want %d of 120 analysed", progress, inTime)
	}
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	closing := must(analysis.Decode(must(w.s.Analysis(w.ctx, e.eyes, e.trial, 1))(t).Result))(t)
	if got := closing.Counts.Analysed; got != inTime {
		t.Errorf("the closing analysis has %d fish, want %d", got, inTime)
	}
	w.wantSound()
}

// An angler who erases himself on one device while another is still sending leaves nothing behind.
func TestErasedWhileSending(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	for round := range 8 {
		r := e.join(e.anglers[0])
		o := trial.Outing{ID: w.id(), Water: "Upper Wend", StartedAt: w.clock.read()}
		unit := w.id()
		errs := w.together(func(n int, s *conduct.Service) (err error) {
			switch n {
			case 0:
				time.Sleep(time.Duration(round) * time.Millisecond)
				return s.Withdraw(w.ctx, r.actor, e.trial, true)
			case 1:
				_, err = s.OpenOuting(w.ctx, r.actor, e.trial, o)
			case 2:
				_, err = s.FetchUnit(w.ctx, r.actor, e.trial, unit)
			case 3:
				time.Sleep(time.Duration(round) * time.Millisecond)
				_, err = s.OpenOuting(w.ctx, r.actor, e.trial, trial.Outing{ID: o.ID, Water: o.Water, StartedAt: o.StartedAt})
			}
			if kind := trial.KindOf(err); kind == trial.NotFound || kind == trial.Gone {
				return nil // too late
			}
			return err
		})
		wantWon(t, "erase and send", errs, 4, trial.Internal)
		w.ok(w.store.InReadTx(w.ctx, func(ctx context.Context, tx trial.ReadTx) error {
			records, err := tx.RecordsOf(ctx, e.trial, r.enrolment)
			if len(records.Outings)+len(records.Units) > 0 {
				t.Errorf("round %d: left behind %+v", round, records)
			}
			return err
		}))
	}
	w.wantSound()
}
