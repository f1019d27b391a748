package exchange

import (
	"fmt"
	"strings"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// kitTable reads rows under the header, which must be without fault.
func kitTable(t *testing.T, k Kit, header string, rows ...string) Table {
	t.Helper()
	table, faults, err := k.ReadTable(strings.NewReader(header + "\n" + strings.Join(rows, "\n") + "\n"))
	if err != nil || len(faults) > 0 {
		t.Fatal(err, faults)
	}
	return table
}

func inputOf(t *testing.T, k Kit, table Table) analysis.Input {
	t.Helper()
	in, err := k.Input(table)
	if err != nil {
		t.Fatal(err)
	}
	return in
}

// The empty table of a kit is the catch table's header, and fish typed under it are read.
func TestKitTableIsTheCatchTable(t *testing.T) {
	k := kitOf(t, 3, "me")
	header := strings.TrimSpace(string(kitFolder(t, k)[KitCatches].Data))
	if want := "angler,outing,block,period,lower_pattern,taken_position,taken_pattern,caught_at,species,origin,water_type,fly,outcome,foul_hooked,length,length_unit"; header != want {
		t.Errorf("the header is %s", header)
	}
	table := kitTable(t, k, header, "me,1,1,1,C,,N,2026-09-05,,wild,,,,,31.5,cm")
	if rows := all(t, table.Rows); len(rows) != 1 || rows[0].TakenPosition != trial.Upper || rows[0].Outcome != trial.Landed {
		t.Errorf("read as %+v", rows)
	}
}

// The rule sheet decides what counts: a row with a word that it does not know is named, a fish of another species or too short
// gets that reason unless an earlier one stands (order of exclusions: the contract of the result).
func TestKitRulesForRows(t *testing.T) {
	k := kitOf(t, 3, "Alba", "Bodo")
	const header = "angler,block,period,lower_pattern,taken_pattern,species,length,length_unit,outcome,exclusion"
	table, faults, err := k.ReadTable(strings.NewReader(strings.Join([]string{
		header,
		"Alba,1,1,C,C,grayling,,,,",
		"Abla,1,1,C,C,,,,,",
		"Bodo,4,1,C,C,,,,,",
		"Bodo,0,3,C,C,,,,,",
		"Bodo,1,2,Z,C,,,,,",
		"Bodo,1,2,N,C,Thymallus thymallus,19.9,cm,,",
		"Bodo,1,2,N,C,other,40,cm,,double",
		"Bodo,1,2,N,C,other,40,cm,lost,",
		"Bodo,1,2,N,C,unknown,20,cm,,",
		"Bodo,1,2,N,C,,,,,while_swapping",
	}, "\n") + "\n"))
	if err != nil {
		t.Fatal(err)
	}
	wants := []string{"line 2, species", "line 3, angler", "line 4, block", "line 5, block", "line 5, period", "line 6, lower_pattern"}
	for i, want := range wants {
		found := false
		for _, f := range faults {
			found = found || strings.HasPrefix(f.String(), want)
		}
		if !found {
			t.Errorf("%d: no fault %q among %v", i, want, faults)
		}
	}
	if table.Faults != len(wants) || len(all(t, table.Rows)) != 5 {
		t.Errorf("%d faults, %d rows", table.Faults, table.Count)
	}
	got := map[trial.Exclusion]int64{}
	for _, tally := range tallied(t, table) {
		got[tally.Exclusion] += tally.N
	}
	for reason, n := range map[trial.Exclusion]int64{trial.TooShort: 1, trial.WrongSpecies: 1, trial.ExcludeLost: 1, trial.Analysed: 1, trial.WhileSwapping: 1} {
		if got[reason] != n {
			t.Errorf("%q: %d fish, want %d", reason, got[reason], n)
		}
	}
}

// A kit's rounds are numbered through the season: fish of one round from two days are one block, its halves are told by the
// period, the draw's arrangement stands beside the one fished, and rounds up to the last one typed are in the draw.
func TestKitInput(t *testing.T) {
	k := kitOf(t, 12, "Alba", "Bodo")
	first := k.Draw.First(k.Protocol, k.Draw.Anglers[0])
	lower := func(round, half int) string {
		code, _ := k.Protocol.Flies(trial.Unit{First: first[round-1]}.Drawn(half))
		return code
	}
	wrong := map[string]string{"C": "N", "N": "C"}
	row := func(outing string, round, half int, lower string) string {
		return fmt.Sprintf("Alba,%s,%d,%d,%s,C,2026-09-05,", outing, round, half, lower)
	}
	var rows []string
	for _, half := range []int{1, 1, 2, 2} {
		rows = append(rows, row("1", 1, half, lower(1, half))) // finished: two fish each half
	}
	rows = append(
		rows,
		row("1", 2, 1, lower(2, 1)), row("2", 2, 1, lower(2, 1)), row("2", 2, 2, lower(2, 2)), // over two days, one fish short
		row("3", 5, 1, wrong[lower(5, 1)]), // rigged the wrong way round
		"Alba,3,,,C,C,2026-09-06,",         // of no round
		row("3", 5, 2, lower(5, 2))+"lost",
	)
	table := kitTable(t, k, "angler,outing,block,period,lower_pattern,taken_pattern,caught_at,outcome", rows...)
	in := inputOf(t, k, table)
	if in.Source != trial.Drawn || in.Test != "C" || in.Control != "N" || in.SmallestShare != .6 || in.Alpha != .05 || in.Design != trial.Paired || in.LowerWord != "point" {
		t.Errorf("the input is %+v", in)
	}
	if len(in.Draw) != 5 {
		t.Fatalf("%d rounds drawn, want the 5 up to the last one typed: %+v", len(in.Draw), in.Draw)
	}
	for i, b := range in.Draw {
		if b.Angler != "Alba" || b.Block != fmt.Sprint(i+1) || b.First != first[i] {
			t.Errorf("round %d is drawn as %+v, want %s", i+1, b, first[i])
		}
	}
	fish := map[string]int64{}
	for _, tally := range in.Tallies {
		key := fmt.Sprintf("%s/%d", tally.Block, tally.Half)
		fish[key] += tally.N
		if want := tally.Block == "1"; tally.Finished != want {
			t.Errorf("%s: finished %t", key, tally.Finished)
		}
		if tally.Block == "" {
			if tally.Drawn != "" {
				t.Errorf("a fish of no round was drawn: %+v", tally)
			}
			continue
		}
		drawn := first[int(tally.Block[0]-'1')]
		if tally.Half == 2 {
			drawn = drawn.Other()
		}
		if tally.Drawn != drawn || (tally.Drawn == tally.Arrangement) == (key == "5/1") {
			t.Errorf("%s: drawn %s, fished %s, want drawn %s", key, tally.Drawn, tally.Arrangement, drawn)
		}
	}
	for key, n := range map[string]int64{"1/1": 2, "1/2": 2, "2/1": 2, "2/2": 1, "5/1": 1, "5/2": 1, "/0": 1} {
		if fish[key] != n {
			t.Errorf("%s: %d fish, want %d", key, fish[key], n)
		}
	}
	k.Draw = nil
	if in := inputOf(t, k, table); in.Source != trial.Recorded || in.Draw != nil || len(in.Tallies) == 0 {
		t.Errorf("without the seed: %+v", in)
	}
}

// In paired_by_outing a round is two outings, told by its number; the lone angler need not be named.
func TestKitByOuting(t *testing.T) {
	p := kitProtocol()
	p.Design, p.Swap.AfterFish, p.Swap.AfterMinutes = trial.PairedByOuting, nil, nil
	k, err := MakeKit(p, []string{"Alba"}, 4, strings.NewReader(strings.Repeat("x", 200)))
	if err != nil {
		t.Fatal(err)
	}
	way := k.Draw.First(p, k.Draw.Anglers[0])[0]
	one, _ := p.Flies(way)
	two, _ := p.Flies(way.Other())
	in := inputOf(t, k, kitTable(t, k, "outing,block,period,lower_pattern,taken_pattern", "1,1,1,"+one+",C", "2,1,2,"+two+",N", "3,2,1,"+one+",N"))
	for _, tally := range in.Tallies {
		if tally.Angler != "Alba" || tally.Finished != (tally.Block == "1") || tally.Half == 0 {
			t.Errorf("%+v", tally)
		}
	}
	if len(in.Draw) != 2 {
		t.Errorf("%+v", in.Draw)
	}
}
