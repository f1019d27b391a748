package trial_test

import (
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

// begin is a period about to begin, in an outing that began at noon and goes on, with two units in hand.
type begin struct {
	period     trial.Period
	outing     trial.Outing
	unit       trial.Unit
	units      []trial.Unit
	others     []trial.Period
	deviations []trial.Deviation
	protocol   trial.Protocol
	ofOuting   []trial.Period
	before     []trial.Period
	beforeIn   *trial.Outing
	first      *trial.Outing
}

func (b begin) begin() error {
	for _, other := range b.others {
		if other.OutingID == b.period.OutingID {
			b.ofOuting = append(b.ofOuting, other)
		}
	}
	return b.period.Begin(trial.Beginning{
		Protocol: b.protocol, Outing: b.outing, Unit: b.unit, Units: b.units, OfUnit: b.others, OfOuting: b.ofOuting, OfBefore: b.before, OutingBefore: b.beforeIn, Deviations: b.deviations, FirstOuting: b.first,
	})
}

func firstHalf() begin {
	units := []trial.Unit{{ID: madeUp(51), N: 1, First: trial.TestLower}, {ID: madeUp(52), N: 2, First: trial.ControlLower}}
	return begin{
		period:   trial.Period{ID: madeUp(61), OutingID: madeUp(4), UnitID: madeUp(51), Half: 1, Fished: trial.TestLower, StartedAt: noon.Add(5 * time.Minute)},
		outing:   trial.Outing{ID: madeUp(4), Water: "Upper Wend", StartedAt: noon},
		unit:     units[0],
		units:    units,
		protocol: complete(),
	}
}

func secondHalf() begin {
	b := firstHalf()
	first := b.period
	first.End = &trial.PeriodEnd{EndedAt: noon.Add(40 * time.Minute), SwapNowAt: ptr(noon.Add(38 * time.Minute)), Reason: trial.EndedByRule}
	b.units[0].OpenedAt = ptr(first.StartedAt)
	b.unit = b.units[0]
	b.others = []trial.Period{first}
	b.period.ID, b.period.Half, b.period.Fished, b.period.StartedAt = madeUp(62), 2, trial.ControlLower, noon.Add(40*time.Minute)
	return b
}

// A period begins in an outing that goes on, with the unit that is next in line, its first half first, both halves in
// one outing at one water.
func TestBegin(t *testing.T) {
	opened := ptr(noon.Add(time.Minute))
	moved := func(minute int) trial.Deviation {
		return trial.Deviation{Kind: trial.Moved, OutingID: madeUp(4), Water: "Mill Reach", FromAt: noon.Add(time.Duration(minute) * time.Minute)}
	}
	for _, c := range []struct {
		name   string
		begin  func() begin
		change func(b *begin)
		kind   trial.Kind
		code   string
	}{
		{"first half", firstHalf, func(*begin) {}, 0, ""},
		{"second half", secondHalf, func(*begin) {}, 0, ""},
		{"with the outing's first minute", firstHalf, func(b *begin) { b.period.StartedAt = noon }, 0, ""},
		{"before the outing", firstHalf, func(b *begin) { b.period.StartedAt = noon.Add(-time.Second) }, trial.Invalid, "period.invalid"},
		{"in the outing's last moment", firstHalf, func(b *begin) { b.outing.End = &trial.OutingEnd{EndedAt: b.period.StartedAt} }, 0, ""},
		{"after the outing", firstHalf, func(b *begin) { b.outing.End = &trial.OutingEnd{EndedAt: noon.Add(time.Minute)} }, trial.Conflict, "outing.ended"},
		{"the second unit first", firstHalf, func(b *begin) { b.unit = b.units[1]; b.period.UnitID = madeUp(52) }, trial.Conflict, "unit.order"},
		{"the second unit after the first", firstHalf, func(b *begin) {
			b.units[0].OpenedAt = opened
			b.unit, b.period.UnitID = b.units[1], madeUp(52)
		}, 0, ""},
		{"a half twice", secondHalf, func(b *begin) { b.period.Half = 1 }, trial.Conflict, "period.half"},
		{"the second half first", firstHalf, func(b *begin) { b.period.Half = 2 }, trial.Conflict, "period.half"},
		{"a third half", secondHalf, func(b *begin) {
			second := b.others[0]
			second.ID, second.Half = madeUp(63), 2
			b.others = append(b.others, second)
		}, trial.Conflict, "period.half"},
		{"moved before the block", secondHalf, func(b *begin) { b.deviations = []trial.Deviation{moved(2)} }, 0, ""},
		{"moved within the block", secondHalf, func(b *begin) { b.deviations = []trial.Deviation{moved(20)} }, trial.Conflict, "period.moved"},
		{"moved as the half began", secondHalf, func(b *begin) { b.deviations = []trial.Deviation{moved(40)} }, trial.Conflict, "period.moved"},
		{"moved afterwards", secondHalf, func(b *begin) { b.deviations = []trial.Deviation{moved(50)} }, 0, ""},
		{"a new block after a move", firstHalf, func(b *begin) { b.deviations = []trial.Deviation{moved(3)} }, 0, ""},
		{"in another outing", secondHalf, func(b *begin) { b.outing.ID = madeUp(44); b.period.OutingID = madeUp(44) }, trial.Conflict, "period.outing"},
		{"in another outing, where blocks span them", secondHalf, func(b *begin) {
			b.outing.ID, b.period.OutingID = madeUp(44), madeUp(44)
			b.protocol.Draw.BlockMaySpan = true
		}, 0, ""},
		{"by outing, in another outing", secondHalf, func(b *begin) {
			b.outing.ID, b.period.OutingID = madeUp(44), madeUp(44)
			b.protocol.Design = trial.PairedByOuting
		}, 0, ""},
		{"by outing, in the same outing", secondHalf, func(b *begin) { b.protocol.Design = trial.PairedByOuting }, trial.Conflict, "period.outing"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := c.begin()
			c.change(&b)
			err := b.begin()
			if c.code == "" {
				if err != nil {
					t.Errorf("refused: %v", err)
				}
				return
			}
			wantKind(t, err, c.kind, c.code)
		})
	}
}

// A phone carries at most trip_units that are not yet fished.
func TestNextUnit(t *testing.T) {
	for limit := 1; limit <= 16; limit++ {
		d := trial.Draw{TripUnits: limit}
		var units []trial.Unit
		for n := 1; n <= 40; n++ {
			units = append(units, trial.Unit{N: n, OpenedAt: &noon})
		}
		for waiting := 0; waiting <= 17; waiting++ {
			err := d.NextUnit(units)
			if (err == nil) != (waiting < limit) {
				t.Errorf("%d of %d waiting: %v", waiting, limit, err)
			}
			if err != nil {
				wantKind(t, err, trial.Conflict, "unit.waiting")
			}
			units = append(units, trial.Unit{N: len(units) + 1})
		}
	}
}

// Within a block the second arrangement follows from the first.
func TestDrawnHalves(t *testing.T) {
	for _, first := range []trial.Arrangement{trial.TestLower, trial.ControlLower} {
		u := trial.Unit{First: first}
		if u.Drawn(1) != first || u.Drawn(2) != first.Other() {
			t.Errorf("first %s: halves %s, %s", first, u.Drawn(1), u.Drawn(2))
		}
	}
}

func TestPeriodAndItsEndAsSent(t *testing.T) {
	good := trial.Period{ID: madeUp(6), Half: 1, Fished: trial.TestLower, StartedAt: noon}
	wantFaults(t, good.Check(noon))
	wantFaults(t, trial.Period{ID: madeUp(6), Half: 2, Fished: trial.ControlLower, StartedAt: noon.Add(24 * time.Hour)}.Check(noon))
	wantFaults(t, trial.Period{}.Check(noon), "period", "half", "fished", "started_at")
	wantFaults(t, trial.Period{ID: madeUp(6), Half: 3, Fished: "lower", StartedAt: noon.Add(24*time.Hour + time.Second)}.Check(noon), "half", "fished", "started_at")

	now := noon.Add(2 * time.Hour)
	at := func(m int) *time.Time { return ptr(noon.Add(time.Duration(m) * time.Minute)) }
	for _, c := range []struct {
		name string
		end  trial.PeriodEnd
		want []string
	}{
		{"by the rule", trial.PeriodEnd{EndedAt: *at(40), SwapNowAt: at(38), Reason: "swap_rule"}, nil},
		{"at once", trial.PeriodEnd{EndedAt: *at(38), SwapNowAt: at(38), Reason: "swap_rule"}, nil},
		{"with the outing", trial.PeriodEnd{EndedAt: *at(40), Reason: "outing_ended"}, nil},
		{"with the outing, the rule having asked", trial.PeriodEnd{EndedAt: *at(40), SwapNowAt: at(38), Reason: "outing_ended"}, nil},
		{"without when the rule asked", trial.PeriodEnd{EndedAt: *at(40), Reason: "swap_rule"}, []string{"swap_now_at"}},
		{"asked after the end", trial.PeriodEnd{EndedAt: *at(40), SwapNowAt: at(41), Reason: "swap_rule"}, []string{"swap_now_at"}},
		{"asked before the start", trial.PeriodEnd{EndedAt: *at(40), SwapNowAt: at(-1), Reason: "swap_rule"}, []string{"swap_now_at"}},
		{"ended before the start", trial.PeriodEnd{EndedAt: *at(-1), Reason: "other"}, []string{"ended_at"}},
		{"no reason", trial.PeriodEnd{EndedAt: *at(40)}, []string{"reason"}},
		{"nothing given", trial.PeriodEnd{}, []string{"ended_at", "reason"}},
	} {
		t.Run(c.name, func(t *testing.T) { wantFaults(t, c.end.Check(good, now), c.want...) })
	}
}

func TestOutingAsSent(t *testing.T) {
	p := complete()
	good := trial.Outing{ID: madeUp(4), Water: "Mill Reach", StartedAt: noon}
	wantFaults(t, good.Check(p, noon))
	full := good
	full.WaterTemperature, full.Conditions, full.Note = &trial.Measure{Value: 59, Unit: "F"}, "low and clear", "wind from the west\nthen none"
	wantFaults(t, full.Check(p, noon))
	bad := trial.Outing{
		ID: trial.ID{1}, Water: "Secret Pool", StartedAt: time.Date(1999, 12, 31, 23, 0, 0, 0, time.UTC),
		WaterTemperature: &trial.Measure{Value: 12}, Conditions: strings.Repeat("ü", 201), Note: strings.Repeat("ü", 501),
	}
	wantFaults(t, bad.Check(p, noon), "outing", "water", "started_at", "water_temperature", "conditions", "note")

	wantFaults(t, trial.OutingEnd{EndedAt: noon.Add(time.Hour), Reason: "planned", NotLogged: 500}.Check(good, noon.Add(time.Hour)))
	wantFaults(t, trial.OutingEnd{EndedAt: noon.Add(-time.Hour), Reason: "winning", NotLogged: -1}.Check(good, noon), "ended_at", "reason", "not_logged")
	wantFaults(t, trial.OutingEnd{EndedAt: noon, Reason: "tired", NotLogged: 501}.Check(good, noon), "not_logged")
}

// Take care from 18 degrees C and stop at 20 (DAERA's guidance on angling in warm water); never assumed without a
// thermometer. 64.4 degrees F = 18 degrees C, 68 = 20 (C = (F-32)·5/9, NIST SP 811).
func TestWelfareByTemperature(t *testing.T) {
	p := complete() // a grayling trial
	p.Welfare.CautionC, p.Welfare.StopC = 18, 20
	for _, c := range []struct {
		value float64
		unit  string
		want  trial.WelfareState
	}{
		{17.9, "C", trial.WelfareFine},
		{18, "C", trial.WelfareCaution},
		{19.9, "C", trial.WelfareCaution},
		{20, "C", trial.WelfareStop},
		{25, "C", trial.WelfareStop},
		{64.4, "F", trial.WelfareCaution},
		{68, "F", trial.WelfareStop},
		{64, "F", trial.WelfareFine},
	} {
		if got := p.WelfareIn(&trial.Measure{Value: c.value, Unit: c.unit}); got != c.want {
			t.Errorf("%g %s: %s, want %s", c.value, c.unit, got, c.want)
		}
	}
	if got := p.WelfareIn(nil); got != trial.WelfareUnmeasured {
		t.Errorf("without a thermometer: %s", got)
	}
}

func TestDeviationAsSent(t *testing.T) {
	p := complete()
	inPeriod := []trial.DeviationKind{trial.ThirdFly, trial.WrongFly, trial.WrongWayRound, trial.FlyLost, trial.SpacingChanged, trial.DepthChanged, trial.CouldNotSwap}
	for _, kind := range inPeriod {
		d := trial.Deviation{ID: madeUp(7), PeriodID: madeUp(6), Kind: kind, FromAt: noon}
		wantFaults(t, d.Check(p, noon))
		d.PeriodID = trial.ID{}
		wantFaults(t, d.Check(p, noon), "period")
	}
	for _, kind := range []trial.DeviationKind{trial.OffTrial, trial.BackOn} {
		wantFaults(t, trial.Deviation{ID: madeUp(7), Kind: kind, FromAt: noon}.Check(p, noon))
	}
	move := trial.Deviation{ID: madeUp(7), Kind: trial.Moved, Water: "Mill Reach", FromAt: noon}
	wantFaults(t, move.Check(p, noon))
	move.Water = ""
	wantFaults(t, move.Check(p, noon), "water")
	move.Water = "Secret Pool"
	wantFaults(t, move.Check(p, noon), "water")
	bad := trial.Deviation{Kind: "lunch", FromAt: noon.Add(25 * time.Hour), UntilAt: ptr(noon), Note: "\x00"}
	wantFaults(t, bad.Check(p, noon), "deviation", "kind", "period", "from", "until", "note")
}

func TestCatchAsSent(t *testing.T) {
	p := complete()
	good := goodFish().catch
	now := noon.Add(time.Hour)
	wantFaults(t, good.Check(p, now))
	for _, c := range []struct {
		name   string
		change func(c *trial.Catch)
		want   []string
	}{
		{"by position alone", func(c *trial.Catch) { c.TakenPattern, c.TakenPosition = "", trial.Upper }, nil},
		{"not sure", func(c *trial.Catch) { c.TakenPattern = "unknown" }, nil},
		{"a third fly", func(c *trial.Catch) { c.TakenPattern = "other" }, nil},
		{"a species of no list", func(c *trial.Catch) { c.Species = "Salmo trutta" }, nil},
		{"other species", func(c *trial.Catch) { c.Species = "other" }, nil},
		{"unknown species", func(c *trial.Catch) { c.Species = "unknown" }, nil},
		{"a clock a day ahead", func(c *trial.Catch) { c.CaughtAt, c.NotedAt = now.Add(24*time.Hour), now.Add(24*time.Hour) }, nil},
		{"nothing of the fly", func(c *trial.Catch) { c.TakenPattern = "" }, []string{"taken_pattern"}},
		{"a pattern of another trial", func(c *trial.Catch) { c.TakenPattern = "Z" }, []string{"taken_pattern"}},
		{"a position of no rig", func(c *trial.Catch) { c.TakenPosition = "middle" }, []string{"taken_position"}},
		{"an id of version 4", func(c *trial.Catch) { c.ID[6] = 0x40 }, []string{"catch"}},
		{"no id", func(c *trial.Catch) { c.ID = trial.ID{} }, []string{"catch"}},
		{"no period", func(c *trial.Catch) { c.PeriodID = trial.ID{} }, []string{"period"}},
		{"no outcome", func(c *trial.Catch) { c.Outcome = "" }, []string{"outcome"}},
		{"no origin", func(c *trial.Catch) { c.Origin = "farm" }, []string{"origin"}},
		{"a species by its common name", func(c *trial.Catch) { c.Species = "grayling" }, []string{"species"}},
		{"noted before it was caught", func(c *trial.Catch) { c.NotedAt = c.CaughtAt.Add(-time.Millisecond) }, []string{"noted_at"}},
		{"in the future", func(c *trial.Catch) { c.CaughtAt, c.NotedAt = now.Add(25*time.Hour), now.Add(25*time.Hour) }, []string{"caught_at", "noted_at"}},
		{"no times", func(c *trial.Catch) { c.CaughtAt, c.NotedAt = time.Time{}, time.Time{} }, []string{"caught_at", "noted_at"}},
		{"a length without unit", func(c *trial.Catch) { c.Length = &trial.Measure{Value: 30} }, []string{"length"}},
		{"a length of nothing", func(c *trial.Catch) { c.Length = &trial.Measure{Unit: "cm"} }, []string{"length"}},
		{"a grayling of 65 cm", func(c *trial.Catch) { c.Length = &trial.Measure{Value: 65, Unit: "cm"} }, nil},
		{"a grayling of 66 cm", func(c *trial.Catch) { c.Length = &trial.Measure{Value: 66, Unit: "cm"} }, []string{"length"}},
		{"a long note", func(c *trial.Catch) { c.Note = strings.Repeat("ü", 501) }, []string{"note"}},
		{"a note with NUL", func(c *trial.Catch) { c.Note = "a\x00" }, []string{"note"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			fish := good
			c.change(&fish)
			wantFaults(t, fish.Check(p, now), c.want...)
		})
	}
	wantFaults(t, trial.Catch{}.Check(p, now), "catch", "period", "taken_pattern", "outcome", "origin", "species", "caught_at", "noted_at")
}

// Late is noted late: more than the limit between caught_at and noted_at, whenever the record arrives.
func TestLateByNotedAt(t *testing.T) {
	p := complete()
	for _, c := range []struct {
		limit int
		noted time.Duration
		late  bool
	}{
		{72, 0, false},
		{72, 72 * time.Hour, false},
		{72, 72*time.Hour + time.Millisecond, true},
		{0, 0, false},
		{0, time.Millisecond, true},
		{720, 30 * 24 * time.Hour, false},
	} {
		p.OutingLimits.LateLimitH = c.limit
		fish := goodFish().catch
		fish.NotedAt = fish.CaughtAt.Add(c.noted)
		for _, received := range []time.Duration{0, time.Hour, 90 * 24 * time.Hour} {
			fish.ReceivedAt = fish.CaughtAt.Add(received)
			if got := fish.Late(p); got != c.late {
				t.Errorf("limit %d h, noted after %s, received after %s: late %t, want %t", c.limit, c.noted, received, got, c.late)
			}
		}
	}
	// An hour is an hour in the night in which clocks are put back too (Vienna, 25 October 2026, 3:00 → 2:00).
	vienna, err := time.LoadLocation("Europe/Vienna")
	if err != nil {
		t.Skipf("no time zones here: %v", err)
	}
	p.OutingLimits.LateLimitH = 1
	fish := goodFish().catch
	fish.CaughtAt = time.Date(2026, 10, 25, 0, 30, 0, 0, time.UTC).In(vienna) // 02:30 in summer time
	fish.NotedAt = time.Date(2026, 10, 25, 1, 30, 0, 0, time.UTC).In(vienna)  // 02:30 in winter time
	if fish.Late(p) {
		t.Error("an hour later in the night of the change is taken for more than an hour")
	}
	fish.NotedAt = fish.NotedAt.Add(time.Second)
	if !fish.Late(p) {
		t.Error("more than an hour in the night of the change is taken for less")
	}
}

func TestEnrolmentAsSent(t *testing.T) {
	all := trial.Consent{TakePart: true, Store: true, SharePseudonymous: true, LicenceConfirmed: true, AdultOrGuardian: true}
	random := madeUp(3)
	random[6] = 0x4a
	good := trial.Enrolment{ID: random, Code: [32]byte{1}, Consent: all}
	wantFaults(t, good.Check())
	// A version 7 id tells the millisecond of joining; one in another variant is no UUID of RFC 9562.
	timed, other := good, good
	timed.ID, other.ID[8] = madeUp(3), 0xc0
	wantFaults(t, timed.Check(), "enrolment")
	wantFaults(t, other.Check(), "enrolment")
	wantFaults(t, trial.Enrolment{}.Check(), "enrolment", "code", "consent.take_part", "consent.store", "consent.share_pseudonymous",
		"consent.licence_confirmed", "consent.adult_or_guardian")
	if good.Active() != nil {
		t.Error("an angler who has just joined takes no part")
	}
	left, erased := good, good
	left.LeftAt, erased.ErasedAt = &noon, &noon
	wantKind(t, left.Active(), trial.Conflict, "enrolment.left")
	wantKind(t, erased.Active(), trial.Conflict, "enrolment.left")
}
