package glmm

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// copy is the problem with counts of its own.
func (p *problem) copy() *problem {
	q := *p
	q.rows = slices.Clone(p.rows)
	q.counts = slices.Clone(p.counts)
	return &q
}

// simulate draws the effects of every group and the counts of every row from the model at
// psi into a copy of the problem.
func (e *evaluator) simulate(psi []float64, random *rand.Rand, into *problem) {
	p, ps := e.problem, e.split(psi)
	var ys []int
	for _, grp := range p.groups {
		b1, b2 := random.NormFloat64(), random.NormFloat64()
		for s := grp.subs.from; s < grp.subs.to; s++ {
			d := random.NormFloat64()
			for r := p.subs[s].from; r < p.subs[s].to; r++ {
				var row rowState
				c := &p.rows[r]
				e.prepare(r, c, &row, ps)
				zeta := row.fixed + row.a1*b1 + row.a2*b2 + ps.lw*d
				if p.family != NegativeBinomial {
					into.rows[r].y = e.drawCount(c, zeta, random)
					continue
				}
				into.rows[r].y = 0
				for range int(c.n) {
					y := e.drawDispersed(zeta, ps.alpha, random)
					into.rows[r].y += y
					ys = append(ys, int(y))
				}
			}
		}
	}
	if p.family == NegativeBinomial {
		into.counts = countRuns(into.counts[:0], ys)
	}
}

// drawCount draws a binomial or Poisson count.
func (e *evaluator) drawCount(c *cell, zeta float64, random *rand.Rand) float64 {
	if e.problem.family == Poisson {
		return drawPoisson(c.n*math.Exp(zeta), random)
	}
	mean, _, _ := logistic(zeta)
	return distuv.Binomial{N: c.n, P: mean, Src: random}.Rand()
}

// drawDispersed draws one count of mean e^ζ/α: a Poisson count whose mean is gamma; of
// mean e^ζ at dispersion 0.
func (e *evaluator) drawDispersed(zeta, alpha float64, random *rand.Rand) float64 {
	mean := math.Exp(zeta)
	if alpha > 0 {
		mean = distuv.Gamma{Alpha: 1 / alpha, Beta: 1, Src: random}.Rand() * mean
	}
	return drawPoisson(mean, random)
}

// drawPoisson draws a Poisson count, by way of a normal one beyond a billion, where the
// two cannot be told apart.
func drawPoisson(mean float64, random *rand.Rand) float64 {
	switch {
	case !(mean > 0):
		return 0
	case mean > 1e9:
		return math.Round(min(mean, maxTotal) + math.Sqrt(min(mean, maxTotal))*random.NormFloat64())
	}
	return distuv.Poisson{Lambda: mean, Src: random}.Rand()
}
