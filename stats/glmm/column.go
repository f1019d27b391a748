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
func (e *evaluator) addColumn(c *cell, row *rowState, base, slope float64, r rule, powers, f, residuals, slopes []float64) {
	nodes := r.nodes
	f, residuals, powers = f[:len(nodes)], residuals[:len(nodes)], powers[:len(nodes)]
	y, n := row.y, row.n
	switch far := math.Abs(base) > farLinear || math.Abs(slope)*r.largest > farLinear; {
	case far:
		e.addFarColumn(c, row, base, slope, nodes, f, residuals, slopes)
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
func (e *evaluator) addFarColumn(c *cell, row *rowState, base, slope float64, nodes, f, residuals, slopes []float64) {
	for i, t := range nodes {
		zeta := min(base+slope*t, 600)
		k, mean, _, _ := e.derivatives(zeta)
		if !e.exponential {
			k, mean, _, _ = e.derivatives(base + slope*t)
		}
		f[i] -= row.n * k
		residuals[i] = row.y - row.n*mean
		if e.alpha > 0 {
			slopes[i] = dispersionSlope(c, math.Exp(zeta), e.alpha)
		}
	}
}
