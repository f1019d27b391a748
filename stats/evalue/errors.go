package evalue

import (
	"errors"
	"fmt"

	"evenrig/stats/exact"
)

// MaxFish is the largest number of fish accepted in one half of a block.
const MaxFish = 500

// What data or settings can do. Every error wraps one of these and adds the values at fault.
var (
	// ErrCount: a number of fish in half a block outside 0 to MaxFish.
	ErrCount = errors.New("a half of a block holds 0 to 500 fish")
	// ErrDraw: orders that the draw cannot have given.
	ErrDraw = errors.New("the draw cannot have given these orders")
	// ErrSizes: a group size that is neither 1 nor an even number up to 16.
	ErrSizes = errors.New("a group size is 1 (a coin) or an even number from 2 to 16")
	// ErrSpread: an SD of the mixture outside its range.
	ErrSpread = errors.New("the mixture's standard deviation of ln OR lies between 0.1 and 4")
	// ErrAlpha: a level that is not above 0 and below 1.
	ErrAlpha = errors.New("a level lies above 0 and below 1")
	// ErrNumeric: a limit was not reached by the arithmetic.
	ErrNumeric = errors.New("out of the reach of the arithmetic")
)

// counts is a block as its two streams: lower takes y of n fish, a with the test
// pattern lower (c = +1), b with the control lower.
type counts struct{ ya, na, yb, nb int64 }

func newCounts(t exact.Table) (counts, error) {
	for _, cell := range []int64{t.A, t.B, t.C, t.D} {
		if cell < 0 || cell > MaxFish {
			return counts{}, fmt.Errorf("%w: %+v", ErrCount, t)
		}
	}
	c := counts{ya: t.A, na: t.A + t.B, yb: t.D, nb: t.C + t.D}
	if c.na > MaxFish || c.nb > MaxFish {
		return counts{}, fmt.Errorf("%w: %+v", ErrCount, t)
	}
	return c, nil
}

// informative reports whether the block can tell anything once the number of fish in
// each half and of lower takes in all are given.
func (c counts) informative() bool {
	m := c.ya + c.yb
	return c.na > 0 && c.nb > 0 && m > 0 && m < c.na+c.nb
}

// TableOf returns the block as a table of what was taken in each arrangement.
func TableOf(b exact.DrawnBlock) exact.Table {
	test, control := b.First, b.Second
	if !b.TestFirst {
		test, control = control, test
	}
	return exact.Table{A: test.Lower, B: test.Upper, C: control.Upper, D: control.Lower}
}
