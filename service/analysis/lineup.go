package analysis

import (
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math/rand/v2"

	"evenrig/service/trial"
	"evenrig/stats/exact"
)

// LineupPanels is how many figures stand in a line-up: with 20, somebody who sees no difference points at the real one with a
// chance of 1 in 20.
const LineupPanels = 20

// Lineup is the trial's own figure hidden among figures of nothing: the fish of the drawn blocks, by angler, arrangement and
// position taken, once in the orders that were drawn and otherwise in orders drawn anew by the same rule, the position that each
// fish took held (the hypothesis that neither pattern is taken more, for any angler and any fish). Who can point at the real one
// without being told has seen a difference that chance seldom makes.
//
// Source: Buja, Cook, Hofmann, Lawrence, Lee, Swayne and Wickham 2009, Philosophical Transactions of the Royal Society A
// 367:4361-4383.
type Lineup struct {
	Anglers []string        // in the order of their labels
	Panels  [][]LineupSlope // LineupPanels of them, each with one entry for every angler
	Real    int             // the place of the trial's own, from 0
}

// LineupSlope is one angler's fish in one panel.
type LineupSlope struct{ TestLower, ControlLower ByPosition }

// NewLineup returns the line-up of a drawn trial; nil where there is no draw, where it cannot have come about as the protocol
// says, or where no fish of a drawn block was analysed. Orders and the real one's place follow from the fingerprint, so that the same
// fish always give the same line-up, and nobody can choose one.
func NewLineup(in Input, counted string) (*Lineup, error) {
	in = in.filled()
	if len(in.Draw) == 0 {
		return nil, nil
	}
	sum, err := hex.DecodeString(counted)
	if err != nil || len(sum) < 16 {
		return nil, fmt.Errorf("fingerprint %q: accepted: 64 hexadecimal digits (%v)", counted, err)
	}
	in.Tallies = merged(in.Tallies)
	draw, blocks := drawOf(in)
	if blocks == 0 {
		return nil, nil
	}
	random := rand.New(rand.NewPCG(binary.BigEndian.Uint64(sum), binary.BigEndian.Uint64(sum[8:])))
	l := &Lineup{Panels: make([][]LineupSlope, LineupPanels), Real: random.IntN(LineupPanels)}
	asDrawn := make([][]bool, len(draw.Anglers))
	for a, drawn := range draw.Anglers {
		for _, b := range drawn {
			asDrawn[a] = append(asDrawn[a], b.TestFirst)
		}
	}
	for i := range l.Panels {
		orders := asDrawn
		if i != l.Real {
			if orders, err = draw.Redeal(random); err != nil {
				return nil, nil // a draw that cannot have happened, of which the result warns
			}
		}
		l.Panels[i] = slopes(draw, orders)
	}
	l.keepFished(anglersOf(in.Draw))
	return l, nil
}

// slopes counts every angler's fish by arrangement and position under the given orders.
func slopes(draw exact.Draw, orders [][]bool) []LineupSlope {
	panel := make([]LineupSlope, len(draw.Anglers))
	for a, blocks := range draw.Anglers {
		for i, b := range blocks {
			testLower, controlLower := b.First, b.Second
			if !orders[a][i] {
				testLower, controlLower = b.Second, b.First
			}
			panel[a].TestLower.add(testLower)
			panel[a].ControlLower.add(controlLower)
		}
	}
	return panel
}

func (b *ByPosition) add(t exact.Takes) {
	b.Lower += t.Lower
	b.Upper += t.Upper
}

// keepFished leaves out anglers without a fish; in no order have they one.
func (l *Lineup) keepFished(anglers []string) {
	var fished []int
	for a, s := range l.Panels[l.Real] {
		if s != (LineupSlope{}) {
			fished = append(fished, a)
			l.Anglers = append(l.Anglers, anglers[a])
		}
	}
	for i, panel := range l.Panels {
		kept := make([]LineupSlope, len(fished))
		for k, a := range fished {
			kept[k] = panel[a]
		}
		l.Panels[i] = kept
	}
}

// anglersOf lists the anglers of a draw in the order in which drawOf has them.
func anglersOf(draw []trial.DrawnBlock) (anglers []string) {
	for _, b := range drawInOrder(draw) {
		if len(anglers) == 0 || anglers[len(anglers)-1] != b.Angler {
			anglers = append(anglers, b.Angler)
		}
	}
	return anglers
}
