package evalue

import (
	"fmt"
	"math"

	"evenrig/stats/num"
)

// Limits of ln OR = 2θ; nil where there is none, so that every value on that side is inside.
type Limits struct{ Low, High *float64 }

// Theta returns the limits of θ = ½ ln OR.
func (l Limits) Theta() (low, high *float64) { return half(l.Low), half(l.High) }

// Share returns the limits of the share expit(θ): 0 or 1 where there is none.
func (l Limits) Share() (low, high float64) {
	low, high = 0, 1
	if l.Low != nil {
		low = num.Expit(*l.Low / 2)
	}
	if l.High != nil {
		high = num.Expit(*l.High / 2)
	}
	return low, high
}

func half(v *float64) *float64 {
	if v == nil {
		return nil
	}
	h := *v / 2
	return &h
}

// Limits returns the confidence sequence's limits after the blocks so far: all ln OR with
// E < 1/alpha. If one ln OR holds for every block, the chance that the sequence ever
// leaves it out is at most alpha, however often it is looked at. A side is unbounded
// exactly if no block tells against it.
//
// Errors: ErrAlpha, ErrNumeric. Source: Robbins (1970), Annals of Mathematical Statistics
// 41:1397-1409.
func (c *Conditional) Limits(alpha float64) (Limits, error) {
	if !(alpha > 0 && alpha < 1) {
		return Limits{}, fmt.Errorf("%w: %g", ErrAlpha, alpha)
	}
	var limits Limits
	lowest, highest := true, true // every block as low, as high, as can be
	for _, like := range c.takes {
		lowest = lowest && like.lower == like.blocks*like.support.lo
		highest = highest && like.lower == like.blocks*like.support.hi
	}
	if lowest && highest { // no block yet
		return limits, nil
	}
	bar := c.mixture() + math.Log(alpha)
	top := 0.0
	if !lowest && !highest {
		var err error
		top, err = num.IncreasingRoot(func(l float64) float64 { _, slope := c.fitAt(l); return -slope }, 0, 1, 1e4, 1e-10)
		if err != nil {
			return Limits{}, fmt.Errorf("%w: the likeliest ln OR: %w", ErrNumeric, err)
		}
	} else {
		top = c.farEnough(bar, highest)
	}
	for _, side := range []struct {
		into **float64
		sign float64
		open bool
	}{{&limits.Low, -1, lowest}, {&limits.High, 1, highest}} {
		if side.open {
			continue
		}
		// Away from the top the fit falls below the bar once and for all.
		distance, err := num.IncreasingRoot(func(d float64) float64 {
			value, _ := c.fitAt(top + side.sign*d)
			return bar - value
		}, 0, 0.5, 1e5, 1e-10)
		if err != nil {
			return Limits{}, fmt.Errorf("%w: a limit of ln OR: %w", ErrNumeric, err)
		}
		limit := top + side.sign*distance
		*side.into = &limit
	}
	return limits, nil
}

// farEnough returns a ln OR, towards the end that every block points to, whose fit is over
// the bar. There is one, since the mixture lies below the fit at that end.
func (c *Conditional) farEnough(bar float64, up bool) float64 {
	at := 1.0
	for ; at < 1e4; at *= 2 {
		if value, _ := c.fitAt(math.Copysign(at, sign(up))); value > bar {
			break
		}
	}
	return math.Copysign(at, sign(up))
}

func sign(up bool) float64 {
	if up {
		return 1
	}
	return -1
}

// Running is the intersection of a confidence sequence's limits at every look so far: it
// holds with the same chance and never widens. The zero value is the whole line.
type Running struct{ limits Limits }

// See takes the limits at a look.
func (r *Running) See(l Limits) {
	if l.Low != nil && (r.limits.Low == nil || *l.Low > *r.limits.Low) {
		r.limits.Low = l.Low
	}
	if l.High != nil && (r.limits.High == nil || *l.High < *r.limits.High) {
		r.limits.High = l.High
	}
}

// Limits returns the intersection so far. ok is false where it is empty, Low > High:
// then no single ln OR fits all looks, and the effect was not common to all blocks (or,
// with a chance of at most alpha, bad luck).
func (r Running) Limits() (limits Limits, ok bool) {
	return r.limits, r.limits.Low == nil || r.limits.High == nil || *r.limits.Low <= *r.limits.High
}
