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
	Angler   string
	From, To int
	Slips    []slip
}

type slip struct {
	Y                                        int // from the top of the sheet's drawing
	Round                                    int
	Angler, AnglerSize                       string
	Lower, LowerSize, Upper, UpperSize       string
	LowerWord, UpperWord                     string
	LowerPlaceSize, UpperPlaceSize           string
	TestCode, TestName, UsualCode, UsualName string
}

func slipSheets(k Kit) (sheets []slipSheet) {
	p := k.Protocol
	for _, a := range k.Anglers {
		for from := 0; from < len(a.First); from += slipsOnASheet {
			to := min(from+slipsOnASheet, len(a.First))
			sheet := slipSheet{Angler: a.Name, From: from + 1, To: to}
			for i, way := range a.First[from:to] {
				lower, upper := p.Flies(way)
				sheet.Slips = append(sheet.Slips, slip{
					Y: i * slipHeight, Round: from + i + 1, Angler: a.Name, AnglerSize: sized(a.Name, 320, 36),
					Lower: lower, LowerSize: sized(lower, 150, 90), Upper: upper, UpperSize: sized(upper, 150, 90),
					LowerWord: p.LowerWord, UpperWord: p.UpperWord, LowerPlaceSize: sized(p.LowerWord, 170, 30), UpperPlaceSize: sized(p.UpperWord, 170, 30),
					TestCode: p.Code(trial.Test), TestName: nameOf(p, trial.Test), UsualCode: p.Code(trial.Control), UsualName: nameOf(p, trial.Control),
				})
			}
			sheets = append(sheets, sheet)
		}
	}
	return sheets
}

// tint is the dark pattern that hides an inside: both flies' codes, as large as inside, over and over, under a close hatch.
type tint struct{ A, B, ASize, BSize string }

func newTint(p trial.Protocol) tint {
	a, b := p.Code(trial.Test), p.Code(trial.Control)
	return tint{a, b, sized(a, 150, 90), sized(b, 150, 90)}
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
)

func cardSheets(k Kit) (sheets []cardSheet) {
	for _, a := range k.Anglers {
		s := cardSheet{Angler: a.Name, AnglerSize: sized(a.Name, 330, 34)}
		for i := range 4 {
			s.Cards = append(s.Cards, card{X: i % 2 * (cardWidth + cardGap), Y: i / 2 * (cardHeight + cardGap)})
		}
		sheets = append(sheets, s)
	}
	return sheets
}

// Rows are where a card's fish are written, tenths of a millimetre from its top.
func (card) Rows() (rows []cardRow) {
	for i := range 8 {
		rows = append(rows, cardRow{Y: 330 + 100*i, N: strconv.Itoa(i + 1)})
	}
	return rows
}

type cardRow struct {
	Y int
	N string
}
