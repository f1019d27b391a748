package trial

// Followed is what follows from an enrolment's records, as they are counted: of each catch the tally that counts it alone, of each
// period how its outing bounds it and which block it belongs to. The lists run beside those of the records.
type Followed struct {
	Catches []Tally
	Periods []FollowedPeriod
}

// FollowedPeriod is a period as its outing bounds it. Block and Half are as in Tally; Finished says that both periods of the block
// ended by the rule.
type FollowedPeriod struct {
	Period
	Block    string
	Half     int
	Finished bool
}

// Follow derives what follows from the records, by the rules by which Count counts them.
func (r Records) Follow(p Protocol) Followed {
	c := newCounter(r, p)
	f := Followed{Catches: make([]Tally, len(r.Catches)), Periods: make([]FollowedPeriod, len(r.Periods))}
	for i, fish := range r.Catches {
		f.Catches[i] = c.tally(fish)
		f.Catches[i].N = 1
	}
	for i, period := range r.Periods {
		followed := FollowedPeriod{Period: c.periods[period.ID], Block: period.Block, Half: period.Half, Finished: c.finished[period.UnitID]}
		if period.UnitID.IsZero() {
			followed.Block, followed.Half = c.blocks.Label(c.tablePeriod(period)), c.blocks.Half(c.tablePeriod(period))
		}
		f.Periods[i] = followed
	}
	return f
}
