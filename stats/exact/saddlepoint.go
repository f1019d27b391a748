package exact

import (
	"math"

	"evenrig/stats/num"
)

// mostParts is how many independent parts are drawn again at random, and quickWork how many products it may take to go through every
// order of more of them; else the tail comes from their joint cumulant generating function.
const (
	mostParts = 2_000
	quickWork = mostWork / 8
)

// tooMany reports whether there are so many parts that neither is done.
func (r randomisation) tooMany() bool {
	if len(r.parts) <= mostParts {
		return false
	}
	span := r.span()
	if span == 0 {
		return true
	}
	work, size := 0.0, 1.0
	for _, part := range r.parts {
		work += size * float64(len(part))
		size += 2 * part[len(part)-1].value / span
	}
	return work > quickWork
}

// saddlepoint returns P(|T| >= |seen|) by the saddlepoint approximation of a tail of Lugannani & Rice (1980, Advances in Applied
// Probability 12:475-490), on a lattice with the second continuity correction of Daniels (1987, International Statistical Review
// 55:37-48). The relative error falls as one over the number of parts, wherever in the tail. For randomisation tests: Robinson
// (1982), JRSS B 44:91-101. Cost: some ten passes over the parts.
func (r randomisation) saddlepoint() float64 {
	span := r.span()
	bar := math.Abs(r.seen) - span/2 // half a step below the value, which counts
	if bar <= 0 {
		return 1
	}
	tilt, err := num.IncreasingRoot(func(s float64) float64 {
		_, slope, _ := r.cumulants(s)
		return slope - bar
	}, 0, bar/(r.stdDev*r.stdDev), 1e3*bar/(r.stdDev*r.stdDev), 1e-15*bar)
	if err != nil {
		return 0 // next to the largest value that there is, whose chance is nil
	}
	value, _, curvature := r.cumulants(tilt)
	w := math.Sqrt(2 * (tilt*bar - value))
	u := tilt * math.Sqrt(curvature)
	if span > 0 {
		u = 2 / span * math.Sinh(tilt*span/2) * math.Sqrt(curvature)
	}
	upper := num.NormalTwoSided(w) / 2
	if w > 1e-4 { // nearer to the middle the parts' symmetry leaves nothing to correct
		upper += math.Exp(-w*w/2) / math.Sqrt(2*math.Pi) * (1/u - 1/w)
	}
	return math.Min(1, 2*upper)
}

// cumulants returns ln E e^{sT} and its first two derivatives.
func (r randomisation) cumulants(s float64) (value, slope, curvature float64) {
	for _, part := range r.parts {
		shift := math.Abs(s) * part[len(part)-1].value // symmetric: the largest exponent
		var m0, m1, m2 float64
		for _, x := range part {
			w := x.p * math.Exp(s*x.value-shift)
			m0 += w
			m1 += w * x.value
			m2 += w * x.value * x.value
		}
		m1, m2 = m1/m0, m2/m0
		value += math.Log(m0) + shift
		slope += m1
		curvature += m2 - m1*m1
	}
	return value, slope, curvature
}

// span is the step of the lattice on which T lies, 0 where there is none. Off the lattice of whole numbers all steps may still be
// alike, as when every angler has one block.
func (r randomisation) span() float64 {
	var step int64
	alike := 0.0
	for _, part := range r.parts {
		for i := range part[1:] {
			d := part[i+1].value - part[i].value
			if r.unit != offLattice {
				step = greatestDivisor(step, int64(math.Round(d)))
				continue
			}
			if alike == 0 {
				alike = d
			}
			if math.Abs(d-alike) > 1e-9*alike {
				return 0
			}
		}
	}
	if r.unit != offLattice {
		return float64(step)
	}
	return alike
}
