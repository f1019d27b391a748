package num

import (
	"errors"
	"fmt"
	"math"
)

// ErrNoBracket: the function has the same sign at both ends, or is NaN there.
var ErrNoBracket = errors.New("the function does not change sign over the interval")

// ErrNoRoot: the function turned NaN inside the interval, or the steps ran out.
var ErrNoRoot = errors.New("the root was not reached")

// maxRootSteps bounds Root. Brent's method at worst takes about the square of
// the steps of bisection; ordinary functions take 5 to 15.
const maxRootSteps = 500

// Root returns x in [lo, hi] with f(x) = 0, for a continuous f that differs in
// sign at lo and hi (an end where f is exactly 0 is returned at once). The sign
// change is bracketed to within absTol plus 4 machine epsilons of |x|; absTol
// must be at least 0.
//
// Errors: ErrNoBracket; ErrNoRoot if f is NaN at a point that was tried. An
// infinite value of f is allowed: only its sign is used. Source: Brent (1973),
// Algorithms for Minimization without Derivatives, chapter 4, procedure zero.
func Root(f func(float64) float64, lo, hi, absTol float64) (float64, error) {
	a, b := lo, hi
	fa, fb := f(a), f(b)
	switch {
	case fa == 0:
		return a, nil
	case fb == 0:
		return b, nil
	case math.IsNaN(fa) || math.IsNaN(fb) || (fa > 0) == (fb > 0):
		return 0, fmt.Errorf("f(%g) = %g, f(%g) = %g: %w", lo, fa, hi, fb, ErrNoBracket)
	}
	c, fc := a, fa
	step := b - a
	previous := step
	for range maxRootSteps {
		if (fb > 0) == (fc > 0) {
			c, fc = a, fa
			step = b - a
			previous = step
		}
		if math.Abs(fc) < math.Abs(fb) {
			a, b, c = b, c, b
			fa, fb, fc = fb, fc, fb
		}
		tol := 2*epsilon*math.Abs(b) + absTol/2
		half := (c - b) / 2
		if math.Abs(half) <= tol || fb == 0 {
			return b, nil
		}
		step, previous = brentStep(a, b, c, fa, fb, fc, step, previous, half, tol)
		a, fa = b, fb
		if math.Abs(step) > tol {
			b += step
		} else {
			b += math.Copysign(tol, half)
		}
		fb = f(b)
		if math.IsNaN(fb) {
			return 0, fmt.Errorf("f(%g) is not a number: %w", b, ErrNoRoot)
		}
	}
	return 0, fmt.Errorf("between %g and %g: %w", lo, hi, ErrNoRoot)
}

// epsilon is the distance from 1 to the next float64.
const epsilon = 0x1p-52

// brentStep returns the next step from b and the one it replaces: interpolation
// (inverse quadratic, or secant where only two points are known) when that
// falls well inside the bracket and shrinks fast enough, otherwise bisection.
func brentStep(a, b, c, fa, fb, fc, step, previous, half, tol float64) (next, replaced float64) {
	finite := !math.IsInf(fa, 0) && !math.IsInf(fb, 0) && !math.IsInf(fc, 0)
	if math.Abs(previous) < tol || math.Abs(fa) <= math.Abs(fb) || !finite {
		return half, half
	}
	var p, q float64
	s := fb / fa
	if a == c {
		p, q = 2*half*s, 1-s
	} else {
		u, r := fa/fc, fb/fc
		p = s * (2*half*u*(u-r) - (b-a)*(r-1))
		q = (u - 1) * (r - 1) * (s - 1)
	}
	if p > 0 {
		q = -q
	}
	p = math.Abs(p)
	if 2*p < math.Min(3*half*q-math.Abs(tol*q), math.Abs(previous*q)) {
		return p / q, step
	}
	return half, half
}

// ErrNoSignChange: an increasing function kept one sign up to the limit of the search.
var ErrNoSignChange = errors.New("the function keeps its sign as far as it was searched")

// IncreasingRoot returns the root of an increasing f on the line, searching
// outwards from start in steps of step, 2·step, 4·step, ... (step > 0) until the
// sign changes, then by Root with absTol. It looks no further than limit from
// start.
//
// Errors: ErrNoSignChange, and those of Root.
func IncreasingRoot(f func(float64) float64, start, step, limit, absTol float64) (float64, error) {
	f0 := f(start)
	if math.IsNaN(f0) {
		return 0, fmt.Errorf("f(%g) is not a number: %w", start, ErrNoRoot)
	}
	if f0 == 0 {
		return start, nil
	}
	if f0 > 0 {
		step = -step
	}
	from := start
	for distance := math.Abs(step); ; distance *= 2 {
		distance = math.Min(distance, limit)
		to := start + math.Copysign(distance, step)
		ft := f(to)
		if math.IsNaN(ft) {
			return 0, fmt.Errorf("f(%g) is not a number: %w", to, ErrNoRoot)
		}
		if (ft > 0) != (f0 > 0) {
			return Root(f, math.Min(from, to), math.Max(from, to), absTol)
		}
		if distance == limit {
			return 0, fmt.Errorf("between %g and %g: %w", start, to, ErrNoSignChange)
		}
		from = to
	}
}

// IncreasingRootBySlope is IncreasingRoot for an f that gives its slope as well, which may be a rough one: Newton's steps, as long as they
// shrink fast enough and stay inside what brackets the root, else halves of that. It ends with a step of Newton's of absTol or less; where the
// slope is exact the error is then about the square of that step. f is called once a step.
//
// Errors: as IncreasingRoot. Source: Press et al. (2007), Numerical Recipes, 3rd ed., section 9.4.
func IncreasingRootBySlope(f func(float64) (value, slope float64), start, step, limit, absTol float64) (float64, error) {
	low, high := math.Inf(-1), math.Inf(1) // f is below 0 at the one and above at the other
	x, longest := start, math.Inf(1)
	for range maxRootSteps {
		value, slope := f(x)
		switch {
		case math.IsNaN(value):
			return 0, fmt.Errorf("f(%g) is not a number: %w", x, ErrNoRoot)
		case value == 0:
			return x, nil
		case value < 0:
			low = x
		default:
			high = x
		}
		next, least := x-value/slope, 4*epsilon*math.Abs(x)
		switch {
		case math.Abs(next-x) <= absTol+least:
			return next, nil
		case high-low <= least:
			return x, nil
		case high-low < math.Inf(1):
			if !(next > low && next < high && math.Abs(next-x) < longest) {
				next = low + (high-low)/2
			}
			longest = math.Abs(next-x) / 2
		default:
			if !(math.Abs(next-x) < step && (next > x) == (value < 0)) {
				next = x + math.Copysign(step, -value)
			}
			step *= 2
			if next = max(start-limit, min(start+limit, next)); next == x && math.Abs(x-start) == limit {
				return 0, fmt.Errorf("between %g and %g: %w", start, x, ErrNoSignChange)
			}
		}
		x = next
	}
	return 0, fmt.Errorf("near %g: %w", x, ErrNoRoot)
}
