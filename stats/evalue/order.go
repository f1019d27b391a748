package evalue

import (
	"errors"
	"fmt"
	"math"

	"evenrig/stats/exact"
	"evenrig/stats/num"
)

// ErrOrder: an effect of order cannot be estimated from these blocks.
var ErrOrder = errors.New("an effect of order cannot be told: blocks of both orders with fish of both kinds are needed")

// OrderEffect is by how much the lower fly is taken more in the first half of a block
// than in the second, on the logit scale.
type OrderEffect struct {
	LogOdds float64
	StdErr  float64
	Low     float64 // normal limits at the level asked for
	High    float64
	P       float64 // two-sided
}

// CheckOrder looks for what would falsify [TwoStream] and [Conditional]: a shift of the
// chance of a lower take from a block's first half to its second, such as tiring water
// or a rig that drifts deeper. With a shift ω the ln OR of a block is 2θ + ω where the
// test pattern was lower first and 2θ - ω where it was lower second; so
//
//	ω = ½(ln OR of the blocks that began with the test pattern lower - ln OR of the others),
//
// both by Mantel and Haenszel over blocks with the variance of Robins, Breslow and
// Greenland, which holds for many small blocks. It is a check on an assumption: without a
// finding a shift may still be there, and [DesignBased] needs none. It is not the
// order effect of a model for "test taken", which leaves both methods honest.
//
// level is the interval's, above 0 and below 1. Errors: ErrCount; ErrAlpha for the level;
// ErrOrder. Source: Mantel & Haenszel (1959), J. Natl. Cancer Inst. 22:719; Robins,
// Breslow & Greenland (1986), Biometrics 42:311; the contrast is elementary algebra.
func CheckOrder(anglers [][]exact.DrawnBlock, level float64) (OrderEffect, error) {
	if !(level > 0 && level < 1) {
		return OrderEffect{}, fmt.Errorf("%w: the interval's is %g", ErrAlpha, level)
	}
	var testFirst, controlFirst []exact.Table
	for _, blocks := range anglers {
		for _, b := range blocks {
			t := TableOf(b)
			if _, err := newCounts(t); err != nil {
				return OrderEffect{}, err
			}
			if b.TestFirst {
				testFirst = append(testFirst, t)
			} else {
				controlFirst = append(controlFirst, t)
			}
		}
	}
	first, err := exact.MantelHaenszel(testFirst, level)
	if err != nil {
		return OrderEffect{}, fmt.Errorf("%w: test pattern lower first: %w", ErrOrder, err)
	}
	second, err := exact.MantelHaenszel(controlFirst, level)
	if err != nil {
		return OrderEffect{}, fmt.Errorf("%w: control lower first: %w", ErrOrder, err)
	}
	o := OrderEffect{LogOdds: (first.LogOR - second.LogOR) / 2, StdErr: math.Hypot(first.StdErr, second.StdErr) / 2}
	z := num.NormalQuantile((1 + level) / 2)
	o.Low, o.High = o.LogOdds-z*o.StdErr, o.LogOdds+z*o.StdErr
	o.P = num.NormalTwoSided(o.LogOdds / o.StdErr)
	return o, nil
}
