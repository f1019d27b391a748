package glmm

import (
	"fmt"
	"math"
)

// fixedOnly fits the model without random effects or dispersion by Newton's method and
// returns its coefficients with their inverse information; ErrSeparation if they have no
// finite estimate.
func (p *problem) fixedOnly() (searchStart, error) {
	w := p.width
	beta, gradient, step := make([]float64, w), make([]float64, w), make([]float64, w)
	information := newSquare(w)
	e := evaluator{exponential: p.family != Binomial}
	for range 100 {
		clear(gradient)
		clear(information.v)
		for r := range p.rows {
			c := &p.rows[r]
			_, mean, slope, _ := e.derivatives(p.linear(r, beta) + c.shift)
			residual, weight := c.y-c.n*mean, c.n*slope
			x := p.x[r*w : (r+1)*w]
			for i, xi := range x {
				gradient[i] += residual * xi
				for j := range i + 1 {
					information.v[i*w+j] += weight * xi * x[j]
				}
			}
		}
		for i := range w {
			for j := range i {
				information.set(j, i, information.at(i, j))
			}
		}
		inverse, _, ok := information.inverse()
		if !ok {
			break
		}
		inverse.multiply(gradient, step)
		// Steps of at most 3 on the linear predictor keep far starts from overshooting.
		scale := min(1, 3/max(p.maxLinear(step), 1e-300))
		for j := range beta {
			beta[j] += scale * step[j]
		}
		if !(p.maxLinear(beta) <= maxLinear) {
			break
		}
		if dot(step, gradient) < 1e-12 {
			return searchStart{beta, inverse}, nil
		}
	}
	reason := "every fish took the same pattern"
	if p.family != Binomial {
		reason = "no fish was caught"
	}
	return searchStart{}, fmt.Errorf("%w: in some combination of the fixed effects %s, so an effect grows without limit", ErrSeparation, reason)
}

// linear is row r's fixed part of the linear predictor.
func (p *problem) linear(r int, beta []float64) float64 {
	x := p.x[r*p.width : (r+1)*p.width]
	eta := 0.0
	for j, b := range beta[:p.width] {
		eta += x[j] * b
	}
	return eta
}

// maxLinear is the largest absolute fixed part of the linear predictor.
func (p *problem) maxLinear(beta []float64) float64 {
	largest := 0.0
	for r := range p.rows {
		largest = max(largest, math.Abs(p.linear(r, beta)))
	}
	return largest
}
