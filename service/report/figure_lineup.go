package report

import (
	"fmt"
	"strconv"

	"evenrig/service/analysis"
)

// lineupFigure is the trial's own figure among figures of nothing, see analysis.Lineup: in each panel a line for every angler, from
// the share of fish that took the lower fly while it was the test pattern to the same share while it was the control pattern.
type lineupFigure struct {
	Panels []lineupPanel
	Ours   string // its number, told apart
	Others string // how many are not
	Many   bool
	Table  []lineupNumbers
}

type lineupPanel struct {
	N      string
	Slopes []panelSlope
	All    *panelSlope
}

// panelSlope runs from Left to Right, pixels from the top.
type panelSlope struct{ Left, Right string }

type lineupNumbers struct{ N, TestLower, ControlLower string }

// A panel is 100 wide and 96 high.
const (
	panelTop    = 6.0
	panelBottom = 90.0
)

func newLineupFigure(l *analysis.Lineup) *lineupFigure {
	if l == nil || len(l.Panels) == 0 || l.Real < 0 || l.Real >= len(l.Panels) {
		return nil
	}
	f := &lineupFigure{Ours: strconv.Itoa(l.Real + 1), Others: Count(int64(len(l.Panels) - 1)), Many: len(l.Anglers) > fliesUpTo}
	for i, panel := range l.Panels {
		p := lineupPanel{N: strconv.Itoa(i + 1)}
		var all analysis.LineupSlope
		for _, s := range panel {
			if drawn := slopeOf(s); drawn != nil {
				p.Slopes = append(p.Slopes, *drawn)
			}
			all.TestLower.Lower += s.TestLower.Lower
			all.TestLower.Upper += s.TestLower.Upper
			all.ControlLower.Lower += s.ControlLower.Lower
			all.ControlLower.Upper += s.ControlLower.Upper
		}
		p.All = slopeOf(all)
		f.Panels = append(f.Panels, p)
		f.Table = append(f.Table, lineupNumbers{p.N, lowerOf(all.TestLower), lowerOf(all.ControlLower)})
	}
	return f
}

// slopeOf is a line, nil where an arrangement has no fish.
func slopeOf(s analysis.LineupSlope) *panelSlope {
	left, right := shareOf(s.TestLower.Lower, all(s.TestLower)), shareOf(s.ControlLower.Lower, all(s.ControlLower))
	if left == nil || right == nil {
		return nil
	}
	at := func(share float64) string { return fmt.Sprintf("%.1f", panelBottom-(panelBottom-panelTop)*share) }
	return &panelSlope{at(*left), at(*right)}
}
