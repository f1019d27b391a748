package glmm

import "math"

// The negative binomial with dispersion α = δ². A row of count y, exposure included in
// its mean μ, has with x = αμ the log-likelihood
//
//	y·ln μ - (y + 1/α)·ln(1+x) + Σ ln(1+jα) over j < y - ln y!
//
// so α → 0 is the Poisson likelihood, nothing in it overflows on the way, and δ = 0 is an
// ordinary stationary point, like an SD of 0 (Lawless 1987, Can. J. Stat. 15:209).

// countRun is how many rows have a count of y.
type countRun struct{ y, rows float64 }

// constant is what the log-likelihood holds besides the terms y·ζ - n·K(ζ), and its
// derivative in α; the derivative leaves out -Σy/α, which dispersionSlope holds.
func (p *problem) constant(alpha float64) (value, slope float64) {
	value = p.fixedTerms
	if alpha == 0 {
		return value, 0
	}
	total := 0.0
	for _, c := range p.counts {
		v, s := logRising(c.y, alpha)
		value += c.rows * v
		slope += c.rows * s
		total += c.rows * c.y
	}
	return value - total*math.Log(alpha), slope
}

// logRising returns Σ ln(1+jα) over j = 0..y-1 and its derivative in α.
func logRising(y, alpha float64) (value, slope float64) {
	const direct = 64
	for j := 1.0; j < min(y, direct); j++ {
		value += math.Log1p(j * alpha)
		slope += j / (1 + j*alpha)
	}
	if y <= direct {
		return value, slope
	}
	// The rest by Euler and Maclaurin's formula (Abramowitz & Stegun 23.1.30): the
	// integral, the ends and two corrections; from 64 on the next is below 1e-14.
	// Primitive of ln(1+αx): (x + 1/α)·ln(1+αx) - x.
	a, b := float64(direct), y-1
	ends := func(x float64) (f, fSlope, d1, d1Slope, d3, d3Slope float64) {
		q := 1 / (1 + alpha*x)
		return math.Log1p(alpha * x), x * q,
			alpha * q, q * q,
			2 * alpha * alpha * alpha * q * q * q, 6 * alpha * alpha * q * q * q * q
	}
	fa, fas, d1a, d1as, d3a, d3as := ends(a)
	fb, fbs, d1b, d1bs, d3b, d3bs := ends(b)
	width := b - a
	// ∫ ln(1+αx) from a to b, as differences that stay exact for small α: with
	// r = α(b-a)/(1+αa) it is (b-a)·ln(1+αa) + ((1+αa)/α)·[(1+r)ln(1+r) - r].
	base := 1 + alpha*a
	r := alpha * width / base
	value += width*fa + base/alpha*entropyTerm(r)
	value += (fa+fb)/2 + (d1b-d1a)/12 - (d3b-d3a)/720
	// ∫ x/(1+αx) = [αx - ln(1+αx)]/α², again from the difference.
	slope += integralOfRatio(a, b, alpha)
	slope += (fas+fbs)/2 + (d1bs-d1as)/12 - (d3bs-d3as)/720
	return value, slope
}

// entropyTerm is (1+r)·ln(1+r) - r, by its series where that loses digits.
func entropyTerm(r float64) float64 {
	if r > .02 {
		return (1+r)*math.Log1p(r) - r
	}
	// Σ (-1)^k r^k / (k(k-1)) over k ≥ 2.
	sum, power := 0.0, r
	for k := 2.0; k < 12; k++ {
		power *= -r
		sum -= power / (k * (k - 1))
	}
	return sum
}

// integralOfRatio is ∫ x/(1+αx) dx from a to b.
func integralOfRatio(a, b, alpha float64) float64 {
	primitive := func(x float64) float64 { // [αx - ln(1+αx)]/α²
		t := alpha * x
		if t > .02 {
			return (t - math.Log1p(t)) / (alpha * alpha)
		}
		sum, power := 0.0, -x
		for k := 2.0; k < 12; k++ { // Σ (-1)^k α^(k-2) x^k / k over k ≥ 2
			power *= -x
			sum += power / k
			power *= alpha
		}
		return sum
	}
	return primitive(b) - primitive(a)
}

// excess is ln(1+x) - x/(1+x) for x ≥ 0, by its series where that loses digits.
func excess(x float64) float64 {
	if x > .02 {
		return math.Log1p(x) - x/(1+x)
	}
	return x * x * (1./2 - x*(2./3-x*(3./4-x*(4./5-x*(5./6-x*(6./7-x*(7./8)))))))
}

// dispersionSlope is the derivative in α of a row's y·ζ - n·K(ζ) less its share of
// Σy·ln α, at odds x = αμ.
func dispersionSlope(c *cell, x, alpha float64) float64 {
	return c.n/(alpha*alpha)*excess(x) - c.y/alpha*(x/(1+x))
}

// dispersionSlopes are the derivatives in α of a row's residual and weight.
func dispersionSlopes(c *cell, x, alpha float64) (residual, weight float64) {
	q := 1 / (1 + x)
	p := x * q
	m := p / alpha
	return c.n*m*m - c.y*m*q, -2*c.n*m*m*q + c.y*m*q*(1-2*p)
}
