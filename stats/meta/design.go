package meta

import (
	"fmt"
	"math"

	"evenrig/stats/num"
)

// design is a weighted least-squares problem, solved anew for each τ² by
// orthogonalising √w times the columns (modified Gram-Schmidt, each column twice;
// Björck 1967, BIT 7:1-21). The columns are the ones and the given columns
// centred and divided by their SD.
type design struct {
	effects      []Effect
	columns      [][]float64
	mean, spread []float64 // of the given columns; 0 and 1 for the intercept

	// Of the last τ² solved: orthonormal columns Q, the triangle R with Q·R = √w·X,
	// Q'√w·y, and the residuals √w·(y - fitted).
	q          [][]float64
	r          [][]float64
	projection []float64
	residual   []float64
}

// newDesign checks and standardises columns. Errors: ErrColumns.
func newDesign(effects []Effect, columns [][]float64) (*design, error) {
	p, k := len(columns)+1, len(effects)
	d := &design{effects: effects, mean: make([]float64, p), spread: make([]float64, p)}
	d.projection, d.residual = make([]float64, p), make([]float64, k)
	for j := range p {
		d.columns = append(d.columns, make([]float64, k))
		d.q = append(d.q, make([]float64, k))
		d.r = append(d.r, make([]float64, p))
		d.spread[j] = 1
	}
	for i := range k {
		d.columns[0][i] = 1
	}
	for j, column := range columns {
		if err := d.standardise(j+1, column); err != nil {
			return nil, err
		}
	}
	d.orthogonalise(func(int) float64 { return 1 })
	for j := range columns {
		// A standardised column has the length √k; what is left of one that the others
		// make up is rounding.
		if !(d.r[j+1][j+1] > 1e-7*math.Sqrt(float64(k))) {
			return nil, fmt.Errorf("column %d is made up of those before it: %w", j+1, ErrColumns)
		}
	}
	return d, nil
}

func (d *design) standardise(j int, column []float64) error {
	k := len(d.effects)
	if len(column) != k {
		return fmt.Errorf("column %d has %d values for %d estimates: %w", j, len(column), k, ErrColumns)
	}
	for i, x := range column {
		if !(math.Abs(x) <= 1e6) {
			return fmt.Errorf("column %d has %g at estimate %d: %w", j, x, i+1, ErrColumns)
		}
		d.mean[j] += x / float64(k)
	}
	var squares, largest float64
	for i, x := range column {
		d.columns[j][i] = x - d.mean[j]
		squares += d.columns[j][i] * d.columns[j][i]
		largest = math.Max(largest, math.Abs(x))
	}
	d.spread[j] = math.Sqrt(squares / float64(k))
	if !(d.spread[j] > 1e-10*largest && d.spread[j] > 1e-10) {
		return fmt.Errorf("column %d is constant: %w", j, ErrColumns)
	}
	for i := range d.columns[j] {
		d.columns[j][i] /= d.spread[j]
	}
	return nil
}

// df returns k - p.
func (d *design) df() int { return len(d.effects) - len(d.columns) }

// orthogonalise fills q, r, projection and residual with root(i) = √w_i.
func (d *design) orthogonalise(root func(i int) float64) {
	for i, e := range d.effects {
		x := root(i)
		d.residual[i] = x * e.Y
		for j, column := range d.columns {
			d.q[j][i] = x * column[i]
		}
	}
	for j, q := range d.q {
		clear(d.r[j])
		for range 2 {
			for l, earlier := range d.q[:j] {
				d.r[l][j] += removeFrom(q, earlier)
			}
		}
		length := math.Sqrt(dot(q, q))
		d.r[j][j] = length
		for i := range q {
			q[i] /= length
		}
	}
	clear(d.projection)
	for range 2 {
		for j, q := range d.q {
			d.projection[j] += removeFrom(d.residual, q)
		}
	}
}

// removeFrom subtracts from x its part along the unit vector u and returns its length.
func removeFrom(x, u []float64) float64 {
	along := dot(x, u)
	for i := range x {
		x[i] -= along * u[i]
	}
	return along
}

func dot(x, y []float64) float64 {
	var s float64
	for i := range x {
		s += x[i] * y[i]
	}
	return s
}

// solve fits at a τ² and returns the sums about the fitted values.
func (d *design) solve(tau2 float64) sums {
	d.orthogonalise(func(i int) float64 { return 1 / math.Sqrt(d.effects[i].V+tau2) })
	var s sums
	for i, e := range d.effects {
		w := 1 / (e.V + tau2)
		r := d.residual[i]
		s.w += w
		s.q += r * r
		s.w2r2 += w * r * r
		hat := 0.0
		for _, q := range d.q {
			hat += q[i] * q[i]
		}
		s.trace += w * math.Max(0, 1-hat)
	}
	for j := range d.r {
		s.logDet += 2 * math.Log(d.r[j][j])
	}
	return s
}

// tau2 estimates τ². The upper ends: Q(τ²) is at most kR²/(4τ²), R the range of y,
// as without columns; and for τ² >= max(v, kR²/(k-p)) the slope of the likelihood is
// negative, since Σw²(y-fitted)² <= kR²/(4τ⁴) while tr P >= (k-p)/(2τ²).
func (d *design) tau2(estimator Estimator) (float64, error) {
	spread, least, most := scales(d.effects)
	k, df := float64(len(d.effects)), float64(d.df())
	switch estimator {
	case DL:
		return d.solve(0).momentTau2(df), nil
	case PM:
		excess := func(tau2 float64) float64 { return d.solve(tau2).q - df }
		if excess(0) <= 0 {
			return 0, nil
		}
		return num.Root(excess, 0, k*spread*spread/(4*df), 1e-14*least)
	case REML, ML:
		points := grid(least, math.Max(most, k*spread*spread/df))
		logs := func(tau2 float64) float64 { return sumOfLogs(d.effects, tau2) }
		return highest(points, 1e-14*least, estimator == REML, d.solve, logs)
	}
	return 0, nil
}

// coefficients returns estimates and covariance matrix at the τ² last solved, for
// the columns as they were given.
func (d *design) coefficients() (estimates []float64, vcov [][]float64) {
	p := len(d.columns)
	// inverse = R⁻¹, then carried from standardised to given columns: the slope is
	// divided by the SD, and the intercept takes up slope times mean.
	inverse := make([][]float64, p)
	for i := p - 1; i >= 0; i-- {
		inverse[i] = make([]float64, p)
		inverse[i][i] = 1 / d.r[i][i]
		for j := i + 1; j < p; j++ {
			for l := i + 1; l <= j; l++ {
				inverse[i][j] -= d.r[i][l] * inverse[l][j] / d.r[i][i]
			}
		}
	}
	for j := 1; j < p; j++ {
		for l := range p {
			inverse[j][l] /= d.spread[j]
			inverse[0][l] -= d.mean[j] * inverse[j][l]
		}
	}
	vcov = make([][]float64, p)
	for i := range p {
		estimates = append(estimates, dot(inverse[i], d.projection))
		for j := range p {
			vcov[i] = append(vcov[i], dot(inverse[i], inverse[j]))
		}
	}
	return estimates, vcov
}
