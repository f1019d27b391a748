package power

import (
	"strconv"

	"evenrig/stats/ranking"
)

// robin is the side of one half, in the fish that take pattern 1 rather than the
// control, on which the patterns' strengths put it with Holm's p: from 5 anglers with
// their departures and t on K-1, up to 4 with fish taken as independent. Without an
// effect it is any pattern's.
func (s Season) robin(c catch, anglers int, alpha float64) side {
	names := make([]string, s.Patterns)
	for i := range names {
		names[i] = strconv.Itoa(i)
	}
	comparisons := make([]ranking.Comparison, 0, len(c.cells))
	for i, cell := range c.cells {
		first, second := names[c.pairs[i/2][0]], names[c.pairs[i/2][1]]
		row := ranking.Comparison{Angler: cell.Angler, Lower: first, Upper: second, LowerTaken: int64(cell.Test), UpperTaken: int64(cell.Control)}
		if !cell.TestLower {
			row = ranking.Comparison{Angler: cell.Angler, Lower: second, Upper: first, LowerTaken: int64(cell.Control), UpperTaken: int64(cell.Test)}
		}
		comparisons = append(comparisons, row)
	}
	fit := ranking.FitAnglers
	if anglers <= FewAnglers {
		fit = ranking.Fit
	}
	r, err := fit(names, comparisons, 1-alpha)
	if err != nil {
		return none
	}
	for i, contrast := range r.Contrasts {
		if contrast.AdjustedP <= alpha && (i == 0 || s.Theta == 0) {
			return sideOf(contrast.LogOdds)
		}
	}
	return open
}
