package conduct_test

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// Two processes on one database, two phones each, all sending into one enrolment and its neighbour's at once, each fish
// from two of them: every acknowledged fish is there once, the two answers give one receipt, and the chains have no gap.
func TestTwoWritersOnOneEnrolment(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	second := w.service(2)
	const each = 120
	type sending struct {
		rod  *rod
		fish []trial.Catch
	}
	sendings := make([]sending, 2)
	for i := range sendings {
		r, _, _, period := e.inAPeriod(e.anglers[i])
		sendings[i].rod = r
		for range each {
			sendings[i].fish = append(sendings[i].fish, r.fish(period, "C"))
		}
	}
	var mu sync.Mutex
	receipts := map[trial.ID][]trial.Receipt{}
	created := map[trial.ID]int{}
	var all sync.WaitGroup
	for i, service := range []*conduct.Service{w.s, second, w.s, second} {
		for _, s := range sendings {
			all.Go(func() {
				fish := slices.Clone(s.fish)
				if i%2 == 1 {
					slices.Reverse(fish)
				}
				for _, f := range fish {
					v, err := service.SubmitCatch(w.ctx, s.rod.actor, e.trial, f)
					if err != nil {
						t.Errorf("%s: %v", f.ID, err)
						return
					}
					mu.Lock()
					receipts[f.ID] = append(receipts[f.ID], *v.Receipt)
					if v.Created {
						created[f.ID]++
					}
					mu.Unlock()
				}
			})
		}
	}
	all.Wait()
	for _, s := range sendings {
		stored := must(w.s.Catches(w.ctx, s.rod.actor, e.trial, everything))(t)
		if len(stored) != each {
			t.Errorf("%d fish stored of %d", len(stored), each)
		}
		for _, f := range s.fish {
			if created[f.ID] != 1 || len(receipts[f.ID]) != 4 || len(slices.Compact(receipts[f.ID])) != 1 {
				t.Errorf("%s: created %d times, receipts %v", f.ID, created[f.ID], receipts[f.ID])
			}
		}
	}
	checked := must(w.s.Check(w.ctx))(t)
	if len(checked.Faults) > 0 || checked.Entries < 2*each {
		t.Errorf("check: %+v", checked)
	}
}

// Intake, corrections, counting, checkpoints and a change of state at the same time: nothing is lost, nothing waits for
// ever, the state is seen by what comes after it, and the counts agree with the records in the end.
func TestEverythingAtOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 3).opened(ruleSheet())
	ctx, cancel := context.WithTimeout(w.ctx, time.Minute)
	defer cancel()
	var rods []*rod
	var periods []trial.ID
	for _, a := range e.anglers {
		r, _, _, period := e.inAPeriod(a)
		rods, periods = append(rods, r), append(periods, period)
	}
	fish := make([][]trial.Catch, len(rods))
	for i, r := range rods {
		for range 40 {
			fish[i] = append(fish[i], r.fish(periods[i], "N"))
		}
	}
	w.clock.move(time.Minute)
	var all sync.WaitGroup
	for i, r := range rods {
		all.Go(func() {
			for _, f := range fish[i] {
				if _, err := w.s.SubmitCatch(ctx, r.actor, e.trial, f); err != nil {
					t.Errorf("submit: %v", err)
				}
			}
		})
		all.Go(func() {
			for v := 1; v <= 10; v++ {
				if _, err := w.s.AmendPeriod(ctx, r.actor, e.trial, periods[i], patchOf(t, v, map[string]any{"confirmed": v%2 == 0})); err != nil {
					t.Errorf("amend: %v", err)
				}
			}
		})
	}
	all.Go(func() {
		for range 10 {
			if _, err := w.s.Progress(ctx, e.organiser, e.trial); err != nil {
				t.Errorf("progress: %v", err)
			}
			if err := w.s.Checkpoint(ctx); err != nil {
				t.Errorf("checkpoint: %v", err)
			}
		}
	})
	all.Go(func() {
		for _, to := range []trial.State{trial.Paused, trial.Open, trial.Paused, trial.Open, trial.Closed} {
			if _, err := w.s.MoveTrial(ctx, e.organiser, e.trial, to, ""); err != nil {
				t.Errorf("move: %v", err)
			}
		}
	})
	all.Wait()
	progress := must(w.s.Progress(w.ctx, e.organiser, e.trial))(t)
	if progress.Catches != 120 || progress.Analysed != 120 {
		t.Errorf("progress %+v, want 120 fish, all analysed", progress)
	}
	checked := must(w.s.Check(w.ctx))(t)
	if len(checked.Faults) > 0 || checked.Counts != 3 {
		t.Errorf("check: %+v", checked)
	}
}

// One account that enrols twice at once ends with one enrolment; one id under two records with one record; one unit id
// with one unit.
func TestRaces(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	second := w.service(2)
	services := []*conduct.Service{w.s, second, w.s, second}
	race := func(what string, do func(n int, s *conduct.Service) error) (won int) {
		t.Helper()
		errs := make([]error, len(services))
		var all sync.WaitGroup
		for i, s := range services {
			all.Go(func() { errs[i] = do(i, s) })
		}
		all.Wait()
		for i, err := range errs {
			if err == nil {
				won++
			} else if trial.KindOf(err) != trial.Conflict {
				t.Errorf("%s, %d: %v", what, i, err)
			}
		}
		return won
	}
	ids := []trial.ID{w.randomID(), w.randomID(), w.randomID(), w.randomID()}
	if won := race("enrol", func(n int, s *conduct.Service) error {
		_, err := s.Enrol(w.ctx, e.anglers[0], e.trial, trial.Enrolment{ID: ids[n], Code: [32]byte{byte(n + 1)}, Consent: allTicks})
		return err
	}); won != 1 {
		t.Errorf("%d enrolments of one account", won)
	}
	own := must(w.s.Enrolment(w.ctx, e.anglers[0], e.trial))(t)
	r := &rod{e: e, actor: e.anglers[0], enrolment: own.ID}
	outing := r.outing()
	unit := w.id()
	firsts := make([]trial.Unit, len(services))
	if won := race("unit", func(n int, s *conduct.Service) error {
		v, err := s.FetchUnit(w.ctx, r.actor, e.trial, unit)
		firsts[n] = v.Unit
		return err
	}); won != len(services) {
		t.Errorf("one unit's id was answered %d times of %d", won, len(services))
	}
	for _, u := range firsts {
		if u.N != 1 || u.First != firsts[0].First {
			t.Errorf("units %+v", firsts)
		}
	}
	periods := []trial.ID{w.id(), w.id(), w.id(), w.id()}
	if won := race("period", func(n int, s *conduct.Service) error {
		_, err := s.BeginPeriod(w.ctx, r.actor, e.trial, trial.Period{ID: periods[n], OutingID: outing, UnitID: unit, Half: 1, Confirmed: true, StartedAt: w.clock.read()})
		return err
	}); won != 1 {
		t.Errorf("the first half began %d times", won)
	}
	began := must(w.s.Periods(w.ctx, r.actor, e.trial, outing))(t)
	if len(began) != 1 {
		t.Fatalf("periods %+v", began)
	}
	fish := r.fish(began[0].Period.ID, "C")
	if won := race("fish", func(n int, s *conduct.Service) error {
		f := fish
		f.Note = fmt.Sprint("note ", n)
		_, err := s.SubmitCatch(w.ctx, r.actor, e.trial, f)
		return err
	}); won != 1 {
		t.Errorf("one id was accepted with %d contents", won)
	}
	if list := must(w.s.Catches(w.ctx, r.actor, e.trial, everything))(t); len(list) != 1 {
		t.Errorf("%d fish", len(list))
	}
	checked := must(w.s.Check(w.ctx))(t)
	if len(checked.Faults) > 0 {
		t.Errorf("check: %+v", checked)
	}
}

// Who stops waiting has not lost the fish: sent again it is a replay or new, never two.
func TestImpatientPhone(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	fish := make([]trial.Catch, 30)
	for i := range fish {
		fish[i] = r.fish(period, "C")
		ctx, cancel := context.WithTimeout(w.ctx, time.Duration(i)*100*time.Microsecond)
		_, _ = w.s.SubmitCatch(ctx, r.actor, e.trial, fish[i])
		cancel()
	}
	for _, f := range fish {
		must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, f))(t)
	}
	if list := must(w.s.Catches(w.ctx, r.actor, e.trial, everything))(t); len(list) != len(fish) {
		t.Errorf("%d fish of %d", len(list), len(fish))
	}
}
