package meta

import (
	"math"
	"slices"

	"evenrig/stats/num"
)

// jackknife estimates τ² without each effect in turn, in time proportional to k
// for all of them together. The sums of all effects are taken once at each point
// of the grid; one effect's own terms are then subtracted. Between two grid points
// the sums are analytic in τ² (their poles lie at -v < 0), so that a polynomial
// through 20 Chebyshev points of the piece gives them to the last digits: the
// error falls as 7^-20 where the ends of a piece differ by a factor of 10^¼. A
// piece is built when a search first enters it; the searches of nearly all effects
// end in the same one or two.
//
// Subtraction loses digits where one effect makes up most of a sum. Where a sum
// falls below a sixteenth, or one of the rest has nearly all its weight, the jackknife gives up on that effect, and it is refitted
// from the rest directly; in any sum that can happen to a few effects only.
type jackknife struct {
	effects   []Effect
	estimator Estimator
	absTol    float64
	points    []float64 // the grid of τ²
	totals    []moments // at points
	pieces    []*piece  // pieces[j] between points j and j+1; nil until used
}

// moments are sums over all effects at one τ², with d = y - centre.
type moments struct {
	centre                    float64
	w, w2, wd, w2d, wd2, w2d2 float64 // Σw, Σw², Σwd, Σw²d, Σwd², Σw²d²
	logs                      float64 // Σ ln(v+τ²)
}

func newJackknife(effects []Effect, estimator Estimator) *jackknife {
	spread, least, most := scales(effects)
	j := &jackknife{effects: effects, estimator: estimator, absTol: 1e-14 * least, points: []float64{0}}
	if estimator != Common && spread > 0 {
		j.points = grid(least, math.Max(most, spread*spread))
	}
	j.totals = make([]moments, len(j.points))
	ordered := heaviestFirst(effects)
	for i, tau2 := range j.points {
		j.totals[i] = measure(effects, tau2, weigh(ordered, tau2).mu)
	}
	j.pieces = make([]*piece, len(j.points)-1)
	return j
}

func measure(effects []Effect, tau2, centre float64) moments {
	m := moments{centre: centre}
	for _, e := range effects {
		w, d := 1/(e.V+tau2), e.Y-centre
		m.w += w
		m.w2 += w * w
		m.wd += w * d
		m.w2d += w * w * d
		m.wd2 += w * d * d
		m.w2d2 += w * w * d * d
	}
	m.logs = sumOfLogs(effects, tau2)
	return m
}

// without returns τ² estimated without effect i, and the sums of the rest there.
// ok is false where subtraction would have lost too many digits.
func (j *jackknife) without(i int) (tau2 float64, s sums, ok bool) {
	ok = true
	at := func(tau2 float64) sums {
		rest, kept := j.at(tau2).subtract(j.effects[i], tau2)
		ok = ok && kept
		return rest
	}
	df := float64(len(j.effects) - 2)
	var err error
	switch {
	case len(j.points) == 1: // Common, or all estimates equal: τ² is 0
	case j.estimator == DL:
		tau2 = at(0).momentTau2(df)
	case j.estimator == PM:
		tau2, err = j.qRoot(func(tau2 float64) float64 { return at(tau2).q - df })
	default:
		logs := func(tau2 float64) float64 { return j.at(tau2).logs - math.Log(j.effects[i].V+tau2) }
		tau2, err = highest(j.points, j.absTol, j.estimator == REML, at, logs)
	}
	if !ok || err != nil {
		return 0, sums{}, false
	}
	s = at(tau2)
	return tau2, s, ok
}

// qRoot returns the root of a decreasing excess that is bracketed by the grid, or
// 0 where it is nowhere positive.
func (j *jackknife) qRoot(excess func(float64) float64) (float64, error) {
	if excess(0) <= 0 {
		return 0, nil
	}
	for i, to := range j.points[1:] {
		if excess(to) <= 0 {
			return num.Root(excess, j.points[i], to, j.absTol)
		}
	}
	return 0, num.ErrNoBracket
}

// at returns the moments of all effects at a τ² within the grid.
func (j *jackknife) at(tau2 float64) moments {
	i, found := slices.BinarySearch(j.points, tau2)
	if found {
		return j.totals[i]
	}
	if j.pieces[i-1] == nil {
		j.pieces[i-1] = newPiece(j.effects, j.points[i-1], j.points[i], j.totals[i-1].centre)
	}
	return j.pieces[i-1].at(tau2)
}

// subtract returns the sums about the mean of all effects but e. ok is false if a
// sum fell below a sixteenth, so that more than four binary digits were lost, or if
// Σw - Σw²/Σw of the rest did.
func (m moments) subtract(e Effect, tau2 float64) (s sums, ok bool) {
	const lost = 1. / 16
	w, d := 1/(e.V+tau2), e.Y-m.centre
	w2, wd, w2d := m.w2-w*w, m.wd-w*d, m.w2d-w*w*d
	s.w = m.w - w
	mean := wd / s.w
	s.mu = m.centre + mean
	s.q = m.wd2 - w*d*d - mean*wd
	s.w2r2 = m.w2d2 - w*w*d*d - 2*mean*w2d + mean*mean*w2
	s.trace = s.w - w2/s.w
	s.logDet = math.Log(s.w)
	ok = s.w > lost*m.w && w2 > lost*m.w2 && s.q > lost*m.wd2 && s.w2r2 > lost*m.w2d2 && s.trace > lost*s.w
	return s, ok
}

// piece interpolates moments between two points of the grid.
type piece struct {
	centre float64
	node   [pieceNodes]float64
	value  [pieceNodes][momentFields]float64
}

const (
	pieceNodes   = 20
	momentFields = 7
)

func newPiece(effects []Effect, from, to, centre float64) *piece {
	p := &piece{centre: centre}
	for n := range p.node {
		p.node[n] = (from+to)/2 - (to-from)/2*math.Cos((float64(n)+0.5)*math.Pi/pieceNodes)
		m := measure(effects, p.node[n], centre)
		p.value[n] = [momentFields]float64{m.w, m.w2, m.wd, m.w2d, m.wd2, m.w2d2, m.logs}
	}
	return p
}

// at interpolates by the barycentric formula, which is stable at these points.
// Source: Berrut & Trefethen (2004), SIAM Review 46:501-517, section 5.
func (p *piece) at(tau2 float64) moments {
	var total [momentFields]float64
	var weights float64
	for n, node := range p.node {
		if tau2 == node {
			total, weights = p.value[n], 1
			break
		}
		c := math.Sin((float64(n)+0.5)*math.Pi/pieceNodes) / (tau2 - node)
		if n%2 == 1 {
			c = -c
		}
		weights += c
		for f, v := range p.value[n] {
			total[f] += c * v
		}
	}
	for f := range total {
		total[f] /= weights
	}
	return moments{p.centre, total[0], total[1], total[2], total[3], total[4], total[5], total[6]}
}
