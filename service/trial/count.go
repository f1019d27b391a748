package trial

import (
	"cmp"
	"slices"
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

// CountingRules is the version of the rules by which Count counts. A change of them takes the next number, so that what was counted by
// others is counted anew, whichever program did it.
const CountingRules = 1

// Count returns the enrolment's tallies, in CompareTallies's order, and its share of the flow diagram. It is the one way in
// which fish are counted: intake, progress, analysis and checks all go through it. How many tallies there can be is said
// at Tally.
func (r Records) Count(p Protocol) ([]Tally, Effort) {
	c := newCounter(r, p)
	counts := map[Tally]int64{}
	fished := map[ID]bool{}
	effort := c.effort()
	for _, fish := range r.Catches {
		t := c.tally(fish)
		counts[t]++
		if fish.Outcome == Landed && !fish.Void {
			fished[c.periods[fish.PeriodID].OutingID] = true
		}
		if t.Late {
			effort.LateNoted++
		}
		if c.Enrolment.typed(fish) {
			effort.TypedFish++
		}
	}
	for _, o := range r.Outings {
		if !fished[o.ID] && !o.Void {
			effort.BlankOutings++
		}
	}
	return SumTallies(counts), effort
}

// counter holds an enrolment's records by id, and what is known of its blocks.
type counter struct {
	Records
	protocol Protocol
	outings  map[ID]Outing
	units    map[ID]Unit
	periods  map[ID]Period // as their outings bound them
	finished map[ID]bool   // units whose two periods both ended by the rule
	blocks   TableBlocks   // of an imported table
	further  []string      // the further columns that the protocol's subgroups name
}

func newCounter(r Records, p Protocol) counter {
	c := counter{
		Records: r, protocol: p, outings: make(map[ID]Outing, len(r.Outings)), units: make(map[ID]Unit, len(r.Units)),
		periods: make(map[ID]Period, len(r.Periods)), finished: map[ID]bool{},
	}
	for _, o := range r.Outings {
		c.outings[o.ID] = o
	}
	for _, u := range r.Units {
		c.units[u.ID] = u
	}
	ended := map[ID]int{}
	for _, period := range r.Periods {
		period = period.EndedWith(c.outings[period.OutingID])
		c.periods[period.ID] = period
		// In paired_by_outing the outing's end is the swap.
		if period.End != nil && (period.End.Reason == EndedByRule || p.Design == PairedByOuting && period.End.Reason == endedWithOuting) {
			ended[period.UnitID]++
		}
		c.finished[period.UnitID] = !period.UnitID.IsZero() && ended[period.UnitID] == 2
	}
	c.blocks = NewTableBlocks(func(yield func(TablePeriod) bool) {
		for _, period := range r.Periods {
			if period.UnitID.IsZero() && !yield(c.tablePeriod(period)) {
				return
			}
		}
	})
	c.further = slices.DeleteFunc(slices.Clone(p.Subgroups), func(column string) bool { return slices.Contains(SubgroupColumns(), column) })
	return c
}

// tally returns the tally, without N, in which a fish is counted.
func (c counter) tally(fish Catch) Tally {
	period := c.periods[fish.PeriodID]
	outing, unit := c.outings[period.OutingID], c.units[period.UnitID]
	fish = fish.In(outing)
	arrangement := period.ArrangementAt(fish.CaughtAt, c.Deviations)
	taken, _ := fish.TakenIn(c.protocol, arrangement)
	t := Tally{
		Angler: c.Enrolment.Pseudonym, Outing: outingLabel(period.OutingID), Block: period.Block, Period: halfName(period.Half),
		Arrangement: arrangement, Taken: taken, Species: fish.Species, Origin: fish.Origin,
		Exclusion: fish.Excluded(c.protocol, period, unit, c.Deviations),
		Half:      period.Half, Finished: c.finished[period.UnitID], OpenedLate: outing.StartedLate, Late: fish.Late(c.protocol) || outing.tookLong(fish), Welfare: fish.Welfare,
		Deviated: period.deviatedAt(fish.CaughtAt, c.Deviations), Fly: fish.Fly, Columns: string(fish.Further.Only(c.further)),
		WaterType: cmp.Or(fish.WaterType, outing.WaterTypeAt(c.protocol, fish.CaughtAt, c.Deviations)),
	}
	if period.UnitID.IsZero() {
		t.Block, t.Half = c.blocks.Label(c.tablePeriod(period)), c.blocks.Half(c.tablePeriod(period))
	} else if !unit.ID.IsZero() {
		t.Drawn = unit.Drawn(period.Half)
	}
	if !fish.CaughtAt.IsZero() {
		t.Week, t.Month = WeekOf(fish.CaughtAt), MonthOf(fish.CaughtAt)
	}
	if t.Exclusion == Disputed {
		fish.Disputed = false
		t.DisputedOnly = fish.Excluded(c.protocol, period, unit, c.Deviations) == Analysed
	}
	return t
}

// tablePeriod is an imported period as its table gave it.
func (c counter) tablePeriod(p Period) TablePeriod {
	t := TablePeriod{Angler: c.Enrolment.Pseudonym, Outing: outingLabel(p.OutingID), Block: p.Block, Fished: p.Fished}
	if p.Half != 0 {
		t.Number = &p.Half
	}
	return t
}

// effort counts everything but fish.
func (c counter) effort() Effort {
	e := Effort{Enrolled: 1, Deviations: int64(len(c.Deviations))}
	for _, o := range c.Outings {
		if o.Void {
			continue // opened by mistake
		}
		e.Outings++
		if o.End != nil {
			e.NotLogged += int64(o.End.NotLogged)
		}
		if o.Card != 0 {
			e.Cards++
		}
	}
	for _, period := range c.Periods {
		if !period.UnitID.IsZero() && period.Half == 1 {
			e.Blocks++
		}
	}
	for _, finished := range c.finished {
		if finished {
			e.FinishedBlocks++
		}
	}
	if c.Enrolment.Guest() {
		e.Guests = 1
	}
	for _, u := range c.Units {
		switch {
		case u.OpenedAt == nil && u.LostAt != nil:
			e.LostUnits++
		case u.OpenedAt == nil:
		case u.DrawnBy == ByPhone:
			e.PhoneBlocks++
		case u.DrawnBy == BySlip:
			e.SlipBlocks++
		case u.DrawnBy == ByCoin:
			e.CoinBlocks++
		}
	}
	return e
}

// Add sums two parts of a flow diagram.
func (e Effort) Add(o Effort) Effort {
	return Effort{
		Enrolled: e.Enrolled + o.Enrolled, Outings: e.Outings + o.Outings, BlankOutings: e.BlankOutings + o.BlankOutings,
		Blocks: e.Blocks + o.Blocks, FinishedBlocks: e.FinishedBlocks + o.FinishedBlocks, NotLogged: e.NotLogged + o.NotLogged,
		Deviations: e.Deviations + o.Deviations, LateNoted: e.LateNoted + o.LateNoted,
		ErasedAnglers: e.ErasedAnglers + o.ErasedAnglers, ErasedFish: e.ErasedFish + o.ErasedFish,
		PhoneBlocks: e.PhoneBlocks + o.PhoneBlocks, SlipBlocks: e.SlipBlocks + o.SlipBlocks, CoinBlocks: e.CoinBlocks + o.CoinBlocks,
		LostUnits: e.LostUnits + o.LostUnits, Guests: e.Guests + o.Guests, TypedFish: e.TypedFish + o.TypedFish, Cards: e.Cards + o.Cards,
	}
}

// outingLabel names an outing, empty where an imported table does not tell one from another.
func outingLabel(id ID) string {
	if id.IsZero() {
		return ""
	}
	return id.Public().String()
}
