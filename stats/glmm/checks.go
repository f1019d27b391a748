package glmm

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// maxLinear bounds the linear predictor of an estimate: expit(20) differs from 1 by
// 2 in 10⁹, which no catch of fish can tell from certainty.
const maxLinear = 20

// checkIdentified refuses data that cannot estimate the model whatever the values of
// the parameters.
func (p *problem) checkIdentified() error {
	if len(p.rows) == 0 {
		return fmt.Errorf("%w: no angler has an analysed fish", ErrNoCatches)
	}
	if err := p.checkCounts(); err != nil {
		return err
	}
	if len(p.groups) < 2 {
		return fmt.Errorf("%w: variation between anglers cannot be estimated from %d", ErrOneAngler, len(p.groups))
	}
	if err := p.checkColumns(); err != nil {
		return err
	}
	return p.checkTerms()
}

// checkCounts refuses counts that say nothing about the mean.
func (p *problem) checkCounts() error {
	var successes, total float64
	for _, c := range p.rows {
		successes += c.y
		total += c.n
	}
	if p.family != Binomial && successes == 0 {
		return fmt.Errorf("%w: every count is 0", ErrNoCatches)
	}
	if p.family == Binomial && (successes == 0 || successes == total) {
		return fmt.Errorf("%w: %.0f of %.0f", ErrNoVariation, successes, total)
	}
	return nil
}

// checkColumns refuses linearly dependent fixed-effect columns.
func (p *problem) checkColumns() error {
	w := p.width
	gram := mat.NewSymDense(w, nil)
	for r := range p.rows {
		x := p.x[r*w : (r+1)*w]
		for i := range w {
			for j := range i + 1 {
				gram.SetSym(i, j, gram.At(i, j)+x[i]*x[j])
			}
		}
	}
	scaled := mat.NewSymDense(w, nil)
	for i := range w {
		for j := range i + 1 {
			scaled.SetSym(i, j, gram.At(i, j)/math.Sqrt(gram.At(i, i)*gram.At(j, j)))
		}
	}
	var factor mat.Cholesky
	if !factor.Factorize(scaled) || factor.Cond() > 1e12 {
		return fmt.Errorf("%w: the fixed-effect columns are linearly dependent", ErrNotIdentified)
	}
	return nil
}

// terms of the model in the covariance of linear predictors, as pairProducts orders them.
var termNames = [4]string{"pattern", "position", "outing", "correlation of pattern and position"}

// checkTerms refuses variance terms that give the same covariance to every pair of
// fish: term k adds variance·K_k(i, j) to the covariance of the linear predictors
// of fish i and j of one group, and the terms can be told apart only if the K_k
// are linearly independent over pairs. A dispersion takes up all that a row has by itself.
func (p *problem) checkTerms() error {
	terms := []int{0}
	if p.vary.Position() {
		terms = append(terms, 1)
	}
	if p.vary.Outing() {
		terms = append(terms, 2)
	}
	if p.correlated {
		terms = append(terms, 3)
	}
	gram := p.pairProducts()
	for i, k := range terms {
		if gram[k][k] <= 0 {
			return fmt.Errorf("%w: no two fish share an effect of %s, so its variation cannot be estimated", ErrNotIdentified, termNames[k])
		}
		for _, j := range terms[:i] {
			if gram[j][k]*gram[j][k] >= (1-1e-10)*gram[j][j]*gram[k][k] {
				return fmt.Errorf("%w: variation by %s and by %s would look the same in these catches", ErrNotIdentified, termNames[j], termNames[k])
			}
		}
	}
	scaled := mat.NewSymDense(len(terms), nil)
	for a, j := range terms {
		for b, k := range terms {
			scaled.SetSym(a, b, gram[j][k]/math.Sqrt(gram[j][j]*gram[k][k]))
		}
	}
	if len(terms) > 2 && mat.Det(scaled) < 1e-10 {
		return fmt.Errorf("%w: variation by the terms of the model together would look the same in these catches", ErrNotIdentified)
	}
	return nil
}

// pairProducts is Σ K_j·K_k over pairs of distinct rows of a group, and over each row
// that says something by itself about its effects: at least two fish, or a Poisson count. The
// terms are u, v, w and the correlation, K = zu_i·zv_j + zv_i·zu_j. Sums of products over
// pairs are products of sums, so the cost is linear.
func (p *problem) pairProducts() (gram [4][4]float64) {
	add := func(j, k int, v float64) { gram[j][k] += v }
	for _, g := range p.groups {
		var uu, uv, vv float64
		for s := g.subs.from; s < g.subs.to; s++ {
			var count, u, v float64
			for _, c := range p.rows[p.subs[s].from:p.subs[s].to] {
				count++
				u += c.zu
				v += c.zv
				uu += c.zu * c.zu
				uv += c.zu * c.zv
				vv += c.zv * c.zv
				if p.family == Poisson || c.n >= 2 {
					continue
				}
				own := [4]float64{c.zu * c.zu, c.zv * c.zv, 1, 2 * c.zu * c.zv}
				for j := range own {
					for k := range j + 1 {
						add(k, j, -own[j]*own[k])
					}
				}
			}
			add(0, 2, u*u)
			add(1, 2, v*v)
			add(2, 2, count*count)
			add(2, 3, 2*u*v)
		}
		add(0, 0, uu*uu)
		add(0, 1, uv*uv)
		add(1, 1, vv*vv)
		add(0, 3, 2*uu*uv)
		add(1, 3, 2*vv*uv)
		add(3, 3, 2*(uu*vv+uv*uv))
	}
	for j := range gram {
		for k := range j {
			gram[j][k] = gram[k][j]
		}
	}
	return gram
}
