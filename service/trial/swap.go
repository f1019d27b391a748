package trial

import "time"

// SwapState is how far the swap rule has come in a period: Fish count toward it, of Of (nil where the rule has no number of fish);
// MinutesLeft are the whole minutes until it asks for the swap by time (nil where it does not, and once the period has ended).
// Due says that the rule now asks for the swap.
type SwapState struct {
	Fish        int
	Of          *int
	Due         bool
	MinutesLeft *int
}

// CountSwap returns how many of the catches are fish of the period that count toward the swap.
func (p Period) CountSwap(proto Protocol, catches []Catch) int {
	counted := 0
	for _, c := range catches {
		if c.PeriodID == p.ID && c.CountsTowardSwap(proto) {
			counted++
		}
	}
	return counted
}

// Swap returns how far the swap rule has come at now, when fish count toward it.
func (p Period) Swap(proto Protocol, fish int, now time.Time) SwapState {
	rule := proto.Swap
	state := SwapState{Fish: fish, Of: rule.AfterFish}
	if p.End != nil {
		return state
	}
	state.Due = rule.AfterFish != nil && fish >= *rule.AfterFish
	if rule.AfterMinutes != nil {
		left := max(0, p.StartedAt.Add(time.Duration(*rule.AfterMinutes)*time.Minute).Sub(now))
		minutes := int((left + time.Minute - 1) / time.Minute)
		state.MinutesLeft, state.Due = &minutes, state.Due || left == 0
	}
	return state
}
