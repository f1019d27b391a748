package exact

import "math"

// This file finds the distribution of S = ΣX_i over strata under a common
// log odds ratio φ.
//
// Why not by convolution alone: with 10^6 fish in a cell a stratum's
// distribution has 10^4 terms that matter, and some hundred strata would take 10^11
// multiplications. Instead the characteristic functions of the strata, each a
// polynomial in e^{it}, are multiplied at equally spaced t and the lattice
// distribution is recovered by the finite Fourier sum
//
//	P(S = x) = 1/M Σ_j e^{-i t_j x} Π_i E e^{i t_j X_i},  t_j = 2πj/M,
//
// which is exact if S lies in a window of M points. Two bounds make it cheap
// without giving up accuracy. Every X_i is distributed as a sum of independent
// coins (Vatutin & Mikhailov 1982, Theory of Probability and its Applications
// 27:734-743, for φ = 0; tilting keeps the real roots of the generating function), so with σ² = Var S:
// Bernstein's inequality P(|S-μ| > r) <= 2exp(-r²/(2σ²+2r/3)) gives the window, and |E e^{itS}| <=
// exp(-σ²(1-cos t)) says from which t on the sum may stop. About 30 values of t
// are left for any σ above 10; the cost is that number times the terms of all strata.
//
// Accuracy: about 1e-15 of the largest probability, in every point of the
// window. So probabilities near μ keep some 13 digits and far ones lose them:
// callers tilt φ until μ is where they look, and go back to another φ through
// P_φ'(s) = P_φ(s)·exp((φ'-φ)s + K(φ) - K(φ')), which is exact.

// givenUp is minus the logarithm of the probability given up at either end of
// the window, and of the size of the terms given up in the Fourier sum: e^-42 = 6e-19.
const givenUp = 42

// strata is the set of informative strata with the sum that was seen. Offsets
// are counted from that sum: S = seen + offset.
type strata struct {
	each        []stratum
	least, most int64 // smallest (<= 0) and largest (>= 0) possible offset
	buffer      []float64
	tilts       map[float64]tilt // those found so far
}

func newStrata(each []stratum) *strata {
	all := &strata{each: each, tilts: map[float64]tilt{}}
	for _, s := range each {
		all.least += s.lo - s.x
		all.most += s.hi - s.x
	}
	return all
}

// weights is s.Tilted with the shared buffer: the slice is good until the next call.
func (a *strata) weights(s *stratum, phi float64) (first, mode int64, w []float64, total float64) {
	first, mode, w, total = s.Tilted(phi, a.buffer)
	a.buffer = w
	return first, mode, w, total
}

// tilt is what one pass over all terms tells of S under a φ.
type tilt struct {
	logNormaliser  float64 // K(φ) - φ·seen, K the cumulant generating function of S under φ = 0
	mean, variance float64 // of the offset
}

// under returns the tilt by φ.
func (a *strata) under(phi float64) tilt {
	t, ok := a.tilts[phi]
	if ok {
		return t
	}
	for i := range a.each {
		s := &a.each[i]
		first, mode, w, total := a.weights(s, phi)
		var m1, m2 float64
		for i, weight := range w {
			d := float64(first + int64(i) - mode)
			m1 += weight * d
			m2 += weight * d * d
		}
		m1, m2 = m1/total, m2/total
		t.mean += float64(mode-s.x) + m1
		t.variance += math.Max(0, m2-m1*m1)
		t.logNormaliser += s.logNormaliser(phi, mode, total)
	}
	a.tilts[phi] = t
	return t
}

func (a *strata) logNormaliser(phi float64) float64 { return a.under(phi).logNormaliser }

// logNullAtEnd returns ln P_0(S = the sum at which every stratum is at its
// lowest, or at its highest, value): there is only one way to get it.
func (a *strata) logNullAtEnd(highest bool) float64 {
	var sum float64
	for _, s := range a.each {
		x := s.lo
		if highest {
			x = s.hi
		}
		sum += s.LogMass(x)
	}
	return sum
}

// lattice is the distribution of S under one φ over a window of offsets.
type lattice struct {
	phi, logNormaliser float64 // the latter as strata.logNormaliser
	first              int64   // offset of p[0]
	p                  []float64
	peak               float64 // largest of p
}

// at returns the distribution of S under φ.
func (a *strata) at(phi float64) lattice {
	t := a.under(phi)
	reach := givenUp/3. + math.Sqrt(givenUp*givenUp/9.+2*givenUp*t.variance) // Bernstein's r
	first := max(a.least, int64(math.Floor(t.mean-reach)))
	last := min(a.most, int64(math.Ceil(t.mean+reach)))
	l := lattice{phi: phi, logNormaliser: t.logNormaliser, first: first}
	l.p = a.invert(phi, t.variance, first, int(last-first)+1)
	for i, p := range l.p {
		l.p[i] = math.Max(0, p) // rounding leaves ±1e-17 where there is nothing
		l.peak = math.Max(l.peak, p)
	}
	return l
}

// invert returns P_φ(offset) for size offsets from first on.
func (a *strata) invert(phi, variance float64, first int64, size int) []float64 {
	circle := make([]complex128, size)
	for k := range circle {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(size))
		circle[k] = complex(cos, sin)
	}
	frequencies := 1
	for frequencies <= size/2 && variance*(1-real(circle[frequencies])) <= givenUp {
		frequencies++
	}
	product := make([]complex128, frequencies)
	for j := range product {
		product[j] = 1
	}
	shift := first // of the offset that index 0 of the product of polynomials stands for
	for i := range a.each {
		s := &a.each[i]
		start, _, w, total := a.weights(s, phi)
		shift -= start - s.x
		for j := 0; j < len(product); j += 2 {
			next := min(j+1, len(product)-1)
			first, second := polynomials(w, circle[j], circle[next])
			product[j] *= first * complex(1/total, 0)
			if next > j {
				product[next] *= second * complex(1/total, 0)
			}
		}
	}
	turn := int(((shift % int64(size)) + int64(size)) % int64(size))
	p := make([]float64, size)
	for j, f := range product {
		weight := 2 / float64(size) // frequency j and its mirror size-j
		if j == 0 || 2*j == size {
			weight /= 2
		}
		angle := int(int64(j) * int64(turn) % int64(size))
		for x := range p {
			c := circle[angle]
			p[x] += weight * (real(f)*real(c) + imag(f)*imag(c))
			angle += j
			if angle >= size {
				angle -= size
			}
		}
	}
	return p
}

// polynomials returns Σ w[k]·z^k at two z by Horner's rule: each step waits for the one before, but not for the other's.
func polynomials(w []float64, z1, z2 complex128) (at1, at2 complex128) {
	re1, im1, re2, im2 := 0.0, 0.0, 0.0, 0.0
	x1, y1, x2, y2 := real(z1), imag(z1), real(z2), imag(z2)
	for k := len(w) - 1; k >= 0; k-- {
		v := w[k]
		re1, im1 = re1*x1-im1*y1+v, re1*y1+im1*x1
		re2, im2 = re2*x2-im2*y2+v, re2*y2+im2*x2
	}
	return complex(re1, im1), complex(re2, im2)
}
