package trial_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// anglersRecords draws one angler's season: outings with none to four blocks, some of them left unfinished, reports of
// what was not as planned, and fish of every sort.
func anglersRecords(rt *rapid.T) trial.Records {
	arrangements := rapid.SampledFrom([]trial.Arrangement{trial.TestLower, trial.ControlLower})
	chance := func(name string, of int) bool { return rapid.IntRange(1, of).Draw(rt, name) == 1 }
	r := trial.Records{Enrolment: trial.Enrolment{ID: madeUp(3), Pseudonym: "7K2MZQ"}}
	for day := range rapid.IntRange(0, 4).Draw(rt, "outings") {
		start := noon.AddDate(0, 0, 3*day)
		o := trial.Outing{ID: madeUp(1000 + day), EnrolmentID: madeUp(3), Water: "Upper Wend", StartedAt: start, StartedLate: chance("opened late", 3)}
		if chance("at the other water", 3) {
			o.Water = "Mill Reach"
		}
		for range rapid.IntRange(0, 3).Draw(rt, "blocks") {
			n := len(r.Units) + 1
			unit := trial.Unit{ID: madeUp(2000 + n), EnrolmentID: madeUp(3), N: n, First: arrangements.Draw(rt, "first"), SameFlyCheck: chance("check", 8)}
			for half := 1; half <= rapid.IntRange(1, 2).Draw(rt, "halves"); half++ {
				p := trial.Period{
					ID: madeUp(3000 + 10*n + half), EnrolmentID: madeUp(3), OutingID: o.ID, UnitID: unit.ID, Block: fmt.Sprint(n), Half: half,
					Drawn: unit.Drawn(half), Fished: unit.Drawn(half), Confirmed: !chance("unconfirmed", 8), StartedAt: start.Add(time.Duration(half) * time.Hour),
				}
				if chance("turned", 8) {
					p.Fished = p.Fished.Other()
				}
				if !chance("goes on", 6) {
					swapNow := p.StartedAt.Add(40 * time.Minute)
					p.End = &trial.PeriodEnd{EndedAt: p.StartedAt.Add(45 * time.Minute), SwapNowAt: &swapNow, Reason: trial.EndedByRule}
					if chance("stopped", 4) {
						p.End.SwapNowAt, p.End.Reason = nil, "outing_ended"
					}
				}
				r.Periods = append(r.Periods, p)
				if half == 1 {
					unit.OpenedAt = &p.StartedAt
				}
			}
			r.Units = append(r.Units, unit)
		}
		if chance("ended", 2) {
			o.End = &trial.OutingEnd{EndedAt: start.Add(6 * time.Hour), Reason: "planned", NotLogged: rapid.IntRange(0, 3).Draw(rt, "not logged")}
		}
		r.Outings = append(r.Outings, o)
	}
	if len(r.Periods) == 0 {
		return r
	}
	for i := range rapid.IntRange(0, 4).Draw(rt, "reports") {
		p := rapid.SampledFrom(r.Periods).Draw(rt, "in")
		d := trial.Deviation{
			ID: madeUp(4000 + i), OutingID: p.OutingID, PeriodID: p.ID, FromAt: p.StartedAt.Add(time.Duration(10*i) * time.Minute),
			Kind: rapid.SampledFrom([]trial.DeviationKind{trial.ThirdFly, trial.WrongWayRound, trial.OffTrial, trial.BackOn, trial.CouldNotSwap, trial.Moved}).Draw(rt, "what"),
		}
		if d.Kind == trial.Moved {
			d.PeriodID, d.Water = trial.ID{}, "Mill Reach"
		}
		if chance("over", 3) {
			d.UntilAt = ptr(d.FromAt.Add(15 * time.Minute))
		}
		r.Deviations = append(r.Deviations, d)
	}
	for i := range rapid.IntRange(0, 25).Draw(rt, "fish") {
		p := rapid.SampledFrom(r.Periods).Draw(rt, "period")
		c := trial.Catch{
			ID: madeUp(5000 + i), EnrolmentID: madeUp(3), PeriodID: p.ID, RigIntact: !chance("fouled", 8), FoulHooked: chance("foul", 8),
			TakenPattern:  rapid.SampledFrom([]string{"C", "N", "C", "N", "unknown", "other", ""}).Draw(rt, "pattern"),
			TakenPosition: rapid.SampledFrom([]trial.Position{"", "lower", "upper", "unknown"}).Draw(rt, "position"),
			Outcome:       rapid.SampledFrom([]trial.Outcome{trial.Landed, trial.Landed, trial.Landed, trial.Lost, trial.Touched}).Draw(rt, "outcome"),
			Species:       rapid.SampledFrom([]string{"Thymallus thymallus", "Thymallus thymallus", "Salmo trutta", "unknown"}).Draw(rt, "species"),
			Origin:        rapid.SampledFrom([]trial.Origin{trial.Wild, trial.Stocked, trial.UnknownOrigin}).Draw(rt, "origin"),
			CaughtAt:      p.StartedAt.Add(time.Duration(rapid.IntRange(-5, 50).Draw(rt, "minute")) * time.Minute),
			Void:          chance("void", 10), AfterLock: chance("after lock", 10),
		}
		c.NotedAt = c.CaughtAt.Add(time.Duration(rapid.SampledFrom([]int{0, 0, 1, 72, 73}).Draw(rt, "noted")) * time.Hour)
		if chance("double", 6) {
			c.DoubleID = madeUp(6000)
		}
		if chance("measured", 3) {
			c.Length = &trial.Measure{Value: float64(rapid.IntRange(15, 45).Draw(rt, "cm")), Unit: "cm"}
		}
		r.Catches = append(r.Catches, c)
	}
	return r
}

func minLength(p trial.Protocol) trial.Protocol {
	p.MinLengthMM = 250
	return p
}

// Every fish stands in exactly one tally, so that the flow diagram closes: the tallies sum to the catches, and by
// reason to what each fish's own exclusion says.
func TestTalliesSumToTheCatches(t *testing.T) {
	p := minLength(complete())
	rapid.Check(t, func(rt *rapid.T) {
		r := anglersRecords(rt)
		tallies, _ := r.Count(p)
		var sum int64
		counted := map[trial.Exclusion]int64{}
		for _, tally := range tallies {
			if tally.N < 1 {
				rt.Errorf("a tally of %d fish", tally.N)
			}
			if tally.Angler != "7K2MZQ" {
				rt.Errorf("a tally of %q", tally.Angler)
			}
			sum += tally.N
			counted[tally.Exclusion] += tally.N
		}
		if sum != int64(len(r.Catches)) {
			rt.Fatalf("tallies sum to %d, of %d catches", sum, len(r.Catches))
		}
		want := map[trial.Exclusion]int64{}
		for _, c := range r.Catches {
			period := r.Periods[slices.IndexFunc(r.Periods, func(p trial.Period) bool { return p.ID == c.PeriodID })]
			unit := r.Units[slices.IndexFunc(r.Units, func(u trial.Unit) bool { return u.ID == period.UnitID })]
			want[c.Excluded(p, period, unit, r.Deviations)]++
		}
		for _, reason := range append(trial.Exclusions(), trial.Analysed) {
			if counted[reason] != want[reason] {
				rt.Errorf("%q: %d in the tallies, %d one by one", reason, counted[reason], want[reason])
			}
		}
	})
}

// The order in which records stand changes nothing.
func TestOrderOfRecordsChangesNothing(t *testing.T) {
	p := minLength(complete())
	rapid.Check(t, func(rt *rapid.T) {
		r := anglersRecords(rt)
		tallies, effort := r.Count(p)
		again := trial.Records{
			Enrolment: r.Enrolment, Outings: shuffled(rt, r.Outings), Units: shuffled(rt, r.Units), Periods: shuffled(rt, r.Periods),
			Deviations: shuffled(rt, r.Deviations), Catches: shuffled(rt, r.Catches),
		}
		tallies2, effort2 := again.Count(p)
		if !slices.Equal(tallies, tallies2) {
			rt.Errorf("tallies differ:\n%v\n%v", tallies, tallies2)
		}
		if effort != effort2 {
			rt.Errorf("effort differs: %+v, %+v", effort, effort2)
		}
	})
}

func shuffled[T any](rt *rapid.T, list []T) []T {
	if len(list) == 0 {
		return nil
	}
	return rapid.Permutation(list).Draw(rt, "order")
}

// Calling the test pattern control and the control test turns arrangement and pattern taken over in every tally and
// changes nothing else: what hung lower and what the fish took are facts.
func TestLabelsChangedOver(t *testing.T) {
	p := minLength(complete())
	q := minLength(complete())
	q.Patterns[0].Part, q.Patterns[1].Part = trial.Control, trial.Test
	rapid.Check(t, func(rt *rapid.T) {
		r := anglersRecords(rt)
		tallies, effort := r.Count(p)
		turned := r
		turned.Periods = slices.Clone(r.Periods)
		for i := range turned.Periods {
			turned.Periods[i].Drawn, turned.Periods[i].Fished = turned.Periods[i].Drawn.Other(), turned.Periods[i].Fished.Other()
		}
		turned.Units = othersFirst(r.Units)
		got, effort2 := turned.Count(q)
		if effort != effort2 {
			rt.Errorf("effort differs: %+v, %+v", effort, effort2)
		}
		for i := range got {
			got[i].Arrangement, got[i].Drawn = got[i].Arrangement.Other(), got[i].Drawn.Other()
			got[i].Taken = map[trial.Taken]trial.Taken{"test": "control", "control": "test", "unknown": "unknown", "other": "other"}[got[i].Taken]
		}
		wantSameTallies(rt, got, tallies)
	})
}

// Calling lower upper turns the arrangement over in every tally, and not the pattern that the fish took.
func TestPositionsChangedOver(t *testing.T) {
	p := minLength(complete())
	rapid.Check(t, func(rt *rapid.T) {
		r := anglersRecords(rt)
		tallies, _ := r.Count(p)
		turned := r
		turned.Periods, turned.Catches, turned.Units = slices.Clone(r.Periods), slices.Clone(r.Catches), othersFirst(r.Units)
		for i := range turned.Periods {
			turned.Periods[i].Drawn, turned.Periods[i].Fished = turned.Periods[i].Drawn.Other(), turned.Periods[i].Fished.Other()
		}
		for i := range turned.Catches {
			turned.Catches[i].TakenPosition = flipped(turned.Catches[i].TakenPosition)
		}
		got, _ := turned.Count(p)
		for i := range got {
			got[i].Arrangement, got[i].Drawn = got[i].Arrangement.Other(), got[i].Drawn.Other()
		}
		wantSameTallies(rt, got, tallies)
	})
}

// othersFirst are the units with the other arrangement drawn for each.
func othersFirst(units []trial.Unit) []trial.Unit {
	units = slices.Clone(units)
	for i := range units {
		units[i].First = units[i].First.Other()
	}
	return units
}

func wantSameTallies(rt *rapid.T, got, want []trial.Tally) {
	rt.Helper()
	count := func(list []trial.Tally) map[trial.Tally]int64 {
		m := map[trial.Tally]int64{}
		for _, tally := range list {
			n := tally.N
			tally.N = 0
			m[tally] += n
		}
		return m
	}
	a, b := count(got), count(want)
	for tally := range a {
		if a[tally] != b[tally] {
			rt.Errorf("%+v: %d fish, want %d", tally, a[tally], b[tally])
		}
	}
	if len(a) != len(b) {
		rt.Errorf("%d tallies, want %d", len(a), len(b))
	}
}

// Effort adds field by field, in any order.
func TestEffortAdds(t *testing.T) {
	p := complete()
	rapid.Check(t, func(rt *rapid.T) {
		_, a := anglersRecords(rt).Count(p)
		_, b := anglersRecords(rt).Count(p)
		sum := a.Add(b)
		if sum != b.Add(a) || a.Add(trial.Effort{}) != a {
			rt.Error("adding effort depends on the order, or adding none changes it")
		}
		if sum.Outings != a.Outings+b.Outings || sum.Enrolled != 2 || sum.LateNoted != a.LateNoted+b.LateNoted || sum.Blocks != a.Blocks+b.Blocks ||
			sum.FinishedBlocks != a.FinishedBlocks+b.FinishedBlocks || sum.BlankOutings != a.BlankOutings+b.BlankOutings ||
			sum.NotLogged != a.NotLogged+b.NotLogged || sum.Deviations != a.Deviations+b.Deviations {
			rt.Errorf("%+v and %+v give %+v", a, b, sum)
		}
	})
}

// The flow diagram of a season worked out by hand.
func TestEffortByHand(t *testing.T) {
	p := complete()
	f := goodFish()
	period := func(id, unit, half int, reason string) trial.Period {
		q := f.period
		q.ID, q.UnitID, q.Half = madeUp(id), madeUp(unit), half
		if reason == "" {
			q.End = nil
			return q
		}
		end := *f.period.End
		end.Reason = reason
		q.End = &end
		return q
	}
	late, early := f.catch, f.catch
	early.ID, early.PeriodID = madeUp(101), madeUp(61)
	late.ID, late.PeriodID, late.NotedAt = madeUp(102), madeUp(62), late.CaughtAt.Add(73*time.Hour)
	r := trial.Records{
		Enrolment: trial.Enrolment{ID: madeUp(3), Pseudonym: "7K2MZQ"},
		Outings: []trial.Outing{
			{ID: madeUp(4), End: &trial.OutingEnd{NotLogged: 2}},
			{ID: madeUp(41), End: &trial.OutingEnd{NotLogged: 1}}, // nothing caught: a blank
			{ID: madeUp(42)}, // a blank not closed yet
		},
		Units: []trial.Unit{{ID: madeUp(51), N: 1}, {ID: madeUp(52), N: 2}, {ID: madeUp(53), N: 3}, {ID: madeUp(54), N: 4}},
		Periods: []trial.Period{
			period(61, 51, 1, trial.EndedByRule), period(62, 51, 2, trial.EndedByRule), // finished
			period(63, 52, 1, trial.EndedByRule), period(64, 52, 2, "outing_ended"), // both halves, the second cut short
			period(65, 53, 1, trial.EndedByRule), // one half
			period(66, 54, 1, ""),                // goes on
		},
		Deviations: []trial.Deviation{{ID: madeUp(71), Kind: trial.CouldNotSwap, PeriodID: madeUp(64)}},
		Catches:    []trial.Catch{early, late},
	}
	_, got := r.Count(p)
	want := trial.Effort{Enrolled: 1, Outings: 3, BlankOutings: 2, Blocks: 4, FinishedBlocks: 1, NotLogged: 3, Deviations: 1, LateNoted: 1}
	if got != want {
		t.Errorf("got %+v, want %+v", got, want)
	}
	// By outing, the outing's end is the swap: a block is finished when both its outings were fished to their end.
	p.Design, p.Swap.AfterFish, p.Swap.AfterMinutes = trial.PairedByOuting, nil, nil
	if _, got = r.Count(p); got.FinishedBlocks != 2 {
		t.Errorf("by outing %d blocks finished, want 2", got.FinishedBlocks)
	}
	empty, none := trial.Records{}.Count(p)
	if len(empty) != 0 || none != (trial.Effort{Enrolled: 1}) {
		t.Errorf("an angler without an outing counts %v, %+v", empty, none)
	}
}

// Month and week are those of the angler's own day. ISO 8601 weeks: 2026-12-31 and 2027-01-01 lie in week 53 of 2026,
// 2024-12-30 in week 1 of 2025 (the standard's rule: the week that holds the year's first Thursday is the first).
func TestMonthAndWeek(t *testing.T) {
	summer, winter := time.FixedZone("", 2*3600), time.FixedZone("", 3600)
	for _, c := range []struct {
		at          time.Time
		month, week string
	}{
		{noon, "2026-09", "2026-W37"},
		{time.Date(2026, 12, 31, 12, 0, 0, 0, time.UTC), "2026-12", "2026-W53"},
		// A week's month is that of its Thursday: 31 December 2026 and 2 January 2025.
		{time.Date(2027, 1, 1, 12, 0, 0, 0, time.UTC), "2026-12", "2026-W53"},
		{time.Date(2024, 12, 30, 12, 0, 0, 0, time.UTC), "2025-01", "2025-W01"},
		{time.Date(2026, 1, 1, 12, 0, 0, 0, time.UTC), "2026-01", "2026-W01"},
		// Half past midnight of 1 October at home is still September in UTC.
		{time.Date(2026, 10, 1, 0, 30, 0, 0, summer), "2026-10", "2026-W40"},
		// The night of 25 October 2026, in which 3:00 becomes 2:00: one day, one week, before and after.
		{time.Date(2026, 10, 25, 2, 30, 0, 0, summer), "2026-10", "2026-W43"},
		{time.Date(2026, 10, 25, 2, 30, 0, 0, winter), "2026-10", "2026-W43"},
		{time.Date(2026, 10, 25, 23, 59, 59, 0, winter), "2026-10", "2026-W43"},
		{time.Date(2026, 10, 26, 0, 0, 0, 0, winter), "2026-10", "2026-W44"},
		// The night of 29 March 2026, in which 2:00 becomes 3:00.
		{time.Date(2026, 3, 29, 1, 59, 59, 0, winter), "2026-03", "2026-W13"},
		{time.Date(2026, 3, 29, 3, 0, 0, 0, summer), "2026-03", "2026-W13"},
		{time.Time{}, "", ""},
	} {
		f := goodFish()
		f.catch.CaughtAt, f.catch.NotedAt = c.at, c.at
		r := trial.Records{Periods: []trial.Period{f.period}, Units: []trial.Unit{f.unit}, Catches: []trial.Catch{f.catch}}
		tallies, _ := r.Count(complete())
		if len(tallies) != 1 || tallies[0].Month != c.month || tallies[0].Week != c.week {
			t.Errorf("%s: %+v, want %s, %s", c.at, tallies, c.month, c.week)
		}
	}
}

// A tally says what was fished and taken, with what is known of position already used.
func TestTallyOfOneFish(t *testing.T) {
	f := goodFish()
	f.catch.TakenPattern, f.catch.TakenPosition = "", trial.Upper
	r := trial.Records{
		Enrolment: trial.Enrolment{Pseudonym: "7K2MZQ"}, Outings: []trial.Outing{{ID: madeUp(4)}}, Units: []trial.Unit{f.unit},
		Periods: []trial.Period{f.period}, Catches: []trial.Catch{f.catch},
		Deviations: []trial.Deviation{{Kind: trial.WrongWayRound, PeriodID: f.period.ID, OutingID: madeUp(4), FromAt: noon}},
	}
	tallies, _ := r.Count(complete())
	if len(tallies) != 1 {
		t.Fatalf("%d tallies of one fish", len(tallies))
	}
	got := tallies[0]
	// Drawn test_lower, fished the wrong way round: the upper fly was the test pattern.
	if got.Arrangement != trial.ControlLower || got.Taken != trial.TookTest || got.Exclusion != trial.Analysed || got.N != 1 {
		t.Errorf("got %+v, want the test pattern taken in control_lower", got)
	}
	if got.Outing != withoutTime(madeUp(4)) || got.Block != "1" || got.Period != "1" || got.Species != "Thymallus thymallus" || got.Origin != trial.Wild {
		t.Errorf("labels %+v", got)
	}
}

// Counting one angler's thousand fish: what an angler's changed chain costs whoever reads counts next.
func BenchmarkCount(b *testing.B) {
	f := goodFish()
	r := trial.Records{Outings: []trial.Outing{{ID: madeUp(4)}}, Units: []trial.Unit{f.unit}, Periods: []trial.Period{f.period}}
	const fish = 1000
	for i := range fish {
		c := f.catch
		c.ID, c.CaughtAt = madeUp(10000+i), f.catch.CaughtAt.Add(time.Duration(i)*time.Second)
		c.NotedAt, c.TakenPattern = c.CaughtAt, []string{"C", "N"}[i%2]
		r.Catches = append(r.Catches, c)
	}
	for b.Loop() {
		r.Count(f.protocol)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*fish), "ns/fish")
}
