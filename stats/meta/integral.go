package meta

import (
	"fmt"
	"math"

	"evenrig/stats/exact"
	"evenrig/stats/num"
)

// conditional is the likelihood of the conditional mixed model on the scale of the
// log odds ratio: λ_i is normal around centre with SD sd. Equal tables are integrated
// once.
type conditional struct {
	tables []cell
	buffer []float64
}

// cell is one angler's count given the margins of its table.
type cell struct {
	distribution num.Hypergeometric
	x            int64
	anglers      float64 // with this table
}

// newConditional returns the likelihood of the informative tables, k in number.
// Errors: exact.ErrCount; ErrLargeTable; ErrManyTerms.
func newConditional(tables []exact.Table) (likelihood *conditional, k int, err error) {
	likelihood = &conditional{}
	place, terms := map[[4]int64]int{}, 0
	for i, t := range tables {
		if err := t.Validate(); err != nil {
			return nil, 0, fmt.Errorf("table %d: %w", i+1, err)
		}
		if t.Total() > MaxTable {
			return nil, 0, fmt.Errorf("table %d has %d: %w", i+1, t.Total(), ErrLargeTable)
		}
		if !t.Informative() {
			continue
		}
		k++
		key := [4]int64{t.A, t.B, t.C, t.D}
		if at, seen := place[key]; seen {
			likelihood.tables[at].anglers++
			continue
		}
		place[key] = len(likelihood.tables)
		distribution, err := num.NewHypergeometric(t.A+t.B, t.C+t.D, t.A+t.D)
		if err != nil {
			return nil, 0, fmt.Errorf("table %d: %w", i+1, err)
		}
		likelihood.tables = append(likelihood.tables, cell{distribution, t.A, 1})
		_, _, weights, _ := distribution.Tilted(0, likelihood.buffer)
		likelihood.buffer = weights
		if terms += len(weights); terms > MaxTerms {
			return nil, 0, fmt.Errorf("%w: %d anglers", ErrManyTerms, len(tables))
		}
	}
	return likelihood, k, nil
}

// bounded reports whether neither end of the line is likeliest.
func (c *conditional) bounded() bool {
	var above, below bool
	for _, t := range c.tables {
		least, most := t.distribution.Support()
		above = above || t.x > least
		below = below || t.x < most
	}
	return above && below
}

// logMass returns ln P_λ(x) and its first two derivatives in λ, x - E(X) and -Var(X).
// Beyond ±200 X is at an end of its range, but for e^-190, and ln P is a line.
func (c *conditional) logMass(t *cell, lambda float64) (value, first, second float64) {
	const straight = 200
	phi := math.Max(-straight, math.Min(straight, lambda))
	from, mode, weights, total := t.distribution.Tilted(phi, c.buffer)
	c.buffer = weights
	var m1, m2 float64
	for i, w := range weights {
		d := float64(from + int64(i) - mode)
		m1 += w * d
		m2 += w * d * d
	}
	m1, m2 = m1/total, m2/total
	first, second = float64(t.x-mode)-m1, -math.Max(0, m2-m1*m1)
	if i := t.x - from; i >= 0 && i < int64(len(weights)) {
		value = math.Log(weights[i] / total)
	} else {
		value = phi*float64(t.x-mode) + t.distribution.LogMass(t.x) - t.distribution.LogMass(mode) - math.Log(total)
	}
	return value + first*(lambda-phi), first, second
}

// point is the likelihood at one centre and sd, with its derivatives.
type point struct {
	centre, sd      float64
	value           float64
	gradient        float64 // in centre
	slope           float64 // in the variance sd²
	hessian         float64 // in centre
	crossed, across float64 // second derivatives in centre and sd, and in sd twice; 0 at sd = 0
}

// stdErr returns the standard error of the centre by the observed information; at
// sd = 0 the sd is not part of it.
func (p point) stdErr() float64 {
	information := -p.hessian
	if p.sd > 0 {
		information += p.crossed * p.crossed / p.across
	}
	return 1 / math.Sqrt(information)
}

// at evaluates the likelihood. With b = (λ - centre)/sd, s and h the first two
// derivatives of an angler's ln P in λ, and E the mean over λ given the angler's
// count, the derivatives of its marginal log-likelihood are E(s) in centre and E(bs)
// in sd, and the second ones E(h+s²) - E(s)², E(b(h+s²)) - E(s)E(bs) and E(b²(h+s²)) -
// E(bs)² (Louis 1982, JRSS B 44:226-233).
func (c *conditional) at(centre, sd float64) point {
	p := point{centre: centre, sd: sd}
	for i := range c.tables {
		t := &c.tables[i]
		if sd == 0 {
			value, s, h := c.logMass(t, centre)
			p.value += t.anglers * value
			p.gradient += t.anglers * s
			p.hessian += t.anglers * h
			p.slope += t.anglers * (h + s*s) / 2
			continue
		}
		logSum, m := c.integrate(t, centre, sd)
		p.value += t.anglers * logSum
		p.gradient += t.anglers * m.s
		p.slope += t.anglers * m.bs / (2 * sd)
		p.hessian += t.anglers * (m.g - m.s*m.s)
		p.crossed += t.anglers * (m.bg - m.s*m.bs)
		p.across += t.anglers * (m.bbg - m.bs*m.bs)
	}
	return p
}

// means are those of s, bs, g = h+s², bg and b²g over an angler's λ given its count.
type means struct{ s, bs, g, bg, bbg float64 }

// integrate returns the logarithm of ∫P_λ(x)·φ((λ-centre)/sd)/sd dλ, and means.
//
// The rule is the trapezoidal one on the whole line, from the integrand's mode
// outwards until its terms, which fall on either side because it is log-concave,
// are negligible. For an analytic integrand its error falls exponentially with
// 1/step (Trefethen & Weideman 2014, SIAM Review 56:385-458). X is a sum of most -
// least independent Bernoulli variables, each of odds proportional to e^λ (Kou &
// Ying 1996, Statistica Sinica 6:809-829), so that the poles of P lie at ±iπ from
// the line, and nowhere is the integrand more sharply curved than a normal density
// of variance 1/(1/sd² + (most-least)/4). With the step below the error is about
// e^-36 for either; Gauss-Hermite points, however placed, do badly where sd is large
// and P a step.
func (c *conditional) integrate(t *cell, centre, sd float64) (logSum float64, m means) {
	least, most := t.distribution.Support()
	step := math.Min(0.55, 0.74/math.Sqrt(1/(sd*sd)+float64(most-least)/4))
	start := c.mode(t, centre, sd)
	largest, sum := math.Inf(-1), 0.0
	add := func(lambda float64) (logTerm float64) {
		value, s, h := c.logMass(t, lambda)
		b := (lambda - centre) / sd
		logTerm = value - b*b/2
		if logTerm > largest { // carry over what was summed so far
			shrink := math.Exp(largest - logTerm)
			largest = logTerm
			sum *= shrink
			m = means{m.s * shrink, m.bs * shrink, m.g * shrink, m.bg * shrink, m.bbg * shrink}
		}
		w, g := math.Exp(logTerm-largest), h+s*s
		sum += w
		m.s += w * s
		m.bs += w * b * s
		m.g += w * g
		m.bg += w * b * g
		m.bbg += w * b * b * g
		return logTerm
	}
	const negligible = 42 // e^-42 is 6e-19
	add(start)
	for _, direction := range []float64{-1, 1} {
		for k := 1.0; add(start+direction*k*step) > largest-negligible; k++ {
		}
	}
	m = means{m.s / sum, m.bs / sum, m.g / sum, m.bg / sum, m.bbg / sum}
	return largest + math.Log(sum*step/(sd*math.Sqrt(2*math.Pi))), m
}

// mode returns the λ at which ln P_λ(x) - (λ-centre)²/2sd² is highest, to a tenth of
// the integrand's width: the rule may start anywhere near.
func (c *conditional) mode(t *cell, centre, sd float64) float64 {
	lambda, _ := fallingRoot(centre, func(lambda float64) (value, slope float64, near bool) {
		_, s, h := c.logMass(t, lambda)
		value, slope = s-(lambda-centre)/(sd*sd), h-1/(sd*sd)
		return value, slope, math.Abs(value) <= 0.1*math.Sqrt(-slope)
	})
	return lambda
}

// fallingRoot returns the root of a falling function from its value and slope, by
// Newton's method inside the bracket that the signs make; ok is false if f did not
// call any point near within 200 steps.
func fallingRoot(x float64, f func(x float64) (value, slope float64, near bool)) (root float64, ok bool) {
	low, high := math.Inf(-1), math.Inf(1)
	for range 200 {
		value, slope, near := f(x)
		if near {
			return x, true
		}
		if value > 0 {
			low = x
		} else {
			high = x
		}
		const farthest = 2 // a step, in λ: P may be flat where the slope is taken
		next := x + math.Max(-farthest, math.Min(farthest, -value/slope))
		if !(next > low && next < high) {
			next = (low + high) / 2
		}
		if next == x || math.IsNaN(next) || math.IsInf(next, 0) {
			return x, false
		}
		x = next
	}
	return x, false
}
