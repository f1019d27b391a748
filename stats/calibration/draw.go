package calibration

import (
	"math/rand/v2"

	"evenrig/stats/exact"
	"evenrig/stats/glmm"
	"evenrig/stats/num"
)

// sample is one drawn trial in the forms that the methods take.
type sample struct {
	tables []exact.Table // one per angler
	cells  []glmm.Cell   // by angler, outing and arrangement
	vary   glmm.Vary
	seed   uint64 // for what a method draws itself
}

// draw draws one trial. Flies are swapped after every second fish, and a coin says
// which arrangement begins each block of two periods; a new outing begins a new block.
func (c Cell) draw(random *rand.Rand) sample {
	theta, beta := c.Theta(), c.Beta()
	s := sample{vary: glmm.VaryPatternPosition}
	if c.OutingFish > 0 {
		s.vary = glmm.VaryPatternPositionOuting
	}
	for angler, fish := range c.fishOf() {
		effect, position := theta+c.SDPattern*random.NormFloat64(), beta+c.SDPosition*random.NormFloat64()
		var table exact.Table
		for outing := 0; fish > 0; outing++ {
			here := fish
			if c.OutingFish > 0 {
				here = min(fish, c.OutingFish)
			}
			fish -= here
			day := effect + c.SDOuting*random.NormFloat64()
			t := drawOuting(random, here, num.Expit(day+position), num.Expit(day-position))
			s.cells = append(
				s.cells,
				glmm.Cell{Angler: angler, Outing: outing, TestLower: true, Test: int(t.A), Control: int(t.B)},
				glmm.Cell{Angler: angler, Outing: outing, Test: int(t.C), Control: int(t.D)},
			)
			table.A, table.B, table.C, table.D = table.A+t.A, table.B+t.B, table.C+t.C, table.D+t.D
		}
		s.tables = append(s.tables, table)
	}
	s.seed = random.Uint64()
	return s
}

// drawOuting draws the fish of one outing: lower and upper are the chances that a fish
// takes the test pattern where that is the lower and the upper fly.
func drawOuting(random *rand.Rand, fish int, lower, upper float64) (t exact.Table) {
	testLower := false
	for i := range fish {
		switch i % 4 {
		case 0:
			testLower = random.Uint64()&1 == 0
		case 2:
			testLower = !testLower
		}
		chance := upper
		if testLower {
			chance = lower
		}
		took := random.Float64() < chance
		switch {
		case testLower && took:
			t.A++
		case testLower:
			t.B++
		case took:
			t.C++
		default:
			t.D++
		}
	}
	return t
}
