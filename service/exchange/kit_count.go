package exchange

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// ReadTable reads the kit's catch table by its rule sheet, like ReadCatchTable: the columns of the rule sheet's subgroups are
// asked for beside those named. A fish of another species or too short gets its reason. A species that is no scientific name, a round or
// half that no slip has, or an angler without slips is a fault of its row; a table of a kit for one angler need not name him.
func (k Kit) ReadTable(file File, subgroups ...string) (Table, []RowFault, error) {
	asked := slices.Clone(k.Protocol.Subgroups)
	for _, column := range subgroups {
		if !slices.Contains(asked, column) {
			asked = append(asked, column)
		}
	}
	return ReadCatchTable(file, ReadOptions{Test: k.Protocol.Code(trial.Test), Control: k.Protocol.Code(trial.Control), Subgroups: asked, Rule: k.apply})
}

// apply checks a row by the rule sheet and gives the fish its reason.
func (k Kit) apply(row *Row) (faults []RowFault) {
	fault := func(column, value, format string, args ...any) {
		faults = append(faults, RowFault{Line: row.Line, Column: column, Value: value, Reason: fmt.Sprintf(format, args...)})
	}
	p := k.Protocol
	switch s := row.Species; {
	case s == "" || s == trial.UnknownSpecies || slices.Contains(p.Species, s):
	case s == trial.OtherSpecies:
		row.Exclusion = earlier(row.Exclusion, trial.WrongSpecies)
	default:
		fault(colSpecies, s, "accepted: %s, %s, %s, or nothing for a species of the rule sheet", strings.Join(p.Species, ", "), trial.OtherSpecies, trial.UnknownSpecies)
	}
	if row.Length != nil && row.Length.MM() < int64(p.MinLengthMM) {
		row.Exclusion = earlier(row.Exclusion, trial.TooShort)
	}
	if row.Period != nil && *row.Period != 1 && *row.Period != 2 {
		fault(colPeriod, number(row.Period), "accepted: 1 or 2, the first or second half of the round")
	}
	if k.Draw == nil {
		return faults
	}
	if len(k.Draw.Anglers) == 1 && row.Angler == DefaultAngler {
		row.Angler = k.Draw.Anglers[0].Name
	}
	if row.Block != nil && (*row.Block < 1 || *row.Block > k.Draw.Rounds) {
		fault(colBlock, number(row.Block), "accepted: the round's number as on its slip, 1 to %d", k.Draw.Rounds)
	}
	if !slices.ContainsFunc(k.Draw.Anglers, func(a KitAngler) bool { return a.Name == row.Angler }) {
		names := make([]string, len(k.Draw.Anglers))
		for i, a := range k.Draw.Anglers {
			names[i] = a.Name
		}
		fault(colAngler, row.Angler, "has no slips in this kit; accepted: %s", strings.Join(names, ", "))
	}
	return faults
}

// earlier returns the reason that applies first.
func earlier(a, b trial.Exclusion) trial.Exclusion {
	if a == trial.Analysed || slices.Index(trial.Exclusions(), b) < slices.Index(trial.Exclusions(), a) {
		return b
	}
	return a
}

// Input returns what an analysis of the kit's table reads: counts, the rule sheet's words and limits, and where the kit has
// its seed and the table rounds, the draw.
//
// A kit numbers an angler's rounds through the season, so that a round is one block also where its fish come from two outings. It
// counts as finished where both halves have the fish that the swap rule asks for, in paired_by_outing where both have fish: a half that
// the clock ended cannot be told from one that was given up. Slips are opened in order, so that those up to the last
// round in the table were.
func (k Kit) Input(t Table) (analysis.Input, error) {
	p := k.Protocol
	in := analysis.InputOf(p)
	tallies, err := t.Tallies()
	if err != nil {
		return in, err
	}
	in.Test, in.Control, in.Source, in.Choices, in.Subgroups, in.Tallies = t.Test, t.Control, trial.Recorded, trial.Draw{}, t.Subgroups, rounds(tallies)
	if k.Draw == nil {
		return in, nil
	}
	last, err := lastRounds(t)
	if err != nil {
		return in, err
	}
	for _, a := range k.Draw.Anglers {
		in.Draw = append(in.Draw, k.opened(a, last[a.Name])...)
	}
	if len(in.Draw) == 0 {
		return in, nil
	}
	in.Source, in.Choices = trial.Drawn, p.Draw
	in.Tallies = k.asDrawn(in.Tallies)
	return in, nil
}

// rounds names the blocks of a kit's tallies by the rounds' numbers alone, and tells their halves by the periods'.
func rounds(tallies []trial.Tally) []trial.Tally {
	counts := map[trial.Tally]int64{}
	for _, t := range tallies {
		n := t.N
		period, _ := strings.CutPrefix(t.Period, t.Block)
		if number, within := strings.CutPrefix(t.Block, t.Outing+", block "); within {
			t.Block = number
		}
		if t.Block != "" {
			t.Period, t.Half = t.Block+period, 0
			switch period {
			case ", period 1":
				t.Half = 1
			case ", period 2":
				t.Half = 2
			}
		}
		t.N = 0
		counts[t] += n
	}
	return trial.SumTallies(counts)
}

// lastRounds are the last rounds in the table, by angler.
func lastRounds(t Table) (map[string]int, error) {
	last := map[string]int{}
	for row, err := range t.Rows {
		if err != nil {
			return nil, err
		}
		if row.Block != nil {
			last[row.Angler] = max(last[row.Angler], *row.Block)
		}
	}
	return last, nil
}

// opened lists the angler's rounds up to the given one.
func (k Kit) opened(a KitAngler, last int) []trial.DrawnBlock {
	key := trial.AllocationKey(k.Draw.Seed, nil, a.ID, a.Code)
	units := make([]trial.Unit, 0, last)
	for n := 1; n <= last; n++ {
		units = append(units, trial.Unit{N: n, First: k.Protocol.Draw.UnitArrangement(key, n), OpenedAt: new(time.Time)})
	}
	return k.Protocol.Draw.Drawn(key, a.Name, units)
}

// asDrawn marks every fish of a round with the arrangement that the draw gave its half, and whether the round was finished.
func (k Kit) asDrawn(tallies []trial.Tally) []trial.Tally {
	type round struct{ angler, block string }
	first := map[round]trial.Arrangement{}
	for _, a := range k.Draw.Anglers {
		for i, way := range k.Draw.First(k.Protocol, a) {
			first[round{a.Name, strconv.Itoa(i + 1)}] = way
		}
	}
	fish := map[round]*[3]int64{}
	for _, t := range tallies {
		key := round{t.Angler, t.Block}
		if fish[key] == nil {
			fish[key] = &[3]int64{}
		}
		if countsTowardSwap(t.Exclusion) {
			fish[key][t.Half] += t.N
		}
	}
	counts := map[trial.Tally]int64{}
	for _, t := range tallies {
		n, key := t.N, round{t.Angler, t.Block}
		if way, drawn := first[key]; drawn && t.Half > 0 {
			t.Drawn = trial.Unit{First: way}.Drawn(t.Half)
			t.Finished = min(fish[key][1], fish[key][2]) >= k.fishPerHalf()
		}
		t.N = 0
		counts[t] += n
	}
	return trial.SumTallies(counts)
}

// fishPerHalf is how many fish in each half show that a round was finished.
func (k Kit) fishPerHalf() int64 {
	switch s := k.Protocol.Swap; {
	case k.Protocol.Design == trial.PairedByOuting:
		return 1
	case s.AfterFish != nil:
		return int64(*s.AfterFish)
	}
	return 1 << 62 // the clock alone ended its halves, of which a table says nothing
}

// countsTowardSwap reports whether a fish that is, or is not, analysed for the given reason counted toward the swap (see
// trial.Catch.CountsTowardSwap).
func countsTowardSwap(reason trial.Exclusion) bool {
	switch reason {
	case trial.Void, trial.ExcludeLost, trial.ExcludeTouched, trial.FoulHooked, trial.WrongSpecies, trial.TooShort, trial.OtherFly:
		return false
	}
	return true
}
