package trial_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// What follows of every pair of things given about the fly, in test_lower, where the test pattern C is the lower fly and
// the control N the upper one. A named pattern stays and settles the position; without one a known position settles the
// pattern; a third fly is other; else the angler is not sure. Disagreeing are a pattern and a position that this
// arrangement does not put together.
var given = []struct {
	pattern   string
	position  trial.Position
	taken     trial.Taken
	at        trial.Position
	disagrees bool
}{
	{"C", "", "test", "lower", false},
	{"C", "lower", "test", "lower", false},
	{"C", "upper", "test", "lower", true},
	{"C", "unknown", "test", "lower", false},
	{"N", "", "control", "upper", false},
	{"N", "lower", "control", "upper", true},
	{"N", "upper", "control", "upper", false},
	{"N", "unknown", "control", "upper", false},
	{"unknown", "", "unknown", "unknown", false},
	{"unknown", "lower", "test", "lower", false},
	{"unknown", "upper", "control", "upper", false},
	{"unknown", "unknown", "unknown", "unknown", false},
	{"unknown", "other", "other", "other", false},
	{"other", "", "other", "other", false},
	{"other", "unknown", "other", "other", false},
	{"other", "other", "other", "other", false},
	{"", "lower", "test", "lower", false},
	{"", "upper", "control", "upper", false},
	{"", "unknown", "unknown", "unknown", false},
	{"", "other", "other", "other", false},
}

func flipped(p trial.Position) trial.Position {
	switch p {
	case trial.Lower:
		return trial.Upper
	case trial.Upper:
		return trial.Lower
	}
	return p
}

func TestTakenFromWhatWasGiven(t *testing.T) {
	p := complete()
	for _, g := range given {
		// control_lower is the same table with the positions changed over.
		for _, c := range []struct {
			arrangement  trial.Arrangement
			position, at trial.Position
		}{
			{trial.TestLower, g.position, g.at},
			{trial.ControlLower, flipped(g.position), flipped(g.at)},
		} {
			fish := trial.Catch{TakenPattern: g.pattern, TakenPosition: c.position}
			taken, at := fish.TakenIn(p, c.arrangement)
			if taken != g.taken || at != c.at {
				t.Errorf("%q at %q in %s: took %s at %s, want %s at %s", g.pattern, c.position, c.arrangement, taken, at, g.taken, c.at)
			}
			err := fish.Agrees(p, c.arrangement)
			if g.disagrees {
				wantKind(t, err, trial.Invalid, "catch.disagrees")
				wantFaults(t, err, "taken_position")
			} else if err != nil {
				t.Errorf("%q at %q in %s: %v", g.pattern, c.position, c.arrangement, err)
			}
		}
	}
}

// When a period's arrangement is corrected, what was given stays and the other is read anew; where both were given the
// pattern stays.
func TestCorrectedArrangementReadsAnew(t *testing.T) {
	p := complete()
	for _, g := range given {
		fish := trial.Catch{TakenPattern: g.pattern, TakenPosition: g.position}
		before, at := fish.TakenIn(p, trial.TestLower)
		after, then := fish.TakenIn(p, trial.ControlLower)
		patternGiven := g.pattern == "C" || g.pattern == "N"
		positionGiven := !patternGiven && (g.position == trial.Lower || g.position == trial.Upper) && g.pattern != "other"
		switch {
		case patternGiven:
			if after != before || then != flipped(at) {
				t.Errorf("%q, %q: %s at %s became %s at %s; the pattern stays, the position turns", g.pattern, g.position, before, at, after, then)
			}
		case positionGiven:
			if after == before || then != at {
				t.Errorf("%q, %q: %s at %s became %s at %s; the position stays, the pattern turns", g.pattern, g.position, before, at, after, then)
			}
		default:
			if after != before || then != at {
				t.Errorf("%q, %q: %s at %s became %s at %s; nothing was known", g.pattern, g.position, before, at, after, then)
			}
		}
	}
}

// Changing the patterns' parts over turns test and control and nothing else, in the arrangement changed over likewise.
func TestPartsChangedOver(t *testing.T) {
	p := complete()
	other := complete()
	other.Patterns[0].Part, other.Patterns[1].Part = trial.Control, trial.Test
	turned := map[trial.Taken]trial.Taken{"test": "control", "control": "test", "unknown": "unknown", "other": "other"}
	for _, g := range given {
		for _, a := range []trial.Arrangement{trial.TestLower, trial.ControlLower} {
			fish := trial.Catch{TakenPattern: g.pattern, TakenPosition: g.position}
			taken, at := fish.TakenIn(p, a)
			then, there := fish.TakenIn(other, a.Other())
			if then != turned[taken] || there != at {
				t.Errorf("%q, %q in %s: %s at %s; parts changed over: %s at %s", g.pattern, g.position, a, taken, at, then, there)
			}
		}
	}
}

func TestArrangements(t *testing.T) {
	if trial.TestLower.Sign() != 1 || trial.ControlLower.Sign() != -1 {
		t.Errorf("c = %d with the test pattern lower, %d with it upper; want 1, -1", trial.TestLower.Sign(), trial.ControlLower.Sign())
	}
	if trial.TestLower.Other() != trial.ControlLower || trial.ControlLower.Other() != trial.TestLower {
		t.Error("changing the flies over does not give the other arrangement")
	}
}

// The wrong way round turns the arrangement over from its time on, to its end if it has one, in its own period.
func TestWrongWayRoundFromATime(t *testing.T) {
	f := goodFish()
	f.period.ID = madeUp(6)
	from := noon.Add(10 * time.Minute)
	wrong := trial.Deviation{Kind: trial.WrongWayRound, PeriodID: madeUp(6), OutingID: madeUp(4), FromAt: from}
	at := func(m int) time.Time { return noon.Add(time.Duration(m) * time.Minute) }
	for _, c := range []struct {
		minute int
		until  *time.Time
		period trial.ID
		want   trial.Arrangement
	}{
		{9, nil, madeUp(6), trial.TestLower},
		{10, nil, madeUp(6), trial.ControlLower},
		{50, nil, madeUp(6), trial.ControlLower},
		{14, ptr(at(15)), madeUp(6), trial.ControlLower},
		{15, ptr(at(15)), madeUp(6), trial.TestLower},
		{50, nil, madeUp(7), trial.TestLower},
	} {
		d := wrong
		d.UntilAt, d.PeriodID = c.until, c.period
		if got := f.period.ArrangementAt(at(c.minute), []trial.Deviation{d}); got != c.want {
			t.Errorf("minute %d, until %v: %s, want %s", c.minute, c.until, got, c.want)
		}
	}
	// Without a report it is as fished, whatever was drawn.
	f.period.Drawn, f.period.Fished = trial.TestLower, trial.ControlLower
	if got := f.period.ArrangementAt(noon, nil); got != trial.ControlLower {
		t.Errorf("as fished: %s", got)
	}
	// The fish of a known pattern stays that pattern's; the fish is analysed, for the rig was whole.
	f = goodFish()
	f.deviations = []trial.Deviation{wrong}
	if got := f.excluded(); got != trial.Analysed {
		t.Errorf("excluded: %s", got)
	}
}

// Every landed fish of an eligible species counts toward the swap, also one of which the angler is not sure, both of a
// double; lost, touched and foul-hooked fish do not.
func TestCountsTowardSwap(t *testing.T) {
	p := complete()
	for _, c := range []struct {
		name   string
		change func(c *trial.Catch)
		counts bool
	}{
		{"landed", func(*trial.Catch) {}, true},
		{"not sure", func(c *trial.Catch) { c.TakenPattern = "unknown" }, true},
		{"one of a double", func(c *trial.Catch) { c.DoubleID = madeUp(9) }, true},
		{"rig not intact", func(c *trial.Catch) { c.RigIntact = false }, true},
		{"lost", func(c *trial.Catch) { c.Outcome = trial.Lost }, false},
		{"touched", func(c *trial.Catch) { c.Outcome = trial.Touched }, false},
		{"foul hooked", func(c *trial.Catch) { c.FoulHooked = true }, false},
		{"another species", func(c *trial.Catch) { c.Species = "Salmo trutta" }, false},
		{"a species not known", func(c *trial.Catch) { c.Species = "unknown" }, false},
		{"void", func(c *trial.Catch) { c.Void = true }, false},
	} {
		fish := goodFish().catch
		c.change(&fish)
		if got := fish.CountsTowardSwap(p); got != c.counts {
			t.Errorf("%s: counts %t, want %t", c.name, got, c.counts)
		}
	}
}

// A swap is due after so many fish or so many minutes, whichever comes first, of this period alone, and no more once it
// has ended.
func TestSwapDue(t *testing.T) {
	p := complete()
	rule := trial.Swap{AfterFish: ptr(2), AfterMinutes: ptr(45)}
	fish := func(n int, change func(c *trial.Catch)) []trial.Catch {
		list := make([]trial.Catch, n)
		for i := range list {
			list[i] = goodFish().catch
			list[i].ID = madeUp(100 + i)
			change(&list[i])
		}
		return list
	}
	whole := func(*trial.Catch) {}
	double := func(c *trial.Catch) { c.DoubleID = madeUp(9) }
	lost := func(c *trial.Catch) { c.Outcome = trial.Lost }
	elsewhere := func(c *trial.Catch) { c.PeriodID = madeUp(7) }
	for _, c := range []struct {
		name    string
		rule    trial.Swap
		catches []trial.Catch
		minute  int
		counted int
		due     bool
	}{
		{"nothing yet", rule, nil, 44, 0, false},
		{"by time", rule, nil, 45, 0, true},
		{"one fish", rule, fish(1, whole), 10, 1, false},
		{"two fish", rule, fish(2, whole), 10, 2, true},
		{"a double", rule, fish(2, double), 10, 2, true},
		{"ten lost", rule, fish(10, lost), 10, 0, false},
		{"ten of another period", rule, fish(10, elsewhere), 10, 0, false},
		{"no rule by time", trial.Swap{AfterFish: ptr(2)}, fish(1, whole), 600, 1, false},
		{"no rule by fish", trial.Swap{AfterMinutes: ptr(45)}, fish(9, whole), 44, 9, false},
		{"by outing", trial.Swap{}, fish(9, whole), 600, 9, false},
	} {
		p.Swap = c.rule
		period := goodFish().period
		period.End = nil
		now := noon.Add(time.Duration(c.minute) * time.Minute)
		counted := period.CountSwap(p, c.catches)
		if due := period.Swap(p, counted, now).Due; counted != c.counted || due != c.due {
			t.Errorf("%s: %d fish, due %t; want %d, %t", c.name, counted, due, c.counted, c.due)
		}
		period = goodFish().period
		if period.Swap(p, counted, now).Due {
			t.Errorf("%s: due after the period ended", c.name)
		}
	}
}

// Whatever is given: the pattern and the position that follow always fit the arrangement, and a fish whose pattern is
// known has a known place.
func TestWhatFollowsAlwaysFits(t *testing.T) {
	p := complete()
	rapid.Check(t, func(rt *rapid.T) {
		fish := trial.Catch{
			TakenPattern:  rapid.SampledFrom([]string{"C", "N", "unknown", "other", "", "X"}).Draw(rt, "pattern"),
			TakenPosition: trial.Position(rapid.SampledFrom([]string{"lower", "upper", "unknown", "other", ""}).Draw(rt, "position")),
		}
		a := rapid.SampledFrom([]trial.Arrangement{trial.TestLower, trial.ControlLower}).Draw(rt, "arrangement")
		taken, at := fish.TakenIn(p, a)
		lower, upper := p.Flies(a)
		code := map[trial.Position]string{trial.Lower: lower, trial.Upper: upper}[at]
		switch taken {
		case trial.TookTest, trial.TookControl:
			if part, _ := p.PartOf(code); trial.Taken(part) != taken {
				rt.Errorf("%s at %s in %s, where %s hangs", taken, at, a, code)
			}
		case trial.TookUnknown:
			if at != trial.UnknownPosition {
				rt.Errorf("unknown at %s", at)
			}
		case trial.TookOther:
			if at != trial.OtherPosition {
				rt.Errorf("other at %s", at)
			}
		}
	})
}
