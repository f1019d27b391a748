package report

import (
	"fmt"
	"math"

	"evenrig/service/analysis"
)

// timeFigure is the trial as it went: week by week the sequence of intervals for the share, drawn as a leader that tapers, and
// under it the evidence by the draw on a scale on which each step is ten times the last.
type timeFigure struct {
	Height      int
	Left, Right string
	Share       drop
	Ticks       []heightTick
	Weeks       []weekTick
	Top, Bottom int

	Steps []upright
	Final string
	Looks []lookMark

	Evidence *evidencePanel

	Alternative string
	Table       []timeNumbers
}

type lookMark struct{ X, Text string }

// evidencePanel is the lower part: a line of steps from 1 on.
type evidencePanel struct {
	Top, Bottom int
	Ticks       []heightTick
	Mark        int // height of the mark to be reached
	MarkText    string
	MarkRight   bool // its words stand at the right, where the evidence keeps farther from them
	Pieces      []piece
	Knot        string
	KnotY       float64
	Text        string
}

type timeNumbers struct{ Week, Rounds, Fish, Share, Evidence string }

const (
	timeTop        = 52
	timeBottom     = 292
	evidenceTop    = 372
	evidenceBottom = 532
)

func newTimeFigure(r analysis.Result, n names) *timeFigure {
	m := r.Monitoring
	if m == nil || m.Evidence == nil || len(m.Evidence.Path) < 2 {
		return nil
	}
	path := m.Evidence.Path
	weeks := make([]string, len(path))
	for i, p := range path {
		weeks[i] = p.Week
	}
	axis, ok := newWeekAxis(weeks)
	if !ok {
		return nil
	}
	f := &timeFigure{
		Left: axis.scale.at(0), Right: axis.scale.at(1), Share: drop{timeTop, timeBottom}, Weeks: axis.ticks(), Top: timeTop, Bottom: timeBottom,
		Height: timeBottom + 34,
	}
	f.Ticks = f.Share.ticks()
	f.sequence(axis, path)
	if panel := newEvidencePanel(axis, m.Evidence); panel != nil {
		f.Evidence, f.Height = panel, evidenceBottom+34
	}
	for _, look := range m.Looks {
		mark := lookMark{X: f.Right, Text: fmt.Sprintf("count %d", look.N)}
		if part, ok := axis.at(look.Week, 1); ok {
			mark.X = axis.scale.at(part)
		}
		f.Looks = append(f.Looks, mark)
	}
	for _, p := range path {
		f.Table = append(f.Table, timeNumbers{weekName(p.Week), Count(int64(p.Blocks)), Count(p.Fish), Interval100(p.SequenceShareLow, p.SequenceShareHigh), To1(p.EValue)})
	}
	f.Alternative = timeSays(r, n)
	return f
}

// sequence draws the intervals: each holds from the end of its week to the end of the next.
func (f *timeFigure) sequence(axis weekAxis, path []analysis.EvidencePoint) {
	from, low, high := 0., 0., 1.
	step := func(to float64) {
		if to > from {
			f.Steps = append(f.Steps, upright{
				X: axis.scale.at(from), Width: percent((axis.scale.to - axis.scale.from) * (to - from)), End: axis.scale.at(to),
				Top: f.Share.at(high), Bottom: f.Share.at(low),
			})
		}
	}
	for _, p := range path {
		part, ok := axis.at(p.Week, 1)
		if !ok || !isShare(p.SequenceShareLow) || !isShare(p.SequenceShareHigh) {
			continue
		}
		step(part)
		from, low, high = math.Max(from, part), *p.SequenceShareLow, *p.SequenceShareHigh
		f.Final = "at the end " + Interval100(p.SequenceShareLow, p.SequenceShareHigh)
	}
	step(1)
}

// newEvidencePanel is nil where the draw gives no evidence in any week.
func newEvidencePanel(axis weekAxis, e *analysis.Evidence) *evidencePanel {
	least, most := 1., math.Max(1, e.Threshold)
	for _, p := range e.Path {
		if v := p.EValue; v != nil && *v > 0 && !math.IsInf(*v, 0) {
			least, most = math.Min(least, *v), math.Max(most, *v)
		}
	}
	low, high := math.Floor(math.Log10(least)), math.Ceil(math.Log10(most)+.1)
	at := func(v float64) float64 {
		return tenth(evidenceBottom - (evidenceBottom-evidenceTop)*(math.Log10(v)-low)/(high-low))
	}
	f := &evidencePanel{Top: evidenceTop, Bottom: evidenceBottom}
	every := math.Ceil((high - low) / 6)
	for power := low; power <= high; power++ {
		if math.Mod(power, every) == 0 {
			value := math.Pow(10, power)
			f.Ticks = append(f.Ticks, heightTick{int(at(value)), tenfold(power), power == 0})
		}
	}
	if e.Threshold >= 1 && !math.IsInf(e.Threshold, 0) {
		f.Mark, f.MarkText = int(at(e.Threshold)), "the mark, "+To1(&e.Threshold)
	}
	from, y := 0., at(1)
	near := [2]float64{math.Inf(1), math.Inf(1)} // how near the line comes to the mark's words, at the left and at the right
	piece := func(to, next float64) {
		for side, over := range [2]bool{from < .4, to > .6} {
			if over {
				near[side] = math.Min(near[side], math.Abs(y-float64(f.Mark-9)))
			}
		}
		f.Pieces = append(f.Pieces, piece{axis.scale.at(from), axis.scale.at(to), y, y})
		if next != y {
			f.Pieces = append(f.Pieces, piece{axis.scale.at(to), axis.scale.at(to), y, next})
		}
		from, y = to, next
	}
	drawn := false
	for _, p := range e.Path {
		part, ok := axis.at(p.Week, 1)
		if !ok || p.EValue == nil || *p.EValue <= 0 || math.IsInf(*p.EValue, 0) {
			continue
		}
		piece(part, at(*p.EValue))
		drawn = true
		f.Knot, f.KnotY, f.Text = axis.scale.at(part), y, "at the end "+To1(p.EValue)
	}
	f.MarkRight = near[1] > near[0]
	if !drawn {
		return nil
	}
	return f
}

func tenfold(power float64) string {
	if power > 6 || power < -4 {
		return fmt.Sprintf("1e%d", int(power))
	}
	if power < 0 {
		return fmt.Sprintf("%.*f", int(-power), math.Pow(10, power))
	}
	return Count(int64(math.Pow(10, power)))
}

func timeSays(r analysis.Result, n names) string {
	path := r.Monitoring.Evidence.Path
	first, last := path[0], path[len(path)-1]
	s := fmt.Sprintf("From the week of %s to that of %s, %s.", weekName(first.Week), weekName(last.Week), Counted(int64(last.Blocks), "finished round with fish in both halves", "finished rounds with fish in both halves"))
	if a, b := Interval100(first.SequenceShareLow, first.SequenceShareHigh), Interval100(last.SequenceShareLow, last.SequenceShareHigh); a != Missing && b != Missing {
		s += fmt.Sprintf(" The interval for how many of 100 take %s narrows from %s after the first week to %s after the last.", n.Test, a, b)
	}
	if last.EValue != nil {
		least, most := last.EValue, last.EValue
		for _, p := range path {
			if p.EValue != nil && *p.EValue < *least {
				least = p.EValue
			}
			if p.EValue != nil && *p.EValue > *most {
				most = p.EValue
			}
		}
		s += fmt.Sprintf(" The evidence ends at %s; at the end of its weakest week it stood at %s, of its strongest at %s.", To1(last.EValue), To1(least), To1(most))
	}
	return s
}
