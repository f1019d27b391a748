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
	var successes, total float64
	for _, c := range p.rows {
		successes += c.y
		total += c.n
	}
	if successes == 0 || successes == total {
		return fmt.Errorf("%w: %.0f of %.0f", ErrNoVariation, successes, total)
	}
	if len(p.groups) < 2 {
		return fmt.Errorf("%w: variation between anglers cannot be estimated from %d", ErrOneAngler, len(p.groups))
	}
	if err := p.checkColumns(); err != nil {
		return err
	}
	return p.checkTerms()
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

// checkTerms refuses variance terms that give the same covariance to every pair of
// fish: term k adds variance·K_k(i, j) to the covariance of the linear predictors
// of fish i and j of one group, and the terms can be told apart only if the K_k
// are linearly independent over pairs.
func (p *problem) checkTerms() error {
	names := []string{"pattern"}
	if p.vary.Position() {
		names = append(names, "position")
	}
	if p.vary.Outing() {
		names = append(names, "outing")
	}
	gram := p.pairProducts()
	index := map[string]int{"pattern": 0, "position": 1, "outing": 2}
	for i, name := range names {
		k := index[name]
		if gram[k][k] <= 0 {
			return fmt.Errorf("%w: no two fish share an effect of %s, so its variation cannot be estimated", ErrNotIdentified, name)
		}
		for _, other := range names[:i] {
			j := index[other]
			if gram[j][k]*gram[j][k] >= (1-1e-10)*gram[j][j]*gram[k][k] {
				return fmt.Errorf("%w: variation by %s and by %s would look the same in these catches", ErrNotIdentified, other, name)
			}
		}
	}
	if len(names) < 3 {
		return nil
	}
	scaled := mat.NewSymDense(3, nil)
	for j := range 3 {
		for k := range 3 {
			scaled.SetSym(j, k, gram[j][k]/math.Sqrt(gram[j][j]*gram[k][k]))
		}
	}
	if mat.Det(scaled) < 1e-10 {
		return fmt.Errorf("%w: variation by pattern, position and outing together would look the same in these catches", ErrNotIdentified)
	}
	return nil
}

// pairProducts is Σ K_j·K_k over pairs of distinct rows of a group, and over each
// row with at least two fish, for u, v and w. Sums of products over pairs are
// products of sums, so the cost is linear.
func (p *problem) pairProducts() (gram [3][3]float64) {
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
				if c.n < 2 {
					gram[0][0] -= c.zu * c.zu * c.zu * c.zu
					gram[0][1] -= c.zu * c.zu * c.zv * c.zv
					gram[1][1] -= c.zv * c.zv * c.zv * c.zv
					gram[0][2] -= c.zu * c.zu
					gram[1][2] -= c.zv * c.zv
					gram[2][2]--
				}
			}
			gram[0][2] += u * u
			gram[1][2] += v * v
			gram[2][2] += count * count
		}
		gram[0][0] += uu * uu
		gram[0][1] += uv * uv
		gram[1][1] += vv * vv
	}
	gram[1][0], gram[2][0], gram[2][1] = gram[0][1], gram[0][2], gram[1][2]
	return gram
}

// fixedOnly fits the model without random effects by Newton's method and returns
// its coefficients; ErrSeparation if they have no finite estimate.
func (p *problem) fixedOnly() ([]float64, error) {
	w := p.width
	beta := make([]float64, w)
	gradient := mat.NewVecDense(w, nil)
	information := mat.NewSymDense(w, nil)
	var step mat.VecDense
	var factor mat.Cholesky
	for range 100 {
		gradient.Zero()
		information.Zero()
		for r, c := range p.rows {
			mean, slope, _ := logistic(p.linear(r, beta))
			x := p.x[r*w : (r+1)*w]
			for i := range w {
				gradient.SetVec(i, gradient.AtVec(i)+(c.y-c.n*mean)*x[i])
				for j := range i + 1 {
					information.SetSym(i, j, information.At(i, j)+c.n*slope*x[i]*x[j])
				}
			}
		}
		if !factor.Factorize(information) {
			break
		}
		if factor.SolveVecTo(&step, gradient) != nil {
			break
		}
		// Steps of at most 3 on the linear predictor keep far starts from overshooting.
		scale := min(1, 3/max(p.maxLinear(step.RawVector().Data), 1e-300))
		for j := range beta {
			beta[j] += scale * step.AtVec(j)
		}
		if p.maxLinear(beta) > maxLinear {
			break
		}
		if mat.Dot(&step, gradient) < 1e-12 {
			return beta, nil
		}
	}
	return nil, fmt.Errorf("%w: in some combination of the fixed effects every fish took the same pattern, so an effect grows without limit", ErrSeparation)
}
