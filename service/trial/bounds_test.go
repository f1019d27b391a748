package trial_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

// A period begins within its outing and before its own end; each end of that time belongs to it.
func TestPeriodLiesInItsOuting(t *testing.T) {
	at := func(m int) time.Time { return noon.Add(time.Duration(m) * time.Minute) }
	going := trial.Outing{StartedAt: noon}
	over := trial.Outing{StartedAt: noon, End: &trial.OutingEnd{EndedAt: at(120)}}
	ended := &trial.PeriodEnd{EndedAt: at(60)}
	for _, c := range []struct {
		name   string
		minute int
		end    *trial.PeriodEnd
		outing trial.Outing
		kind   trial.Kind
		code   string
	}{
		{"with the outing", 0, nil, going, 0, ""},
		{"a day into an outing that goes on", 24 * 60, nil, going, 0, ""},
		{"as the outing ends", 120, nil, over, 0, ""},
		{"as it ends itself", 60, ended, over, 0, ""},
		{"before the outing", -1, nil, going, trial.Invalid, "period.invalid"},
		{"after its own end", 61, ended, going, trial.Invalid, "period.invalid"},
		{"after the outing", 121, nil, over, trial.Conflict, "outing.ended"},
	} {
		err := trial.Period{StartedAt: at(c.minute), End: c.end}.LiesIn(c.outing)
		if c.code != "" {
			wantKind(t, err, c.kind, c.code)
		} else if err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// A period that nobody ended ended with its outing: what was caught later is in no confirmed arrangement. Its own end,
// when it has one, stands.
func TestPeriodEndsWithItsOuting(t *testing.T) {
	f := goodFish()
	f.period.End = nil
	over := trial.Outing{ID: f.period.OutingID, StartedAt: noon, End: &trial.OutingEnd{EndedAt: noon.Add(15 * time.Minute)}}
	records := trial.Records{
		Outings: []trial.Outing{over}, Units: []trial.Unit{f.unit}, Periods: []trial.Period{f.period}, Catches: []trial.Catch{f.catch},
	}
	excluded := func() trial.Exclusion {
		tallies, _ := records.Count(f.protocol)
		return tallies[0].Exclusion
	}
	if got := excluded(); got != trial.NotConfirmed {
		t.Errorf("caught 5 minutes after the outing: %q, want not_confirmed", got)
	}
	records.Outings[0].End = nil
	if got := excluded(); got != trial.Analysed {
		t.Errorf("caught while the outing goes on: %q", got)
	}
	own := trial.Period{End: &trial.PeriodEnd{EndedAt: noon, Reason: trial.EndedByRule}}
	if got := own.EndedWith(over); got.End != own.End {
		t.Errorf("a period's own end was replaced by %+v", got.End)
	}
}

// In paired_by_outing the outing's end is the swap, whether or not the phone ended the period too.
func TestBlockByOutingIsFinishedByItsOutings(t *testing.T) {
	p := complete()
	p.Design, p.Swap.AfterFish, p.Swap.AfterMinutes = trial.PairedByOuting, nil, nil
	over := &trial.OutingEnd{EndedAt: noon.Add(3 * time.Hour), Reason: "planned"}
	records := trial.Records{
		Outings: []trial.Outing{{ID: madeUp(1), StartedAt: noon, End: over}, {ID: madeUp(2), StartedAt: noon, End: over}},
		Units:   []trial.Unit{{ID: madeUp(5), N: 1}},
		Periods: []trial.Period{
			{ID: madeUp(11), OutingID: madeUp(1), UnitID: madeUp(5), Half: 1, StartedAt: noon},
			{ID: madeUp(12), OutingID: madeUp(2), UnitID: madeUp(5), Half: 2, StartedAt: noon},
		},
	}
	if _, effort := records.Count(p); effort.Blocks != 1 || effort.FinishedBlocks != 1 {
		t.Errorf("%d of %d blocks finished, want 1 of 1", effort.FinishedBlocks, effort.Blocks)
	}
	records.Outings[1].End = nil
	if _, effort := records.Count(p); effort.FinishedBlocks != 0 {
		t.Errorf("%d blocks finished while the second outing goes on", effort.FinishedBlocks)
	}
}

// No half is left out to be fished later, none begins in water too warm for the fish.
func TestWhatCannotBegin(t *testing.T) {
	byOuting := func() begin {
		b := firstHalf()
		b.protocol.Design = trial.PairedByOuting
		b.units[0].OpenedAt = ptr(noon.Add(-24 * time.Hour))
		b.unit, b.period.UnitID = b.units[1], madeUp(52)
		return b
	}
	half := func(n int) trial.Period { return trial.Period{ID: madeUp(70 + n), UnitID: madeUp(51), Half: n} }
	b := byOuting()
	b.before = []trial.Period{half(1)}
	b.beforeIn = &trial.Outing{Water: "Upper Wend"}
	wantKind(t, b.begin(), trial.Conflict, "unit.order")
	b.beforeIn.Water = "Mill Reach" // where the other half can only be fished
	if err := b.begin(); err != nil {
		t.Errorf("by outing, at another water than the unit before: %v", err)
	}
	b.before = []trial.Period{half(1), half(2)}
	if err := b.begin(); err != nil {
		t.Errorf("by outing, after both halves of the unit before: %v", err)
	}

	b = secondHalf()
	b.units[1].OpenedAt = ptr(b.period.StartedAt.Add(-time.Minute))
	wantKind(t, b.begin(), trial.Conflict, "unit.order")
	b.units[1].OpenedAt = ptr(b.period.StartedAt.Add(time.Minute)) // sent in another order than fished
	if err := b.begin(); err != nil {
		t.Errorf("before the next unit began: %v", err)
	}

	// Stop from 20 degrees C (DAERA's guidance on angling in warm water).
	for celsius, code := range map[float64]string{19.9: "", 20: "welfare.stop"} {
		for _, b := range []begin{firstHalf(), secondHalf()} {
			b.outing.WaterTemperature = &trial.Measure{Value: celsius, Unit: "C"}
			if err := b.begin(); code != "" {
				wantKind(t, err, trial.Conflict, code)
			} else if err != nil {
				t.Errorf("half %d at %g degrees C: %v", b.period.Half, celsius, err)
			}
		}
	}
}

// A fish's water is where the angler had last moved to.
func TestWaterAt(t *testing.T) {
	o := trial.Outing{ID: madeUp(4), Water: "Upper Wend", StartedAt: noon}
	move := func(outing trial.ID, minute int, water string) trial.Deviation {
		return trial.Deviation{Kind: trial.Moved, OutingID: outing, Water: water, FromAt: noon.Add(time.Duration(minute) * time.Minute)}
	}
	moves := []trial.Deviation{
		move(madeUp(4), 60, "Weir Pool"), move(madeUp(4), 30, "Mill Reach"), move(madeUp(5), 10, "Elsewhere"),
		{Kind: trial.OffTrial, OutingID: madeUp(4), FromAt: noon},
	}
	for minute, want := range map[int]string{0: "Upper Wend", 29: "Upper Wend", 30: "Mill Reach", 59: "Mill Reach", 60: "Weir Pool", 600: "Weir Pool"} {
		if got := o.WaterAt(noon.Add(time.Duration(minute)*time.Minute), moves); got != want {
			t.Errorf("minute %d: %q, want %q", minute, got, want)
		}
	}
	if got := o.WaterAt(time.Time{}, moves); got != "Upper Wend" {
		t.Errorf("at no known time: %q", got)
	}
}

// Locking fixes which fish are analysed.
func TestCorrects(t *testing.T) {
	for _, state := range states {
		err := inState(state).Corrects()
		if state != trial.Locked && state != trial.Published {
			if err != nil {
				t.Errorf("%s: %v", state, err)
			}
			continue
		}
		wantKind(t, err, trial.Conflict, "trial.locked")
	}
}

// A draft has nothing to hide yet.
func TestDraftHidesNothing(t *testing.T) {
	if inState(trial.Draft).Hidden() {
		t.Error("a draft hides its effect")
	}
}

// A phone that sends out of order learns which record to send first; a record of somebody else's is answered the same.
func TestUnknownNamesItsField(t *testing.T) {
	s, now := submission()
	now.Period = nil
	_, _, none := s.Settle(now)
	s, now = submission()
	now.Enrolment.AccountID = stranger
	_, _, theirs := s.Settle(now)
	for _, err := range []error{none, theirs} {
		wantKind(t, err, trial.NotFound, "not_found")
		e, ok := errors.AsType[*trial.Error](err)
		if !ok || len(e.Fields) != 1 || e.Fields[0].Field != "period" {
			t.Errorf("faults of %v", err)
		}
	}
	if none.Error() != theirs.Error() {
		t.Errorf("told apart: %v, %v", none, theirs)
	}
}

// A water that is not on the list is answered with the list.
func TestWatersAreNamed(t *testing.T) {
	p := complete()
	for _, err := range []error{
		trial.Outing{ID: madeUp(4), Water: "Secret Pool", StartedAt: noon}.Check(p, noon),
		trial.Deviation{ID: madeUp(7), Kind: trial.Moved, Water: "Secret Pool", FromAt: noon}.Check(p, noon),
	} {
		wantFaults(t, err, "water")
		if !strings.Contains(err.Error(), "Upper Wend, Mill Reach") {
			t.Errorf("does not name the waters: %v", err)
		}
	}
}
