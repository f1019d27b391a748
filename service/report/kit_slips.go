package report

import (
	"strconv"

	"evenrig/service/trial"
)

// A slip is 190 by 30 mm, drawn in tenths of a millimetre: three panels side by side, outside, inside and cover. The cover is
// folded over the inside, print to print, and the outside back behind them, so that paper printed on one side only has its
// number outside and its secret between two dark layers.
const (
	slipsOnASheet = 8
	slipHeight    = 300
)

// slipSheet is one printed page of slips, all of one angler.
type slipSheet struct {
	Head, HeadSize string
	Angler         string
	From, To       int
	Slips          []slip
}

type slip struct {
	Y                                      int // from the top of the sheet's slips
	Round                                  int
	Angler, AnglerSize, Inside, InsideSize string
	Lower, LowerSize, Upper, UpperSize     string
}

func slipSheets(k Kit) (sheets []slipSheet) {
	p := k.Protocol
	for _, a := range k.Anglers {
		for from := 0; from < len(a.First); from += slipsOnASheet {
			to := min(from+slipsOnASheet, len(a.First))
			sheet := slipSheet{Angler: a.Name, From: a.Before + from + 1, To: a.Before + to}
			sheet.Head = a.Name + ": rounds " + strconv.Itoa(sheet.From) + " to " + strconv.Itoa(sheet.To)
			sheet.HeadSize = prose(sheet.Head, 470, 30)
			for i, way := range a.First[from:to] {
				lower, upper := p.Flies(way)
				inside := "Round " + strconv.Itoa(sheet.From+i) + ", " + a.Name
				sheet.Slips = append(sheet.Slips, slip{
					Y: i * slipHeight, Round: sheet.From + i, Angler: a.Name, AnglerSize: prose(a.Name, 330, 36),
					Inside: inside, InsideSize: prose(inside, 340, 30),
					Lower: lower, LowerSize: sized(lower, 145, 90), Upper: upper, UpperSize: sized(upper, 125, 90),
				})
			}
			sheets = append(sheets, sheet)
		}
	}
	return sheets
}

// legend is what the slips and cards call the two flies, with sizes of print at which it fits.
type legend struct {
	Test, Control, TestSize, ControlSize string // codes, in a box of a card
	Names                                [2]legendLine
	Ways                                 [3]legendLine // what a slip says of its two halves
	First                                string        // the half that a slip draws
	RigTest, RigControl, RigWordSize     string        // sizes of print in the rule sheet's drawing
}

type legendLine struct {
	Text, Size, CardSize string
	Y                    int // on a slip
}

func newLegend(p trial.Protocol) legend {
	l := legend{Test: p.Code(trial.Test), Control: p.Code(trial.Control)}
	l.TestSize, l.ControlSize = sized(l.Test, 84, 34), sized(l.Control, 84, 34)
	l.RigTest, l.RigControl = sized(l.Test, 54, 15), sized(l.Control, 54, 15)
	longest := l.Test
	if len(l.Control) > len(longest) {
		longest = l.Control
	}
	l.RigWordSize = prose(p.LowerWord+": "+longest, 140, 13)
	for i, part := range []trial.Part{trial.Test, trial.Control} {
		text := p.Code(part) + "  " + nameOf(p, part)
		l.Names[i] = legendLine{text, prose(text, 340, 26), prose(text, 420, 24), 236 + 36*i}
	}
	l.First = "first half"
	ways := []string{"First half: as drawn here, the", p.LowerWord + " at the end of the line.", "Second half: changed over."}
	if p.Design == trial.PairedByOuting {
		l.First, ways[0], ways[2] = "first outing", "First outing: as drawn here, the", "Next outing: changed over."
	}
	for i, way := range ways {
		l.Ways[i] = legendLine{Text: way, Size: prose(way, 340, 26), Y: 100 + 36*i}
	}
	return l
}

// cardSheet is one printed page of pocket cards, all of one angler.
type cardSheet struct {
	Angler, AnglerSize string
	Cards              []card
}

type card struct{ X, Y int }

// A pocket card is 94 by 124 mm, four to a page.
const (
	cardWidth  = 940
	cardHeight = 1240
	cardGap    = 20
	cardRows   = 7
)

func cardSheets(k Kit) (sheets []cardSheet) {
	for _, a := range k.Anglers {
		s := cardSheet{Angler: a.Name, AnglerSize: prose(a.Name, 420, 34)}
		for i := range 4 {
			s.Cards = append(s.Cards, card{X: i % 2 * (cardWidth + cardGap), Y: i / 2 * (cardHeight + cardGap)})
		}
		sheets = append(sheets, s)
	}
	return sheets
}

// Rows are where a card's fish are written, tenths of a millimetre from its top.
func (card) Rows() (rows []cardRow) {
	for i := range cardRows {
		rows = append(rows, cardRow{Y: 346 + 97*i, N: strconv.Itoa(i + 1)})
	}
	return rows
}

type cardRow struct {
	Y int
	N string
}
