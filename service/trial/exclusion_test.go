package trial_test

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// a fish that is analysed, with everything that decides about it.
type fish struct {
	catch      trial.Catch
	protocol   trial.Protocol
	period     trial.Period
	unit       trial.Unit
	deviations []trial.Deviation
}

func (f fish) excluded() trial.Exclusion {
	return f.catch.Excluded(f.protocol, f.period, f.unit, f.deviations)
}

// goodFish was landed 20 minutes into a confirmed period that began at noon and was swapped by the rule an hour later.
func goodFish() fish {
	swapNow := noon.Add(60 * time.Minute)
	return fish{
		catch: trial.Catch{
			ID: madeUp(100), EnrolmentID: madeUp(3), PeriodID: madeUp(6), TakenPattern: "C", Outcome: trial.Landed, RigIntact: true,
			Species: "Thymallus thymallus", Origin: trial.Wild, CaughtAt: noon.Add(20 * time.Minute), NotedAt: noon.Add(20 * time.Minute), Version: 1,
		},
		protocol: complete(),
		period: trial.Period{
			ID: madeUp(6), EnrolmentID: madeUp(3), OutingID: madeUp(4), UnitID: madeUp(5), Block: "1", Half: 1, Drawn: trial.TestLower, Fished: trial.TestLower,
			Confirmed: true, StartedAt: noon, Version: 1,
			End: &trial.PeriodEnd{EndedAt: swapNow.Add(4 * time.Minute), SwapNowAt: &swapNow, Reason: trial.EndedByRule},
		},
		unit: trial.Unit{ID: madeUp(5), EnrolmentID: madeUp(3), N: 1, First: trial.TestLower, OpenedAt: ptr(noon)},
	}
}

// The reasons in the order of the contract's result object, each with what alone brings it about.
var reasons = []struct {
	reason trial.Exclusion
	spoil  func(f *fish)
}{
	{"void", func(f *fish) { f.catch.Void = true }},
	{"disputed", func(f *fish) { f.catch.Disputed = true }},
	{"after_lock", func(f *fish) { f.catch.AfterLock = true }},
	{"same_fly_check", func(f *fish) { f.unit.SameFlyCheck = true }},
	{"lost", func(f *fish) { f.catch.Outcome = trial.Lost }},
	{"touched", func(f *fish) { f.catch.Outcome = trial.Touched }},
	{"foul_hooked", func(f *fish) { f.catch.FoulHooked = true }},
	{"species", func(f *fish) { f.catch.Species = "Salmo trutta" }},
	{"too_short", func(f *fish) {
		f.protocol.MinLengthMM, f.catch.Length = 250, &trial.Measure{Value: 24.9, Unit: "cm"}
	}},
	{"not_confirmed", func(f *fish) { f.period.Confirmed = false }},
	{"rig_not_intact", func(f *fish) { f.catch.RigIntact = false }},
	{"while_swapping", func(f *fish) { f.catch.CaughtAt = noon.Add(62 * time.Minute) }},
	{"double", func(f *fish) { f.catch.DoubleID = madeUp(9) }},
	{"other_fly", func(f *fish) { f.catch.TakenPattern = "other" }},
	{"not_sure", func(f *fish) { f.catch.TakenPattern = "unknown" }},
}

func TestExclusionsStandInOrder(t *testing.T) {
	got := trial.Exclusions()
	if len(got) != len(reasons) {
		t.Fatalf("%d reasons, want %d", len(got), len(reasons))
	}
	for i, r := range reasons {
		if got[i] != r.reason {
			t.Errorf("reason %d is %s, want %s", i, got[i], r.reason)
		}
	}
}

func TestEachReasonAlone(t *testing.T) {
	if got := goodFish().excluded(); got != trial.Analysed {
		t.Fatalf("a fish with nothing against it is excluded: %s", got)
	}
	for _, r := range reasons {
		f := goodFish()
		r.spoil(&f)
		if got := f.excluded(); got != r.reason {
			t.Errorf("%s alone gives %q", r.reason, got)
		}
	}
}

// Of any reasons that apply together the first in the contract's order is counted: all pairs, then any number.
func TestFirstReasonWins(t *testing.T) {
	for i, first := range reasons {
		for _, second := range reasons[i+1:] {
			if first.reason == "lost" && second.reason == "touched" || first.reason == "other_fly" && second.reason == "not_sure" {
				continue // one field cannot say both
			}
			f := goodFish()
			first.spoil(&f)
			second.spoil(&f)
			if got := f.excluded(); got != first.reason {
				t.Errorf("%s with %s gives %q", first.reason, second.reason, got)
			}
		}
	}
	rapid.Check(t, func(rt *rapid.T) {
		f := goodFish()
		var want trial.Exclusion
		// From last to first, so that of two reasons in one field the first stands.
		for i := len(reasons) - 1; i >= 0; i-- {
			if rapid.Bool().Draw(rt, string(reasons[i].reason)) {
				reasons[i].spoil(&f)
				want = reasons[i].reason
			}
		}
		if got := f.excluded(); got != want {
			rt.Errorf("got %q, want %q", got, want)
		}
	})
}

// An imported table may give a reason that its columns cannot show; it takes its place in the same order.
func TestReasonGivenByATable(t *testing.T) {
	for i, given := range reasons {
		f := goodFish()
		f.catch.Reason = given.reason
		if got := f.excluded(); got != given.reason {
			t.Errorf("given %s alone: %q", given.reason, got)
		}
		for j, derived := range reasons {
			f := goodFish()
			f.catch.Reason = given.reason
			derived.spoil(&f)
			if got, want := f.excluded(), reasons[min(i, j)].reason; got != want {
				t.Errorf("given %s, derived %s: %q, want %s", given.reason, derived.reason, got, want)
			}
		}
	}
}

// A fish is while_swapping when it was caught between "swap now" and "swapped": the one that brings the swap about, at
// the same moment, is not, nor is any when the rule never asked.
func TestWhileSwappingByTimes(t *testing.T) {
	for _, c := range []struct {
		minute float64
		want   trial.Exclusion
	}{
		{0, trial.Analysed},
		{59, trial.Analysed},
		{60, trial.Analysed},
		{60.001, trial.WhileSwapping},
		{62, trial.WhileSwapping},
		{64, trial.WhileSwapping},
	} {
		f := goodFish()
		f.catch.CaughtAt = noon.Add(time.Duration(c.minute * float64(time.Minute)))
		if got := f.excluded(); got != c.want {
			t.Errorf("minute %g: %q, want %q", c.minute, got, c.want)
		}
	}
	f := goodFish()
	f.catch.CaughtAt = noon.Add(62 * time.Minute)
	f.period.End.SwapNowAt, f.period.End.Reason = nil, "outing_ended"
	if got := f.excluded(); got != trial.Analysed {
		t.Errorf("the rule never asked for a swap: %q", got)
	}
	f.period.End = nil
	if got := f.excluded(); got != trial.Analysed {
		t.Errorf("the period goes on: %q", got)
	}
	// A fish put to the second period but caught before its rig was confirmed was caught while swapping.
	f = goodFish()
	f.period.Half, f.period.End = 2, nil
	f.catch.CaughtAt = noon.Add(-time.Minute)
	if got := f.excluded(); got != trial.WhileSwapping {
		t.Errorf("before the second period began: %q", got)
	}
}

// Length decides only when it was measured: shorter fish are recorded, not analysed; the limit itself is long enough.
func TestTooShort(t *testing.T) {
	for _, c := range []struct {
		length *trial.Measure
		want   trial.Exclusion
	}{
		{nil, trial.Analysed},
		{&trial.Measure{Value: 254, Unit: "mm"}, trial.Analysed},
		{&trial.Measure{Value: 10, Unit: "in"}, trial.Analysed}, // 10 in = 254 mm exactly (NIST SP 811)
		{&trial.Measure{Value: 253, Unit: "mm"}, trial.TooShort},
		{&trial.Measure{Value: 25.3, Unit: "cm"}, trial.TooShort},
		{&trial.Measure{Value: 9.9, Unit: "in"}, trial.TooShort},
	} {
		f := goodFish()
		f.protocol.MinLengthMM, f.catch.Length = 254, c.length
		if got := f.excluded(); got != c.want {
			t.Errorf("%v: %q, want %q", c.length, got, c.want)
		}
	}
}

// What was not as planned counts from its time to its end, in its own period only.
func TestRigNotIntactByTimes(t *testing.T) {
	caught := goodFish().catch.CaughtAt
	rig := []trial.DeviationKind{trial.ThirdFly, trial.WrongFly, trial.FlyLost, trial.SpacingChanged, trial.DepthChanged}
	for _, kind := range []trial.DeviationKind{
		trial.ThirdFly, trial.WrongFly, trial.FlyLost, trial.SpacingChanged, trial.DepthChanged, trial.CouldNotSwap, trial.Moved, trial.BackOn,
	} {
		for _, c := range []struct {
			name   string
			from   time.Time
			until  *time.Time
			period trial.ID
			covers bool
		}{
			{"from the fish's moment", caught, nil, madeUp(6), true},
			{"from before", caught.Add(-time.Hour), nil, madeUp(6), true},
			{"until after", caught.Add(-time.Hour), ptr(caught.Add(time.Millisecond)), madeUp(6), true},
			{"until its moment", caught.Add(-time.Hour), &caught, madeUp(6), false},
			{"from later", caught.Add(time.Millisecond), nil, madeUp(6), false},
			{"in another period", caught.Add(-time.Hour), nil, madeUp(7), false},
		} {
			f := goodFish()
			f.deviations = []trial.Deviation{{ID: madeUp(20), OutingID: madeUp(4), PeriodID: c.period, Kind: kind, FromAt: c.from, UntilAt: c.until}}
			want := trial.Analysed
			if c.covers && slices.Contains(rig, kind) {
				want = trial.RigNotIntact
			}
			if got := f.excluded(); got != want {
				t.Errorf("%s %s: %q, want %q", kind, c.name, got, want)
			}
		}
	}
}

// Off trial lasts until its own end or the next "back on" of the outing; meanwhile no arrangement is confirmed.
func TestOffTrialAndBackOn(t *testing.T) {
	minute := func(m int) time.Time { return noon.Add(time.Duration(m) * time.Minute) }
	off := func(from int, until *time.Time) trial.Deviation {
		return trial.Deviation{Kind: trial.OffTrial, OutingID: madeUp(4), FromAt: minute(from), UntilAt: until}
	}
	on := func(from int) trial.Deviation {
		return trial.Deviation{Kind: trial.BackOn, OutingID: madeUp(4), FromAt: minute(from)}
	}
	elsewhere := off(5, nil)
	elsewhere.OutingID = madeUp(44)
	backElsewhere := on(15)
	backElsewhere.OutingID = madeUp(44)
	for _, c := range []struct {
		name       string
		deviations []trial.Deviation
		want       trial.Exclusion // of the fish of minute 20
	}{
		{"never off", nil, trial.Analysed},
		{"off since", []trial.Deviation{off(5, nil)}, trial.NotConfirmed},
		{"off from its moment", []trial.Deviation{off(20, nil)}, trial.NotConfirmed},
		{"off later", []trial.Deviation{off(21, nil)}, trial.Analysed},
		{"off and back", []trial.Deviation{off(5, nil), on(15)}, trial.Analysed},
		{"back at its moment", []trial.Deviation{off(5, nil), on(20)}, trial.Analysed},
		{"back later", []trial.Deviation{off(5, nil), on(21)}, trial.NotConfirmed},
		{"off for a while", []trial.Deviation{off(5, ptr(minute(15)))}, trial.Analysed},
		{"off for longer", []trial.Deviation{off(5, ptr(minute(25)))}, trial.NotConfirmed},
		{"off, back, off", []trial.Deviation{off(5, nil), on(10), off(18, nil)}, trial.NotConfirmed},
		{"in any order", []trial.Deviation{on(10), off(18, nil), off(5, nil)}, trial.NotConfirmed},
		{"off in another outing", []trial.Deviation{elsewhere}, trial.Analysed},
		{"back in another outing", []trial.Deviation{off(5, nil), backElsewhere}, trial.NotConfirmed},
		{"back without having gone", []trial.Deviation{on(10)}, trial.Analysed},
	} {
		f := goodFish()
		f.deviations = c.deviations
		if got := f.excluded(); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// A phone whose clock is an hour wrong moves everything of an outing together, and nothing is decided otherwise.
func TestClockAnHourWrong(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		f := goodFish()
		f.catch.CaughtAt = noon.Add(time.Duration(rapid.IntRange(-30, 90).Draw(rt, "minute")) * time.Minute)
		for i := range rapid.IntRange(0, 4).Draw(rt, "deviations") {
			d := trial.Deviation{
				ID: madeUp(30 + i), OutingID: madeUp(4), PeriodID: madeUp(6),
				Kind:   rapid.SampledFrom([]trial.DeviationKind{trial.ThirdFly, trial.WrongWayRound, trial.OffTrial, trial.BackOn, trial.FlyLost}).Draw(rt, "kind"),
				FromAt: noon.Add(time.Duration(rapid.IntRange(0, 60).Draw(rt, "from")) * time.Minute),
			}
			if rapid.Bool().Draw(rt, "ends") {
				d.UntilAt = ptr(d.FromAt.Add(time.Duration(rapid.IntRange(0, 40).Draw(rt, "for")) * time.Minute))
			}
			f.deviations = append(f.deviations, d)
		}
		before := f.excluded()
		shift := time.Duration(rapid.SampledFrom([]int{-1, 1}).Draw(rt, "hours")) * time.Hour
		f.catch.CaughtAt = f.catch.CaughtAt.Add(shift)
		f.period.StartedAt = f.period.StartedAt.Add(shift)
		f.period.End.EndedAt = f.period.End.EndedAt.Add(shift)
		f.period.End.SwapNowAt = ptr(f.period.End.SwapNowAt.Add(shift))
		f.deviations = slices.Clone(f.deviations)
		for i := range f.deviations {
			f.deviations[i].FromAt = f.deviations[i].FromAt.Add(shift)
			if u := f.deviations[i].UntilAt; u != nil {
				f.deviations[i].UntilAt = ptr(u.Add(shift))
			}
		}
		if got := f.excluded(); got != before {
			rt.Errorf("an hour later: %q, was %q", got, before)
		}
	})
}
