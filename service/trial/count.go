package trial

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// Records are all of one enrolment's records, each list in the order of its times.
type Records struct {
	Enrolment  Enrolment
	Outings    []Outing
	Units      []Unit
	Periods    []Period
	Deviations []Deviation
	Catches    []Catch
}

// Count returns the enrolment's tallies, sorted, and its share of the flow diagram. It is the one way in which fish are
// counted: intake, progress, analysis and checks all go through it.
func (r Records) Count(p Protocol) ([]Tally, Effort) {
	outings := make(map[ID]Outing, len(r.Outings))
	for _, o := range r.Outings {
		outings[o.ID] = o
	}
	periods := make(map[ID]Period, len(r.Periods))
	for _, period := range r.Periods {
		periods[period.ID] = period.EndedWith(outings[period.OutingID])
	}
	units := make(map[ID]Unit, len(r.Units))
	for _, unit := range r.Units {
		units[unit.ID] = unit
	}
	counts := map[Tally]int64{}
	fished := map[ID]bool{}
	effort := r.effort(p, periods)
	for _, c := range r.Catches {
		period := periods[c.PeriodID]
		arrangement := period.ArrangementAt(c.CaughtAt, r.Deviations)
		taken, _ := c.TakenIn(p, arrangement)
		t := Tally{
			Angler: r.Enrolment.Pseudonym, Outing: outingLabel(period.OutingID), Block: period.blockLabel(p), Period: halfName(period.Half),
			Arrangement: arrangement, Taken: taken, Species: c.Species, Origin: c.Origin,
			Exclusion: c.Excluded(p, period, units[period.UnitID], r.Deviations),
		}
		if !c.CaughtAt.IsZero() {
			t.Month = c.CaughtAt.Format("2006-01")
			year, week := c.CaughtAt.ISOWeek()
			t.Week = fmt.Sprintf("%04d-W%02d", year, week)
		}
		counts[t]++
		if c.Outcome == Landed && !c.Void {
			fished[period.OutingID] = true
		}
		if c.Late(p) {
			effort.LateNoted++
		}
	}
	for _, o := range r.Outings {
		if !fished[o.ID] {
			effort.BlankOutings++
		}
	}
	tallies := make([]Tally, 0, len(counts))
	for t, n := range counts {
		t.N = n
		tallies = append(tallies, t)
	}
	slices.SortFunc(tallies, compareTallies)
	return tallies, effort
}

// effort counts everything but fish. periods are the records', as their outings bound them.
func (r Records) effort(p Protocol, periods map[ID]Period) Effort {
	e := Effort{Enrolled: 1, Outings: int64(len(r.Outings)), Deviations: int64(len(r.Deviations))}
	for _, o := range r.Outings {
		if o.End != nil {
			e.NotLogged += int64(o.End.NotLogged)
		}
	}
	ended := map[ID]int{}
	for _, period := range periods {
		if period.UnitID.IsZero() {
			continue
		}
		if period.Half == 1 {
			e.Blocks++
		}
		// In paired_by_outing the outing's end is the swap.
		if period.End != nil && (period.End.Reason == EndedByRule || p.Design == PairedByOuting && period.End.Reason == endedWithOuting) {
			ended[period.UnitID]++
		}
	}
	for _, halves := range ended {
		if halves == 2 {
			e.FinishedBlocks++
		}
	}
	return e
}

// SwapDue reports how many fish of the period count toward the swap and whether the protocol's rule asks for it at now.
func (p Period) SwapDue(proto Protocol, catches []Catch, now time.Time) (counted int, due bool) {
	for _, c := range catches {
		if c.PeriodID == p.ID && c.CountsTowardSwap(proto) {
			counted++
		}
	}
	rule := proto.Swap
	byFish := rule.AfterFish != nil && counted >= *rule.AfterFish
	byTime := rule.AfterMinutes != nil && now.Sub(p.StartedAt) >= time.Duration(*rule.AfterMinutes)*time.Minute
	return counted, p.End == nil && (byFish || byTime)
}

// Add sums two parts of a flow diagram.
func (e Effort) Add(o Effort) Effort {
	return Effort{
		Enrolled: e.Enrolled + o.Enrolled, Outings: e.Outings + o.Outings, BlankOutings: e.BlankOutings + o.BlankOutings,
		Blocks: e.Blocks + o.Blocks, FinishedBlocks: e.FinishedBlocks + o.FinishedBlocks, NotLogged: e.NotLogged + o.NotLogged,
		Deviations: e.Deviations + o.Deviations, LateNoted: e.LateNoted + o.LateNoted,
	}
}

// blockLabel names the period's block uniquely within the angler. A unit's number does; the block numbers of a table
// begin anew with each outing unless blocks span outings.
func (p Period) blockLabel(proto Protocol) string {
	if p.UnitID.IsZero() && p.Block != "" && proto.Design == Paired {
		return outingLabel(p.OutingID) + "/" + p.Block
	}
	return p.Block
}

// outingLabel names an outing, empty where an imported table does not tell one from another.
func outingLabel(id ID) string {
	if id.IsZero() {
		return ""
	}
	return id.String()
}

func compareTallies(a, b Tally) int {
	return cmp.Or(
		cmp.Compare(a.Angler, b.Angler), cmp.Compare(a.Outing, b.Outing), cmp.Compare(a.Block, b.Block), cmp.Compare(a.Period, b.Period),
		cmp.Compare(a.Arrangement, b.Arrangement), cmp.Compare(a.Taken, b.Taken), cmp.Compare(a.Species, b.Species),
		cmp.Compare(a.Origin, b.Origin), cmp.Compare(a.Week, b.Week), cmp.Compare(a.Month, b.Month), cmp.Compare(a.Exclusion, b.Exclusion),
	)
}
