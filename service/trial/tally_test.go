package trial_test

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// fishMarks is what a tally says of a fish beside what the model reads.
type fishMarks struct {
	half                       int
	drawn                      trial.Arrangement
	finished                   bool
	openedLate, late, deviated bool
	waterType                  string
}

// marked finds each mark of one fish by going through all records, from the words of trial.Tally alone.
func marked(r trial.Records, c trial.Catch) fishMarks {
	var m fishMarks
	within := func(d trial.Deviation) bool {
		return !c.CaughtAt.Before(d.FromAt) && (d.UntilAt == nil || c.CaughtAt.Before(*d.UntilAt))
	}
	period := r.Periods[slices.IndexFunc(r.Periods, func(p trial.Period) bool { return p.ID == c.PeriodID })]
	outing := r.Outings[slices.IndexFunc(r.Outings, func(o trial.Outing) bool { return o.ID == period.OutingID })]
	unit := r.Units[slices.IndexFunc(r.Units, func(u trial.Unit) bool { return u.ID == period.UnitID })]
	m.half, m.openedLate, m.late = period.Half, outing.StartedLate, c.NotedAt.After(c.CaughtAt.Add(72*time.Hour))
	m.drawn = unit.First
	if period.Half == 2 {
		m.drawn = map[trial.Arrangement]trial.Arrangement{"test_lower": "control_lower", "control_lower": "test_lower"}[unit.First]
	}
	byRule := 0
	for _, p := range r.Periods {
		if p.UnitID == unit.ID && p.End != nil && p.End.Reason == "swap_rule" {
			byRule++
		}
	}
	m.finished = byRule == 2
	water, since := outing.Water, time.Time{}
	for _, d := range r.Deviations {
		if d.OutingID != outing.ID {
			continue
		}
		switch d.Kind {
		case "back_on":
		case "off_trial":
			back := slices.ContainsFunc(r.Deviations, func(b trial.Deviation) bool {
				return b.Kind == "back_on" && b.OutingID == outing.ID && b.FromAt.After(d.FromAt) && !b.FromAt.After(c.CaughtAt)
			})
			m.deviated = m.deviated || within(d) && !back
		case "moved": // a block lies at one water: what was begun before the move was to end with it
			m.deviated = m.deviated || within(d) && period.StartedAt.Before(d.FromAt)
			if !d.FromAt.After(c.CaughtAt) && d.FromAt.After(since) {
				water, since = d.Water, d.FromAt
			}
		default:
			m.deviated = m.deviated || within(d) && d.PeriodID == period.ID
		}
	}
	m.waterType = map[string]string{"Upper Wend": "river", "Mill Reach": "mill stream"}[water]
	return m
}

// Every fish is counted under its own marks, and under no others.
func TestTalliesCarryTheMarksOfTheirFish(t *testing.T) {
	p := complete()
	p.Waters[1].WaterType = "mill stream"
	rapid.Check(t, func(rt *rapid.T) {
		r := anglersRecords(rt)
		tallies, effort := r.Count(p)
		got, want := map[fishMarks]int64{}, map[fishMarks]int64{}
		for _, c := range tallies {
			got[fishMarks{c.Half, c.Drawn, c.Finished, c.OpenedLate, c.Late, c.Deviated, c.WaterType}] += c.N
			if strings.Contains(fmt.Sprintf("%+v", c), "Reach") || strings.Contains(fmt.Sprintf("%+v", c), "Wend") {
				rt.Errorf("the water's name is told: %+v", c)
			}
		}
		finished := map[string]bool{}
		for _, c := range r.Catches {
			want[marked(r, c)]++
		}
		if !maps.Equal(got, want) {
			rt.Errorf("counted\n%+v\nwant\n%+v", got, want)
		}
		for _, c := range tallies {
			finished[c.Block] = c.Finished
		}
		blocks := slices.DeleteFunc(slices.Collect(maps.Keys(finished)), func(block string) bool { return !finished[block] })
		if int64(len(blocks)) > effort.FinishedBlocks {
			rt.Errorf("fish of %d finished blocks; %d are counted", len(blocks), effort.FinishedBlocks)
		}
	})
}

// In paired_by_outing the end of an outing is the swap, so that it finishes a period as the rule does elsewhere.
func TestFinishedByOuting(t *testing.T) {
	f := goodFish()
	f.period.End.Reason, f.period.End.SwapNowAt = "outing_ended", nil
	second := f.period
	second.ID, second.OutingID, second.Half = madeUp(7), madeUp(41), 2
	r := trial.Records{
		Outings: []trial.Outing{{ID: madeUp(4)}, {ID: madeUp(41)}}, Units: []trial.Unit{f.unit}, Periods: []trial.Period{f.period, second},
		Catches: []trial.Catch{f.catch},
	}
	for design, want := range map[trial.Design]bool{trial.Paired: false, trial.PairedByOuting: true} {
		f.protocol.Design = design
		if tallies, _ := r.Count(f.protocol); len(tallies) != 1 || tallies[0].Finished != want {
			t.Errorf("%s: %+v, want finished %t", design, tallies, want)
		}
	}
}

// A recorded trial tells halves by the table's numbers and has no draw; what its table said goes into the tallies, of further
// columns only those by which the protocol tells fish apart.
func TestTallyOfAnImportedFish(t *testing.T) {
	f := goodFish()
	f.protocol.Source, f.protocol.Subgroups = trial.Recorded, []string{"month", "hatch"}
	period := func(id, half int, fished trial.Arrangement) trial.Period {
		return trial.Period{ID: madeUp(id), OutingID: madeUp(4), Block: "2", Half: half, Fished: fished, Confirmed: true}
	}
	c := trial.Catch{
		PeriodID: madeUp(6), TakenPattern: "C", Outcome: trial.Landed, RigIntact: true, Origin: trial.Wild, WaterType: "lake", Fly: "tag",
		Further: trial.NewFurther(map[string]string{"hatch": "olives", "wind": "none"}),
	}
	r := trial.Records{
		Enrolment: trial.Enrolment{Pseudonym: "7K2MZQ"}, Outings: []trial.Outing{{ID: madeUp(4)}},
		Periods: []trial.Period{period(6, 9, trial.TestLower), period(7, 5, trial.ControlLower)}, Catches: []trial.Catch{c},
	}
	want := trial.Tally{
		Angler: "7K2MZQ", Outing: withoutTime(madeUp(4)), Block: withoutTime(madeUp(4)) + ", block 2", Period: "9", Arrangement: trial.TestLower, Taken: trial.TookTest,
		Origin: trial.Wild, Half: 2, WaterType: "lake", Fly: "tag", Columns: `{"hatch":"olives"}`, N: 1,
	}
	if tallies, _ := r.Count(f.protocol); len(tallies) != 1 || tallies[0] != want {
		t.Errorf("got %+v, want %+v", tallies, want)
	}
	for column, level := range map[string]string{"hatch": "olives", "wind": "", "water_type": "lake", "fly": "tag", "origin": "wild", "species": "", "month": ""} {
		if got := want.Level(column); got != level {
			t.Errorf("%s is %q, want %q", column, got, level)
		}
	}
}

// Where an imported fish's arrangement is not known, its pattern does not tell its position, nor the other way round.
func TestUnknownArrangementSettlesNothing(t *testing.T) {
	for _, c := range []struct {
		pattern  string
		position trial.Position
		taken    trial.Taken
		at       trial.Position
		excluded trial.Exclusion
	}{
		{"C", "", trial.TookTest, trial.UnknownPosition, trial.NotConfirmed},
		{"N", "", trial.TookControl, trial.UnknownPosition, trial.NotConfirmed},
		{"N", trial.Lower, trial.TookControl, trial.Lower, trial.NotConfirmed},
		{"unknown", trial.Lower, trial.TookUnknown, trial.Lower, trial.NotSure},
		{"", trial.Upper, trial.TookUnknown, trial.Upper, trial.NotSure},
		{"unknown", "", trial.TookUnknown, trial.UnknownPosition, trial.NotSure},
		{"other", "", trial.TookOther, trial.OtherPosition, trial.OtherFly},
	} {
		f := goodFish()
		f.protocol.Source = trial.Recorded
		f.catch.TakenPattern, f.catch.TakenPosition = c.pattern, c.position
		taken, at := f.catch.TakenIn(f.protocol, "")
		if taken != c.taken || at != c.at {
			t.Errorf("%q, %q: %s, %s; want %s, %s", c.pattern, c.position, taken, at, c.taken, c.at)
		}
		bare := trial.Period{ID: madeUp(6)}
		if got := f.catch.Excluded(f.protocol, bare, trial.Unit{}, nil); got != c.excluded {
			t.Errorf("%q, %q: excluded for %q, want %q", c.pattern, c.position, got, c.excluded)
		}
	}
}

// Tallies are told apart by every field but their number; of two in which they differ the one whose name in JSON comes
// first decides.
func TestTalliesAreOrderedByEveryField(t *testing.T) {
	var zero trial.Tally
	type field struct {
		name string
		more trial.Tally
	}
	var fields []field
	typ := reflect.TypeFor[trial.Tally]()
	for i := range typ.NumField() {
		name, _, _ := strings.Cut(typ.Field(i).Tag.Get("json"), ",")
		var one trial.Tally
		switch v := reflect.ValueOf(&one).Elem().Field(i); v.Kind() {
		case reflect.String:
			v.SetString("x")
		case reflect.Bool:
			v.SetBool(true)
		default:
			v.SetInt(1)
		}
		if name == "n" {
			if trial.CompareTallies(zero, one) != 0 {
				t.Error("tallies are told apart by their number")
			}
			continue
		}
		fields = append(fields, field{name, one})
	}
	slices.SortFunc(fields, func(a, b field) int { return cmp.Compare(a.name, b.name) })
	for i, f := range fields {
		if trial.CompareTallies(zero, f.more) != -1 || trial.CompareTallies(f.more, zero) != 1 {
			t.Errorf("%s does not order tallies", f.name)
		}
		for _, later := range fields[i+1:] {
			if trial.CompareTallies(f.more, later.more) != 1 {
				t.Errorf("%s does not come before %s", f.name, later.name)
			}
		}
	}
}

// A tally as it is cached: what says nothing is left out, so that a season's counts stay small.
func TestTallyInJSON(t *testing.T) {
	b, err := json.Marshal(trial.Tally{Angler: "a", N: 2})
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"half", "drawn", "finished", "opened_late", "late", "deviated", "water_type", "fly", "columns"} {
		if strings.Contains(string(b), name) {
			t.Errorf("%s stands in %s", name, b)
		}
	}
}

// Like fish add up however many there are: an angler's tallies do not grow with his fish.
func TestTalliesDoNotGrowWithFish(t *testing.T) {
	f := goodFish()
	r := trial.Records{Outings: []trial.Outing{{ID: madeUp(4)}}, Units: []trial.Unit{f.unit}, Periods: []trial.Period{f.period}}
	for i := range 1000 {
		c := f.catch
		c.ID, c.CaughtAt = madeUp(10000+i), f.catch.CaughtAt.Add(time.Duration(i)*time.Second)
		c.NotedAt, c.TakenPattern = c.CaughtAt, []string{"C", "N"}[i%2]
		c.Length = &trial.Measure{Value: float64(200 + i), Unit: "mm"}
		r.Catches = append(r.Catches, c)
	}
	if tallies, _ := r.Count(f.protocol); len(tallies) != 2 || tallies[0].N != 500 {
		t.Errorf("%d tallies of 1000 fish that took one of two patterns", len(tallies))
	}
}
