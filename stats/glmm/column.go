package glmm

import "math"

// A column is a line of quadrature points, one for each node t of a rule, along which a
// row's ζ is base + slope·t. This is where the time of a fit goes: e^ζ is a product of two
// exponentials, one of which the columns of a row share, so a point costs a division and
// a logarithm.

// powers fills e^(slope·t) for each node.
func powers(slope float64, nodes, out []float64) {
	for i, t := range nodes {
		out[i] = exponential(slope * t)
	}
}

const farLinear = 340 // beyond, a product of exponentials may overflow

// addColumn takes n·K of a row off f at each node and stores the row's residuals there,
// and with a dispersion the slopes in it.
func (e *evaluator) addColumn(c *cell, row *rowState, r rule, powers, f, residuals, slopes []float64) {
	nodes, base, slope := r.nodes, row.base, row.slope
	f, residuals, powers = f[:len(nodes)], residuals[:len(nodes)], powers[:len(nodes)]
	y, n := row.y, row.n
	switch far := math.Abs(base) > farLinear || math.Abs(slope)*r.largest > farLinear; {
	case far:
		e.addFarColumn(c, row, nodes, f, residuals, slopes)
	case e.exponential:
		scale := n * exponential(base)
		for i, power := range powers {
			mean := scale * power
			f[i] -= mean
			residuals[i] = y - mean
		}
	case e.alpha > 0:
		scale := exponential(base)
		slopes = slopes[:len(nodes)]
		for i, power := range powers {
			odds := scale * power
			f[i] -= n * logOnePlus(odds)
			residuals[i] = y - n*(odds/(1+odds))
			slopes[i] = dispersionSlope(c, odds, e.alpha)
		}
	default:
		scale := exponential(base)
		for i, power := range powers {
			odds := scale * power
			x := 1 + odds
			residuals[i] = y - n*(odds/x)
			// logOver, written out so that the loop makes no call.
			bits := math.Float64bits(x)
			knot := &logTable[bits>>(52-logBits)&(logKnots-1)]
			d := math.Float64frombits(bits&(1<<52-1)|1023<<52)*knot.inverse - 1
			f[i] -= n * (float64(int(bits>>52)-1023)*math.Ln2 + knot.log + d*(1-d*(1./2-d*(1./3-d*(1./4)))))
		}
	}
}

// addFarColumn is addColumn where e^ζ may overflow. The weight of such a point is nil,
// unless y·ζ and n·K(ζ) cancel, as they do for a row whose fish all took one pattern.
func (e *evaluator) addFarColumn(c *cell, row *rowState, nodes, f, residuals, slopes []float64) {
	for i, t := range nodes {
		zeta := row.base + row.slope*t
		if e.exponential {
			zeta = min(zeta, 600)
		}
		k, mean, _, _ := e.derivatives(zeta)
		f[i] -= row.n * k
		residuals[i] = row.y - row.n*mean
		if e.alpha > 0 {
			slopes[i] = dispersionSlope(c, math.Exp(min(zeta, 600)), e.alpha)
		}
	}
}

// weigh turns f into the points' weights, weight·exp(f - shift), and returns their sum and
// those with t and t². The body of exponential is written out so that the loop makes no
// call.
func weigh(f []float64, shift float64, r rule) (sum, sumT, sumTT float64) {
	nodes, weights := r.nodes[:len(f)], r.weights[:len(f)]
	for i, v := range f {
		x := v - shift
		if !(x > -708) {
			if x == x {
				f[i] = 0
				continue
			}
			return x, x, x
		}
		rounded := x*(expKnots/math.Ln2) + roundMagic
		k := rounded - roundMagic
		n := int32(uint32(math.Float64bits(rounded)))
		d := x - k*ln2High - k*ln2Low
		knot := expTable[n&(expKnots-1)]
		scale := math.Float64frombits(uint64(n>>expBits+1023) << 52)
		w := weights[i] * scale * (knot + knot*(d*(1+d*(1./2+d*(1./6+d*(1./24))))))
		f[i] = w
		t := nodes[i]
		sum += w
		w *= t
		sumT += w
		sumTT += w * t
	}
	return sum, sumT, sumTT
}
