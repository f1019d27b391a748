package glmm

import "math"

// exponential is e^x, for x below 700: 2^m times a tabulated 2^(j/expKnots) times a short
// Taylor series, within 4e-16 relative. It is 0 below the smallest normal number, NaN for
// NaN. The quadrature takes it once a point, where the library's takes three times as long.
func exponential(x float64) float64 {
	if !(x > -708) {
		if x != x {
			return x
		}
		return 0
	}
	rounded := x*(expKnots/math.Ln2) + roundMagic
	k := rounded - roundMagic
	n := int32(uint32(math.Float64bits(rounded)))
	r := x - k*ln2High - k*ln2Low // ln2High has trailing zeros: the first product is exact
	knot := expTable[n&(expKnots-1)]
	scale := math.Float64frombits(uint64(n>>expBits+1023) << 52)
	return scale * (knot + knot*(r*(1+r*(1./2+r*(1./6+r*(1./24))))))
}

const (
	expBits  = 7
	expKnots = 1 << expBits
	ln2High  = 0x1.62e42fefp-1 / expKnots
	ln2Low   = (math.Ln2 - 0x1.62e42fefp-1) / expKnots
	// Adding it to a number rounds that to an integer, which stands in the lowest bits.
	roundMagic = 3 << 51
)

var expTable = func() (table [expKnots]float64) {
	for j := range table {
		table[j] = math.Exp2(float64(j) / expKnots)
	}
	return table
}()

// logKnot is a knot c of the logarithm: its inverse and its logarithm.
type logKnot struct{ inverse, log float64 }

const (
	logBits  = 10
	logKnots = 1 << logBits
)

var logTable = func() (table [logKnots]logKnot) {
	for j := range table {
		c := 1 + (float64(j)+.5)/logKnots
		table[j] = logKnot{1 / c, -math.Log(1 / c)}
	}
	return table
}()

// logOver is ln x for a finite x ≥ 1, within 2e-16 of 1 or of the result: the exponent,
// a knot near the fraction, and the series of ln(1+r) for |r| < 2^-11.
func logOver(x float64) float64 {
	bits := math.Float64bits(x)
	knot := &logTable[bits>>(52-logBits)&(logKnots-1)]
	r := math.Float64frombits(bits&(1<<52-1)|1023<<52)*knot.inverse - 1
	return float64(int(bits>>52)-1023)*math.Ln2 + knot.log + r*(1-r*(1./2-r*(1./3-r*(1./4))))
}

// logOnePlus is ln(1+x) for a finite x ≥ 0, with full relative accuracy near 0.
func logOnePlus(x float64) float64 {
	if x < 1./512 {
		return x * (1 - x*(1./2-x*(1./3-x*(1./4-x*(1./5-x*(1./6))))))
	}
	return logOver(1 + x)
}
