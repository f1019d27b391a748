package report

import "evenrig/service/analysis"

// rowsFigure is a list of answers under one another, each a stretch of line on the same axis from 0 to 100, with a knot at the
// answer. The main answer hangs through all of them: its leader down the middle of a band as wide as its interval.
type rowsFigure struct {
	ID, Title     string // of the drawing
	Height        int
	Ticks         []tick
	Start, End    string
	Test, Control label

	Main              *stretch // the headline's interval; nil without
	MainAt            string
	MainText          label
	MainX, Anchor     string
	Top, Drop, Bottom int

	Heads       []rowHead
	Rows        []shareRow
	Alternative string
	Table       []rowNumbers
}

// rowHead is a line of words over the rows that follow it.
type rowHead struct {
	Y    int
	Text label
	Fish bool // the numbers at the right end are fish
}

// shareRow is one answer. Its label stands over its line, or beside it where it is short; its numbers at the label's right end.
type shareRow struct {
	Y, TextY int
	Label    label
	Numbers  label
	Fish     label
	Knot     string
	Stretch  *stretch
	Posts    *stretch // a boundary at either side
	Instead  string   // said in place of marks
}

type rowNumbers struct{ What, Fish, Share, Note string }

// answerOf is one answer on the log odds scale, with limits; nil limits of a known answer are without bound.
type answerOf struct{ LogOdds, Low, High *float64 }

// shares carries the answer to the share scale. An answer or limit without bound stands at the end of the line.
func (a answerOf) shares() (share, low, high *float64) {
	zero, one := 0., 1.
	share, low, high = expit(a.LogOdds), expit(a.Low), expit(a.High)
	switch {
	case share == nil && low == nil && high == nil:
		return nil, nil, nil
	case share == nil && low != nil:
		share = &one
	case share == nil:
		share = &zero
	}
	if low == nil {
		low = &zero
	}
	if high == nil {
		high = &one
	}
	return share, low, high
}

// text is the answer out of 100 with its interval.
func (a answerOf) text() string { return Share100(a.shares()) }

const (
	rowsHead    = 112 // room above the first row: flies, axis, the main answer
	rowsLine    = 34
	rowOver     = 48 // height of a row whose label stands over its line
	rowBeside   = 24
	rowHeadLine = 30
)

var rowsScale = scale{25, 88}

func newRows(id, title string, r analysis.Result, n names) rowsFigure {
	s := rowsScale
	f := rowsFigure{
		ID: id, Title: title, Ticks: s.ticks(), Start: s.at(0), End: s.at(1), Test: allTake(n.Test), Control: allTake(n.Control),
		Top: rowsLine, Bottom: rowsHead - 20,
	}
	if h := r.Headline; isShare(h.Share) {
		f.Main, f.MainAt = s.stretch(h.ShareLow, h.ShareHigh), s.at(*h.Share)
		f.MainText = label{
			"main answer: " + ofWhom(r) + Share100(h.Share, h.ShareLow, h.ShareHigh), OutOf100(h.Share) + " (" + Interval100(h.ShareLow, h.ShareHigh) + ")",
		}
		f.MainX, f.Anchor = s.text(*h.Share)
	}
	return f
}

// ofWhom says whose share the rows show, where the answer sentence gives the average in place of it.
func ofWhom(r analysis.Result) string {
	if r.Headline.AverageShare != nil {
		return "for a typical angler, "
	}
	return ""
}

// head sets words over the rows that follow.
func (f *rowsFigure) head(text string, fish bool) {
	f.Heads = append(f.Heads, rowHead{f.Bottom + 22, fit(text, 88, 42), fish})
	f.Bottom += rowHeadLine
}

// over adds a row with its label over its line.
func (f *rowsFigure) over(text string, fish int64, a answerOf, instead string) *shareRow {
	row := f.add(text, fish, a, instead)
	row.Label, row.TextY = fit(text, 66, 32), f.Bottom+17
	row.Y, row.Fish = f.Bottom+31, label{Counted(fish, "fish", "fish"), Count(fish)}
	f.Bottom += rowOver
	return row
}

// beside adds a row with its label at the left of its line.
func (f *rowsFigure) beside(text string, name label, fish int64, a answerOf, instead string) {
	row := f.add(text, fish, a, instead)
	row.Label, row.Numbers = name, label{}
	row.Y, row.TextY = f.Bottom+14, f.Bottom+18
	f.Bottom += rowBeside
}

func (f *rowsFigure) add(text string, fish int64, a answerOf, instead string) *shareRow {
	row := shareRow{Fish: label{Wide: Count(fish)}}
	numbers := rowNumbers{What: text, Fish: Count(fish), Share: Missing, Note: instead}
	if share, low, high := a.shares(); isShare(share) {
		row.Knot, row.Stretch = rowsScale.at(*share), rowsScale.stretch(low, high)
		row.Numbers = label{Wide: Share100(share, low, high), Narrow: OutOf100(share) + " (" + Interval100(low, high) + ")"}
		numbers.Share = a.text()
	} else {
		row.Instead = "no answer"
	}
	f.Rows, f.Table = append(f.Rows, row), append(f.Table, numbers)
	return &f.Rows[len(f.Rows)-1]
}

// close sets the figure's height once all rows are in.
func (f *rowsFigure) close(alternative string) *rowsFigure {
	f.Bottom += 8
	f.Drop, f.Height, f.Alternative = f.Bottom-f.Top, f.Bottom+6, alternative
	return f
}
