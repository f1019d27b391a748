package exchange

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"evenrig/service/trial"
)

// Tallies counts like fish, in an order that does not depend on the order of the rows. There is no protocol behind a
// table, so every species and length is eligible, and no fish is known to be late or not as planned. A block is one of its
// outing, unless two outings of one arrangement each share its number: then it is one block of two outings. Of the further
// columns only those among Subgroups tell fish apart: a column that differs from fish to fish makes a tally of each.
func (t Table) Tallies() []trial.Tally {
	c := counter{Table: t, spans: t.spanningBlocks(), halves: trial.Halves{}, further: map[string]int{}}
	for i, name := range t.Further {
		if slices.Contains(t.Subgroups, name) {
			c.further[name] = i
		}
	}
	for _, row := range t.Rows {
		if row.Period != nil {
			c.halves.Add(row.Angler, c.block(row), *row.Period)
		}
	}
	counts := map[trial.Tally]int64{}
	for _, row := range t.Rows {
		counts[c.tally(row)]++
	}
	return trial.SumTallies(counts)
}

// counter is a table with what only all of its rows together tell.
type counter struct {
	Table
	spans   map[blockKey]bool
	halves  trial.Halves
	further map[string]int // where the columns of the subgroups stand among the further ones
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

// block returns the label of the row's block, unique within the angler, empty where there is none.
func (c counter) block(row Row) string {
	if row.Block == nil {
		return ""
	}
	label, outing := strconv.Itoa(*row.Block), row.OutingLabel()
	if !c.spans[blockKey{row.Angler, *row.Block}] && outing != "" {
		label = outing + ", block " + label
	}
	return label
}

func (c counter) tally(row Row) trial.Tally {
	tally := trial.Tally{
		Angler: row.Angler, Outing: row.OutingLabel(), Block: c.block(row), Taken: c.taken(row), Species: row.Species, Origin: row.Origin,
		Exclusion: row.exclusion(), WaterType: row.WaterType, Fly: row.Fly, Columns: c.columns(row),
	}
	switch row.LowerPattern {
	case c.Test:
		tally.Arrangement = trial.TestLower
	case c.Control:
		tally.Arrangement = trial.ControlLower
	}
	if row.Period != nil {
		tally.Period = strings.TrimPrefix(tally.Block+", period "+strconv.Itoa(*row.Period), ", ")
		tally.Half = c.halves.Of(row.Angler, tally.Block, *row.Period)
	}
	if at, _, ok := row.Time(); ok {
		year, week := at.ISOWeek()
		tally.Month, tally.Week = at.Format("2006-01"), fmt.Sprintf("%04d-W%02d", year, week)
	}
	return tally
}

// columns returns the row's values in the further columns that were asked for.
func (c counter) columns(row Row) string {
	if len(c.further) == 0 {
		return ""
	}
	values := make(map[string]string, len(c.further))
	for name, i := range c.further {
		if i < len(row.Further) {
			values[name] = row.Further[i]
		}
	}
	return string(trial.NewFurther(values))
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
