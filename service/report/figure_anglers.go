package report

import (
	"fmt"

	"evenrig/service/analysis"
)

// anglersFigure is Figure 1: a stretch of line for every angler, with a fly hanging where that angler's own fish put the
// answer and a knot where it lies after all anglers have been heard; above them the headline, whose leader runs down
// through all rows, and the line on which another angler's answer is expected.
type anglersFigure struct {
	Height     int
	Ticks      []tick
	AxisRows   []int // where the axis numbers are repeated
	Test       label
	Control    label
	Start, End string

	Top, Drop, Bottom int // of the headline's interval, drawn down through all rows

	Knot          string
	Headline      *stretch
	HeadlineText  string
	TextX, Anchor string
	Prediction    *stretch
	PredictText   string

	Rows        []anglerRow
	Compact     bool
	Single      bool // one angler, who is all there is
	HalfAdded   bool
	Alternative string
	Table       []anglerNumbers
}

type anglerRow struct {
	Y, TextY int
	Name     label
	Fish     string
	Fly      string   // empty: no answer from this angler alone
	Own      *stretch // interval of the angler's own answer
	Knot     string   // empty: no shrunken answer
	Shrunk   *stretch // interval of it
	Half     bool
	Instead  string // said in place of marks
}

type anglerNumbers struct{ Name, Fish, Own, Shrunk, Note string }

const (
	figureHead      = 254 // room above the first angler: key, axis, headline, prediction
	headlineLine    = 164
	figureRow       = 30
	figureRowTight  = 23
	tightFrom       = 40 // more anglers than this are set in tight rows
	axisRepeatsEach = 20 // rows
)

func newAnglersFigure(r analysis.Result, n names) anglersFigure {
	s := scale{25, 88}
	row := figureRow
	f := anglersFigure{Ticks: s.ticks(), Start: s.at(0), End: s.at(1), Compact: len(r.Anglers) > tightFrom, Single: len(r.Anglers) == 1}
	if f.Compact {
		row = figureRowTight
	}
	f.Test, f.Control = allTake(n.Test), allTake(n.Control)
	f.headline(s, r)

	labels := anglerLabels(r.Anglers, 20, 9)
	y := figureHead
	for i, a := range r.Anglers {
		if i > 0 && i%axisRepeatsEach == 0 {
			f.AxisRows = append(f.AxisRows, y+4)
			y += row
		}
		f.add(s, a, labels[i], y, r.Settings.Alpha)
		y += row
	}
	f.Top, f.Bottom = headlineLine, y
	f.Drop, f.Height = f.Bottom-f.Top, y+8
	f.Alternative = f.describe(r)
	return f
}

func (f *anglersFigure) headline(s scale, r analysis.Result) {
	h := r.Headline
	if isShare(h.Share) {
		f.Knot, f.Headline = s.at(*h.Share), s.stretch(h.ShareLow, h.ShareHigh)
		f.HeadlineText = Share100(h.Share, h.ShareLow, h.ShareHigh)
		f.TextX, f.Anchor = s.text(*h.Share)
	}
	if low, high := r.Prediction(); low != nil {
		f.Prediction, f.PredictText = s.stretch(low, high), Interval100(low, high)
	}
}

// noPrediction says why another angler's answer cannot be foretold.
func noPrediction(r analysis.Result) string {
	_, prevails := r.Prevailing()
	switch {
	case prevails:
		return "How far another angler might differ cannot be said: one angler has more fish than all others together."
	case r.Combined != nil && r.TooManyHalves():
		return "How far another angler might differ cannot be said: too many of these anglers have so few fish that one of their counts is zero."
	case landing(r.Anglers) < 3:
		return "How far another angler might differ cannot be said from fewer than three anglers."
	default:
		return "How far another angler might differ cannot be said from these fish."
	}
}

func (f *anglersFigure) add(s scale, a analysis.Angler, name label, y int, alpha float64) {
	fish := all(a.TestLower) + all(a.ControlLower)
	row := anglerRow{Y: y, Name: name, Fish: Count(fish), TextY: y + 4}
	numbers := anglerNumbers{Name: a.Angler, Fish: row.Fish, Own: Missing, Shrunk: Missing}
	if own := expit(a.LogOdds); own != nil {
		low, high := normalLimits(a.LogOdds, a.StdError, alpha)
		row.Fly, row.Own, row.Half = s.at(*own), s.stretch(low, high), a.HalfAdded
		numbers.Own = Share100(own, low, high)
	}
	if shrunk := expit(a.ShrunkLogOdds); shrunk != nil {
		low, high := normalLimits(a.ShrunkLogOdds, a.ShrunkStdError, alpha)
		row.Knot, row.Shrunk = s.at(*shrunk), s.stretch(low, high)
		numbers.Shrunk = Share100(shrunk, low, high)
	}
	switch {
	case fish == 0:
		numbers.Note = "no analysed fish"
	case row.Fly == "":
		numbers.Note = "fish one way round only"
	case a.HalfAdded:
		numbers.Note = "½ added to each count"
		f.HalfAdded = true
	}
	if row.Fly == "" && row.Knot == "" {
		row.Instead = numbers.Note
	}
	f.Rows = append(f.Rows, row)
	f.Table = append(f.Table, numbers)
}

func (f *anglersFigure) describe(r analysis.Result) string {
	own := func(a analysis.Angler) *float64 { return expit(a.LogOdds) }
	shrunk := func(a analysis.Angler) *float64 { return expit(a.ShrunkLogOdds) }
	var s string
	switch {
	case f.Single:
		s = "One angler." + run("Their own fish, taken as one table,", r.Anglers, own)
	default:
		s = Counted(int64(len(r.Anglers)), "angler", "anglers") + ", in the order of their labels." + run("Their own answers", r.Anglers, own) +
			run("After all anglers have been heard they", r.Anglers, shrunk)
	}
	switch {
	case f.HeadlineText == "":
	case f.Single:
		s += " The answer: " + f.HeadlineText + "."
	default:
		s += " Together, for a typical angler: " + f.HeadlineText + "."
	}
	if low, high := r.Prediction(); low != nil {
		s += " Another angler like these: between " + Limit100(low) + " and " + Limit100(high) + "."
	}
	return s
}

// run says between which numbers the anglers' answers lie.
func run(what string, anglers []analysis.Angler, value func(analysis.Angler) *float64) string {
	low, high := span(anglers, value)
	switch {
	case low == nil:
		return ""
	case OutOf100(low) == OutOf100(high):
		return fmt.Sprintf(" %s lie at %s of 100.", what, OutOf100(low))
	default:
		return fmt.Sprintf(" %s run from %s to %s of 100.", what, OutOf100(low), OutOf100(high))
	}
}

// span is the smallest and the largest of what value gives for the anglers, nil when it gives nothing.
func span(anglers []analysis.Angler, value func(analysis.Angler) *float64) (low, high *float64) {
	for _, a := range anglers {
		v := value(a)
		if v == nil {
			continue
		}
		if low == nil || *v < *low {
			low = v
		}
		if high == nil || *v > *high {
			high = v
		}
	}
	return low, high
}
