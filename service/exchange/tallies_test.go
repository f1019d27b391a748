package exchange

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// Of a block's two period numbers the lower is its first half; with one or with three, or without a block, it cannot be told.
func TestHalves(t *testing.T) {
	table := mustRead(t, "angler,outing,block,period,lower_pattern,taken_position\n"+
		"a,1,1,7,A,lower\na,1,1,3,B,lower\n"+ // two, not from 1 and not in order
		"a,1,2,1,A,lower\n"+ // one
		"a,2,1,1,A,lower\na,2,1,2,B,lower\na,2,1,3,A,upper\n"+ // three
		"a,3,,1,A,lower\na,3,,2,B,lower\n"+ // no block
		"b,1,1,1,A,lower\nb,1,1,,B,lower\n"+ // one of another angler, and one fish without
		"c,1,9,1,B,lower\nc,2,9,2,A,lower\n", ReadOptions{}) // a block of two outings
	got := map[string]int{}
	for _, tally := range tallied(t, table) {
		got[tally.Angler+" "+tally.Outing+": "+tally.Period+" "+string(tally.Arrangement)] = tally.Half
	}
	want := map[string]int{
		"a 1: 1, block 1, period 7 test_lower": 2, "a 1: 1, block 1, period 3 control_lower": 1,
		"a 1: 1, block 2, period 1 test_lower": 0,
		"a 2: 2, block 1, period 1 test_lower": 0, "a 2: 2, block 1, period 2 control_lower": 0, "a 2: 2, block 1, period 3 test_lower": 0,
		"a 3: period 1 test_lower": 0, "a 3: period 2 control_lower": 0,
		"b 1: 1, block 1, period 1 test_lower": 0, "b 1:  control_lower": 0,
		"c 1: 9, period 1 control_lower": 1, "c 2: 9, period 2 test_lower": 2,
	}
	for period, half := range want {
		if h, ok := got[period]; !ok || h != half {
			t.Errorf("%s: half %d (%t), want %d", period, h, ok, half)
		}
	}
	if len(got) != len(want) {
		t.Errorf("%d periods, want %d: %v", len(got), len(want), got)
	}
}

// Only the columns that are asked for tell fish apart; those that a tally has anyway do so always.
func TestSubgroupColumns(t *testing.T) {
	const file = "lower_pattern,taken_position,water_type,fly,Hatch,light,caught_at\n" +
		"A,lower,river,orange tag,olives,bright,2026-09-01\n" +
		"A,lower,river,orange tag,olives,dull,2026-09-01\n" +
		"A,lower,river,orange tag,,dull,2026-09-01\n" +
		"B,lower,lake,orange tag,\"midges, \"\"small\"\"\",dull,2026-10-01\n"
	plain := mustRead(t, file, ReadOptions{})
	if got := tallied(t, plain); len(got) != 2 || got[0].Columns != "" || plain.Subgroups != nil {
		t.Errorf("without columns asked for: %+v", got)
	}
	table := mustRead(t, file, ReadOptions{Subgroups: []string{" hatch", "MONTH", "water_type"}})
	if want := []string{"Hatch", "month", "water_type"}; !slices.Equal(table.Subgroups, want) {
		t.Errorf("columns %q, want %q", table.Subgroups, want)
	}
	var levels []string
	for _, tally := range tallied(t, table) {
		text := fmt.Sprintf("%d %s", tally.N, tally.Columns)
		for _, column := range append(table.Subgroups, "fly", "origin", "species", "light") {
			text += "|" + tally.Level(column)
		}
		levels = append(levels, text)
	}
	slices.Sort(levels)
	want := []string{ // light was not asked for
		`1 {"Hatch":"midges, \"small\""}|midges, "small"|2026-10|lake|orange tag|unknown||`,
		"1 ||2026-09|river|orange tag|unknown||",
		`2 {"Hatch":"olives"}|olives|2026-09|river|orange tag|unknown||`,
	}
	if !slices.Equal(levels, want) {
		t.Errorf("levels %q, want %q", levels, want)
	}
}

func TestSubgroupsThatTheTableDoesNotHave(t *testing.T) {
	for _, c := range []struct {
		header string
		asked  []string
		says   []string
	}{
		{"lower_pattern,taken_position,species,Hatch", []string{"wind"}, []string{`"wind"`, "it has species, Hatch"}},
		{"lower_pattern,taken_position", []string{"species"}, []string{`"species"`, "it has none"}},
		{"lower_pattern,taken_position,Hatch", []string{"month"}, []string{"month", "caught_at"}},
		{"lower_pattern,taken_position,month", []string{"month"}, []string{"month", "caught_at"}},
		{"lower_pattern,taken_position,length,species", []string{"length"}, []string{`"length"`, "it has species"}}, // no level of its own
		{"lower_pattern,taken_position,hatch,Hatch", []string{"hatch"}, []string{"hatch", "twice in the header"}},
		{"lower_pattern,taken_position,hatch", []string{"hatch", "HATCH"}, []string{"hatch", "asked for twice"}},
		{"lower_pattern,taken_position,hatch", []string{"hatch", ""}, []string{`""`, "it has hatch"}},
	} {
		rows := "\nA,lower" + strings.Repeat(",", strings.Count(c.header, ",")-1) + "\nB,lower" + strings.Repeat(",", strings.Count(c.header, ",")-1) + "\n"
		_, _, err := read(t, c.header+rows, ReadOptions{Subgroups: c.asked})
		var known *trial.Error
		if !errors.As(err, &known) || known.Kind != trial.Invalid || known.Code != "table.columns" {
			t.Errorf("%s by %q: %v", c.header, c.asked, err)
			continue
		}
		for _, text := range c.says {
			if !strings.Contains(known.Detail, text) {
				t.Errorf("%s by %q: %q does not say %q", c.header, c.asked, known.Detail, text)
			}
		}
	}
}

// However many fish, the tallies are no more than the outings times the ways in which fish of one can differ: the promise at
// trial.Tally. Here two halves, two patterns taken and two origins.
func TestTalliesDoNotGrowWithFish(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		outings, fish := rapid.IntRange(1, 4).Draw(rt, "outings"), rapid.IntRange(1, 400).Draw(rt, "fish")
		var rows []Row
		for i := range fish {
			block, half := 1, rapid.IntRange(1, 2).Draw(rt, "half")
			rows = append(rows, Row{
				Angler: "me", Outing: fmt.Sprint(i % outings), Block: &block, Period: &half, LowerPattern: []string{"A", "B"}[half-1],
				TakenPattern: rapid.SampledFrom([]string{"A", "B"}).Draw(rt, "taken"), Outcome: trial.Landed, CaughtAt: "2026-09-01",
				Origin: rapid.SampledFrom([]trial.Origin{trial.Wild, trial.Stocked}).Draw(rt, "origin"), Further: []string{fmt.Sprint(i)},
			})
		}
		table := Table{Test: "A", Control: "B", Further: []string{"number"}, Rows: RowsOf(rows)}
		if got := len(tallied(t, table)); got > 8*outings {
			rt.Errorf("%d tallies of %d fish of %d outings", got, fish, outings)
		}
		table.Subgroups = []string{"number"}
		if got := len(tallied(t, table)); got != fish {
			rt.Errorf("%d tallies by a column that numbers %d fish", got, fish)
		}
	})
}
