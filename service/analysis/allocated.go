package analysis

import "evenrig/service/trial"

// asAllocated answers the question with the arrangement that was drawn in place of the one that was fished; nil without a draw.
//
// What a fish did is take the fly at a position: that is held. Had the drawn arrangement been on the line, the pattern at that
// position would have been the drawn one's, so in a period that was fished the other way round both the arrangement and the pattern taken change
// over. The rows of the 2x2 table are then the draw's, as chance made them, and nothing that led an angler to fish otherwise can
// lean on the comparison; but a swap forgotten half the time makes the effect look half as large, so that this checks the
// main answer and does not replace it. A fish of a period that no draw arranged is not in it.
func (q asked) asAllocated(c *run) (*AsAllocated, error) {
	a := AsAllocated{}
	drawn := false
	tallies := chosen(q.in.Tallies, func(t trial.Tally) (trial.Tally, bool) {
		drawn = drawn || t.Drawn != ""
		if t.Exclusion != trial.Analysed || t.Drawn == "" {
			return t, false
		}
		if t.Drawn != t.Arrangement {
			a.Changed += t.N
			t.Arrangement, t.Taken = t.Drawn, otherPattern(t.Taken)
		}
		return t, true
	})
	if !drawn {
		return nil, nil
	}
	a.Analysed = fishIn(tallies)
	if a.Changed == 0 && a.Analysed == c.r.Counts.Analysed {
		a.LogOdds, a.Low, a.High, a.P, a.Reason = c.plain.LogOdds, c.plain.Low, c.plain.High, c.plain.P, c.n.reason(c.plain)
		return &a, nil
	}
	h, reason, err := q.again(tallies)
	a.LogOdds, a.Low, a.High, a.P, a.Reason = h.LogOdds, h.Low, h.High, h.P, reason
	return &a, err
}

func otherPattern(taken trial.Taken) trial.Taken {
	if taken == trial.TookTest {
		return trial.TookControl
	}
	return trial.TookTest
}
