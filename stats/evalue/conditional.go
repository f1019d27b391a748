package evalue

import (
	"fmt"
	"math"

	"evenrig/stats/exact"
	"evenrig/stats/num"
)

// halfPoints is the number of points of the mixture's grid on either side of 0.
const halfPoints = 800

// Conditional is the evidence of blocks given how many fish each half had and how many
// took lower in all, m. Then the block's own position effect drops out and ya follows
// Fisher's noncentral hypergeometric law with λ = ln OR = 2θ,
//
//	f(ya | m; λ) = C(na, ya) C(nb, m-ya) e^{λ·ya} / Σ_k C(na, k) C(nb, m-k) e^{λk}.
//
// The evidence against one λ0 for all blocks is the mixture over λ ~ N(0, s²),
//
//	E(λ0) = ∫ Π f(ya | m; λ) N(λ; 0, s²) dλ / Π f(ya | m; λ0).
//
// The integral is a sum over 1601 points from -8 to 8 (times s where s > 1) with weights
// that add up to 1: a mixture of its own, so that E is an e-value exactly, whatever
// the spacing. A block in which all fish or none took lower multiplies by 1.
//
// The blocks of all anglers enter one state: the mixture is over one λ common to them,
// and against λ0 = 0 the hypothesis is no effect for any angler. (A state for each
// angler, multiplied, tests the same and pays for a mixture each time: it is weaker
// unless anglers differ greatly and fish many blocks.) It assumes that the numbers of fish were settled without regard to what they took and
// that the halves' order has no effect; see [CheckOrder]. Not safe for concurrent use.
//
// Sources: Fisher (1935), J. R. Stat. Soc. 98:39; conditional e-variables: Hao, Grünwald,
// Lardy, Long & Adams (2024), Sankhya A 86:596; mixtures: Robbins (1970), Annals of
// Mathematical Statistics 41:1397.
type Conditional struct {
	spread float64
	step   float64
	prior  []float64 // ln weight of each grid point
	fit    []float64 // ln Π f(λ)/f(0) at each grid point
	takes  []*takes
}

// shape is what is given of a block.
type shape struct{ na, nb, m int64 }

// takes sums up the blocks of one shape.
type takes struct {
	shape
	blocks   float64
	lower    float64 // Σ ya
	support  support
	cumulant []float64 // of one block, at each grid point
}

// NewConditional returns the evidence before the first block. spread is s, the SD of
// ln OR in the mixture: 1 unless there is reason, 0.1 to 4. Errors: ErrSpread.
func NewConditional(spread float64) (*Conditional, error) {
	if !(spread >= 0.1 && spread <= 4) {
		return nil, fmt.Errorf("%w: %g", ErrSpread, spread)
	}
	c := &Conditional{
		spread: spread, step: 0.01 * math.Max(1, spread),
		prior: make([]float64, 2*halfPoints+1), fit: make([]float64, 2*halfPoints+1),
	}
	for i := range c.prior {
		z := c.at(i) / spread
		c.prior[i] = -z * z / 2
	}
	total := logSumExp(c.prior)
	for i := range c.prior {
		c.prior[i] -= total
	}
	return c, nil
}

// at returns λ at grid point i.
func (c *Conditional) at(i int) float64 { return float64(i-halfPoints) * c.step }

// Add takes a finished block, whoever fished it. It costs some microseconds, and some 0.1 ms the first
// time that a block has these numbers of fish and of lower takes. Errors: ErrCount, and then nothing is
// changed.
func (c *Conditional) Add(block exact.Table) error {
	b, err := newCounts(block)
	if err != nil {
		return err
	}
	if !b.informative() {
		return nil
	}
	like := c.like(shape{b.na, b.nb, b.ya + b.yb})
	like.blocks++
	like.lower += float64(b.ya)
	for i, k := range like.cumulant {
		c.fit[i] += c.at(i)*float64(b.ya) - k
	}
	return nil
}

// like returns the sum of the blocks of one shape, begun if need be.
func (c *Conditional) like(s shape) *takes {
	for _, t := range c.takes {
		if t.shape == s {
			return t
		}
	}
	begun := &takes{shape: s, support: newSupport(s), cumulant: make([]float64, len(c.fit))}
	for i := range begun.cumulant {
		begun.cumulant[i] = begun.support.cumulant(c.at(i))
	}
	c.takes = append(c.takes, begun)
	return begun
}

// Log returns the evidence so far against λ = 0.
func (c *Conditional) Log() LogE { return LogE(c.mixture()) }

// mixture returns ln ∫ Π f(λ)/f(0) N(λ; 0, s²) dλ.
func (c *Conditional) mixture() float64 {
	terms := make([]float64, len(c.fit))
	for i, v := range c.fit {
		terms[i] = c.prior[i] + v
	}
	return logSumExp(terms)
}

// fitAt returns ln Π f(λ)/f(0) at any λ, with its slope; it is concave.
func (c *Conditional) fitAt(lambda float64) (value, slope float64) {
	for _, like := range c.takes {
		value += lambda*like.lower - like.blocks*like.support.cumulant(lambda)
		slope += like.lower - like.blocks*like.support.mean(lambda)
	}
	return value, slope
}

// support is the law of ya given a block's shape without an effect: p[i] = P(ya = lo+i).
// With at most MaxFish fish in a half no p is under 1e-301.
type support struct {
	lo, hi float64
	p      []float64
}

func newSupport(s shape) support {
	lo, hi := max(0, s.m-s.nb), min(s.na, s.m)
	out := support{lo: float64(lo), hi: float64(hi)}
	for k := lo; k <= hi; k++ {
		out.p = append(out.p, math.Exp(num.LogHypergeometric(k, s.na, s.nb, s.m)))
	}
	return out
}

// cumulant returns ln Σ P(ya = k) e^{λk}, from the end of the support that λ favours, so that
// no power exceeds 1.
func (s support) cumulant(lambda float64) float64 {
	sum := 0.0
	if lambda >= 0 {
		x := math.Exp(-lambda)
		for _, p := range s.p {
			sum = sum*x + p
		}
		return lambda*s.hi + math.Log(sum)
	}
	x := math.Exp(lambda)
	for i := len(s.p) - 1; i >= 0; i-- {
		sum = sum*x + s.p[i]
	}
	return lambda*s.lo + math.Log(sum)
}

// mean returns the mean of ya under λ.
func (s support) mean(lambda float64) float64 {
	top := s.cumulant(lambda)
	mean := 0.0
	for i, p := range s.p {
		k := s.lo + float64(i)
		mean += k * p * math.Exp(lambda*k-top)
	}
	return mean
}
