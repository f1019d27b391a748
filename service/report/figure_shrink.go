package report

import (
	"fmt"
	"math"

	"evenrig/service/analysis"
)

// shrinkFigure shows what hearing all anglers does to each: two lines between the flies, above every angler's own fish alone,
// below the same angler once all are heard, and a thread from the one to the other.
type shrinkFigure struct {
	Ticks         []tick
	Start, End    string
	Test, Control label
	Threads       []thread
	Many          bool
	Knot          string
	Headline      *stretch
	Alternative   string
	Table         []shrinkNumbers
}

type thread struct{ Own, Heard string }

type shrinkNumbers struct{ Name, Fish, Own, Heard, Moved string }

// newShrinkFigure is nil where fewer than two anglers have both answers.
func newShrinkFigure(r analysis.Result, n names) *shrinkFigure {
	s := scale{9, 91}
	f := &shrinkFigure{Ticks: s.ticks(), Start: s.at(0), End: s.at(1), Test: allTake(n.Test), Control: allTake(n.Control)}
	var own, heard []*float64
	for _, a := range r.Anglers {
		alone, after := expit(a.LogOdds), expit(a.ShrunkLogOdds)
		if alone == nil || after == nil {
			continue
		}
		own, heard = append(own, alone), append(heard, after)
		f.Threads = append(f.Threads, thread{s.at(*alone), s.at(*after)})
		f.Table = append(f.Table, shrinkNumbers{
			a.Angler, Count(all(a.TestLower) + all(a.ControlLower)), OutOf100(alone), OutOf100(after), movedBy(*alone, *after),
		})
	}
	if len(f.Threads) < 2 {
		return nil
	}
	f.Many = len(f.Threads) > fliesUpTo
	if h := r.Headline; isShare(h.Share) {
		f.Knot, f.Headline = s.at(*h.Share), s.stretch(h.ShareLow, h.ShareHigh)
	}
	low, high := spanOf(own)
	after, most := spanOf(heard)
	f.Alternative = fmt.Sprintf("%s. Alone their fish put them between %s and %s of 100; once all are heard between %s and %s.",
		Counted(int64(len(f.Threads)), "angler", "anglers"), OutOf100(low), OutOf100(high), OutOf100(after), OutOf100(most))
	return f
}

// movedBy says by how many of 100 an answer moved, and to which side.
func movedBy(from, to float64) string {
	by := int64(math.Round(100*to) - math.Round(100*from))
	switch {
	case by > 0:
		return "up " + Count(by)
	case by < 0:
		return "down " + Count(-by)
	}
	return "stays"
}
