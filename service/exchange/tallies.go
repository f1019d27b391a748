package exchange

import (
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
	c := counter{Table: t, further: map[string]int{}}
	for i, name := range t.Further {
		if slices.Contains(t.Subgroups, name) {
			c.further[name] = i
		}
	}
	c.blocks = trial.NewTableBlocks(func(yield func(trial.TablePeriod) bool) {
		for _, row := range t.Rows {
			if !yield(t.period(row)) {
				return
			}
		}
	})
	counts := map[trial.Tally]int64{}
	for _, row := range t.Rows {
		counts[c.tally(row)]++
	}
	return trial.SumTallies(counts)
}

// counter is a table with what only all of its rows together tell.
type counter struct {
	Table
	blocks  trial.TableBlocks
	further map[string]int // where the columns of the subgroups stand among the further ones
}

// period is the row's period as the table gives it.
func (t Table) period(row Row) trial.TablePeriod {
	return trial.TablePeriod{Angler: row.Angler, Outing: row.OutingLabel(), Block: number(row.Block), Number: row.Period, Fished: t.arrangement(row)}
}

func (t Table) arrangement(row Row) trial.Arrangement {
	switch row.LowerPattern {
	case t.Test:
		return trial.TestLower
	case t.Control:
		return trial.ControlLower
	}
	return ""
}

func (c counter) tally(row Row) trial.Tally {
	period := c.period(row)
	tally := trial.Tally{
		Angler: row.Angler, Outing: period.Outing, Block: c.blocks.Label(period), Half: c.blocks.Half(period), Arrangement: period.Fished,
		Taken: c.taken(row), Species: row.Species, Origin: row.Origin, Exclusion: row.exclusion(), WaterType: row.WaterType, Fly: row.Fly, Columns: c.columns(row),
	}
	if row.Period != nil {
		tally.Period = strings.TrimPrefix(tally.Block+", period "+strconv.Itoa(*row.Period), ", ")
	}
	if at, _, ok := row.Time(); ok {
		tally.Week, tally.Month = trial.WeekOf(at), trial.MonthOf(at)
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
