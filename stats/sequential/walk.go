package sequential

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/integrate/quad"
)

// Resolution of the integration. Halving the panels moves no boundary of up to 20 looks by 1e-11.
const (
	panelNodes = 16   // Gauss-Legendre nodes in a panel
	panelSDs   = 3.0  // a panel's width in SDs of the narrower neighbouring step
	reach      = 12.0 // SDs from its mean beyond which a look's score is left out
	bandSDs    = 13.0 // SDs beyond which a step from one node to another is left out
)

// interval is a part of the score scale, lo < hi.
type interval struct{ lo, hi float64 }

// walk is the score B(t) of a trial that has gone on so far: a sub-density held as
// masses at the nodes x (ascending), with drift δ per unit of t.
type walk struct {
	t     float64
	drift float64
	x     []float64
	mass  []float64
}

// begin returns the walk at t = 0: B = 0 for certain.
func begin(drift float64) walk { return walk{drift: drift, x: []float64{0}, mass: []float64{1}} }

// above returns the chance of still going on before t and then B(t) >= limit.
func (w walk) above(t, limit float64) float64 {
	sd := math.Sqrt(t - w.t)
	from := limit - w.drift*(t-w.t)
	sum := 0.0
	for i, x := range w.x {
		sum += w.mass[i] * upperNormal((from-x)/sd)
	}
	return sum
}

// below is above for B(t) <= limit.
func (w walk) below(t, limit float64) float64 {
	sd := math.Sqrt(t - w.t)
	from := limit - w.drift*(t-w.t)
	sum := 0.0
	for i, x := range w.x {
		sum += w.mass[i] * upperNormal((x-from)/sd)
	}
	return sum
}

// step returns the walk at t for those who end there inside one of the intervals
// (ascending, apart). next is the time of the look after it, t < next: the nodes are
// laid close enough for the step to it as well.
func (w walk) step(t, next float64, inside []interval) walk {
	sd := math.Sqrt(t - w.t)
	centre, spread := w.drift*t, reach*math.Sqrt(t)
	out := walk{t: t, drift: w.drift}
	var weights []float64
	for _, part := range inside {
		lo, hi := math.Max(part.lo, centre-spread), math.Min(part.hi, centre+spread)
		if lo >= hi {
			continue
		}
		out.x, weights = panels(out.x, weights, lo, hi, panelSDs*math.Min(sd, math.Sqrt(next-t)))
	}
	out.mass = make([]float64, len(out.x))
	shift := w.drift * (t - w.t)
	scale := 1 / (sd * math.Sqrt(2*math.Pi))
	for i, y := range out.x {
		from := sort.SearchFloat64s(w.x, y-shift-bandSDs*sd)
		to := sort.SearchFloat64s(w.x, y-shift+bandSDs*sd)
		sum := 0.0
		for j := from; j < to; j++ {
			z := (y - shift - w.x[j]) / sd
			sum += w.mass[j] * math.Exp(-z*z/2)
		}
		out.mass[i] = sum * scale * weights[i]
	}
	return out
}

// panels appends Gauss-Legendre nodes and weights over lo..hi, in panels no wider than width.
func panels(x, weights []float64, lo, hi, width float64) (nodes, nodeWeights []float64) {
	n := int(math.Ceil((hi - lo) / width))
	unit, unitWeights := make([]float64, panelNodes), make([]float64, panelNodes)
	quad.Legendre{}.FixedLocations(unit, unitWeights, 0, 1)
	width = (hi - lo) / float64(n)
	for p := range n {
		for i, u := range unit {
			x = append(x, lo+(float64(p)+u)*width)
			weights = append(weights, unitWeights[i]*width)
		}
	}
	return x, weights
}

// upperNormal returns 1 - Φ(z) with full relative accuracy.
func upperNormal(z float64) float64 { return math.Erfc(z/math.Sqrt2) / 2 }
