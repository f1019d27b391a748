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
func (t Table) Tallies() ([]trial.Tally, error) {
	c := counter{Table: t, further: map[string]int{}}
	for i, name := range t.Further {
		if slices.Contains(t.Subgroups, name) {
			c.further[name] = i
		}
	}
	alike := map[kind]int64{}
	for row, err := range t.Rows {
		if err != nil {
			return nil, err
		}
		alike[c.kind(row)]++
	}
	blocks := trial.NewTableBlocks(func(yield func(trial.TablePeriod) bool) {
		for k := range alike {
			if !yield(k.period()) {
				return
			}
		}
	})
	counts := map[trial.Tally]int64{}
	for k, n := range alike {
		counts[k.in(blocks)] += n
	}
	return trial.SumTallies(counts), nil
}

// counter is a table with where the columns of the subgroups stand among the further ones.
type counter struct {
	Table
	further map[string]int
}

// kind is all that tells one fish from others, its block and period as the table gives them: which block that is, all rows together
// tell.
type kind struct {
	trial.Tally
	block, number string
}

func (c counter) kind(row Row) kind {
	k := kind{Tally: trial.Tally{
		Angler: row.Angler, Outing: row.OutingLabel(), Arrangement: c.arrangement(row), Taken: c.taken(row), Species: row.Species, Origin: row.Origin,
		Exclusion: row.exclusion(), WaterType: row.WaterType, Fly: row.Fly, Columns: c.columns(row),
	}, block: number(row.Block), number: number(row.Period)}
	if at, _, ok := row.Time(); ok {
		k.Week, k.Month = trial.WeekOf(at), trial.MonthOf(at)
	}
	return k
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

// period is the fish's period as the table gives it.
func (k kind) period() trial.TablePeriod {
	p := trial.TablePeriod{Angler: k.Angler, Outing: k.Outing, Block: k.block, Fished: k.Arrangement}
	if n, err := strconv.Atoi(k.number); err == nil {
		p.Number = &n
	}
	return p
}

// in is the fish's tally.
func (k kind) in(blocks trial.TableBlocks) trial.Tally {
	t, period := k.Tally, k.period()
	t.Block, t.Half = blocks.Label(period), blocks.Half(period)
	if period.Number != nil {
		t.Period = strings.TrimPrefix(t.Block+", period "+k.number, ", ")
	}
	return t
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
