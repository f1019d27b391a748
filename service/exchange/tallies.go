package exchange

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"evenrig/service/trial"
)

// Tallies counts like fish, in a fixed order that does not depend on the order of the rows. There is no protocol behind
// a table, so every species and length is eligible. A block is one of its outing, unless two outings of one arrangement
// each share its number: then it is one block of two outings.
func (t Table) Tallies() []trial.Tally {
	spans := t.spanningBlocks()
	counts := map[trial.Tally]int64{}
	for _, row := range t.Rows {
		counts[t.tally(row, spans)]++
	}
	tallies := slices.SortedFunc(maps.Keys(counts), byFields)
	for i := range tallies {
		tallies[i].N = counts[tallies[i]]
	}
	return tallies
}

// byFields orders tallies by their fields, so that the same fish give the same list.
func byFields(a, b trial.Tally) int {
	return cmp.Or(
		cmp.Compare(a.Angler, b.Angler), cmp.Compare(a.Outing, b.Outing), cmp.Compare(a.Block, b.Block), cmp.Compare(a.Period, b.Period),
		cmp.Compare(a.Arrangement, b.Arrangement), cmp.Compare(a.Taken, b.Taken), cmp.Compare(a.Species, b.Species),
		cmp.Compare(a.Origin, b.Origin), cmp.Compare(a.Month, b.Month), cmp.Compare(a.Week, b.Week), cmp.Compare(a.Exclusion, b.Exclusion),
	)
}

// blockKey names a block number of one angler.
type blockKey struct {
	angler string
	block  int
}

// spanningBlocks returns the blocks that hold two outings of one arrangement each.
func (t Table) spanningBlocks() map[blockKey]bool {
	fished := map[blockKey]map[string]map[string]bool{} // block → outing → lower pattern
	for _, row := range t.Rows {
		if row.Block == nil || row.LowerPattern == "" {
			continue
		}
		key, outing := blockKey{row.Angler, *row.Block}, row.OutingLabel()
		if fished[key] == nil {
			fished[key] = map[string]map[string]bool{}
		}
		if fished[key][outing] == nil {
			fished[key][outing] = map[string]bool{}
		}
		fished[key][outing][row.LowerPattern] = true
	}
	spans := map[blockKey]bool{}
	for key, outings := range fished {
		both, single := map[string]bool{}, true
		for _, lower := range outings {
			single = single && len(lower) == 1
			maps.Copy(both, lower)
		}
		spans[key] = len(outings) == 2 && single && len(both) == 2
	}
	return spans
}

func (t Table) tally(row Row, spans map[blockKey]bool) trial.Tally {
	tally := trial.Tally{
		Angler: row.Angler, Outing: row.OutingLabel(), Taken: t.taken(row), Species: row.Species, Origin: row.Origin,
		Exclusion: row.exclusion(),
	}
	switch row.LowerPattern {
	case t.Test:
		tally.Arrangement = trial.TestLower
	case t.Control:
		tally.Arrangement = trial.ControlLower
	}
	if row.Block != nil {
		tally.Block = strconv.Itoa(*row.Block)
		if !spans[blockKey{row.Angler, *row.Block}] && tally.Outing != "" {
			tally.Block = tally.Outing + ", block " + tally.Block
		}
	}
	if row.Period != nil {
		tally.Period = strings.TrimPrefix(tally.Block+", period "+strconv.Itoa(*row.Period), ", ")
	}
	if at, _, ok := row.Time(); ok {
		year, week := at.ISOWeek()
		tally.Month, tally.Week = at.Format("2006-01"), fmt.Sprintf("%04d-W%02d", year, week)
	}
	return tally
}

func (t Table) taken(row Row) trial.Taken {
	switch row.TakenPattern {
	case t.Test:
		return trial.TookTest
	case t.Control:
		return trial.TookControl
	case otherPattern:
		return trial.TookOther
	default:
		return trial.TookUnknown
	}
}

// exclusion returns the first reason that applies for not analysing the fish. A fish whose pattern is known and whose
// arrangement is not counts as not confirmed.
func (r Row) exclusion() trial.Exclusion {
	applies := map[trial.Exclusion]bool{
		trial.ExcludeLost:    r.Outcome == trial.Lost,
		trial.ExcludeTouched: r.Outcome == trial.Touched,
		trial.FoulHooked:     r.FoulHooked,
		trial.NotConfirmed:   r.LowerPattern == "" && !isPatternWord(r.TakenPattern),
		trial.OtherFly:       r.TakenPattern == otherPattern,
		trial.NotSure:        r.TakenPattern == unknownPattern,
	}
	if r.Exclusion != trial.Analysed {
		applies[r.Exclusion] = true
	}
	for _, reason := range trial.Exclusions() {
		if applies[reason] {
			return reason
		}
	}
	return trial.Analysed
}
