package evalue

import (
	"fmt"
	"math"
	"slices"

	"evenrig/stats/exact"
)

// Form says in what portions a permuted group is bet on.
type Form int

const (
	// ByGroup bets on a whole group once it is complete: the weight of the orders as drawn
	// over the mean weight of all orders that could have been drawn. Nothing is lost,
	// since the last blocks of a group, which the first ones settle, count as well.
	// It takes what each half took as fixed whatever the orders in its group.
	ByGroup Form = iota
	// ByBlock bets on each block at the chance that its order had given the orders
	// before it. What a block takes may then depend in any way on the orders and
	// catches of earlier blocks. The last block of a group tells nothing, its order
	// being settled; in groups of two half the evidence is lost.
	ByBlock
)

// The bets' strengths: ±0.01, ±0.02, ..., ±2 for each fish of the block's contrast.
const (
	strengthStep = 0.01
	strengths    = 400
)

// DesignBased is the evidence of the anglers' blocks from nothing but the draw. The
// hypothesis is sharp: no fish would have taken another position had the arrangements
// come in the other order, for any angler. A block's contrast is
//
//	T = 2(La·nb - Lb·na)/(na + nb),
//
// La of na fish lower with the test pattern lower and Lb of nb with the control lower;
// with equal halves La - Lb. Under the hypothesis the other order turns its sign and the
// draw's chances are known. For a bet of strength l a block drawn by coin gives
// 2/(1 + e^{-2lT}), one drawn otherwise w(T)/[p·w(T) + (1-p)·w(-T)] with w = e^{lT} and p the
// chance of its order ([ByBlock]), a group W(as drawn)/mean of W over its orders with W =
// e^{lΣT} ([ByGroup]). The evidence is the mean over l of the products over all anglers,
// whose draws are independent. For a coin the two forms are the same. (A state for each
// angler, multiplied, tests the same and pays for a mixture each time.)
//
// Order effects within blocks, drift, clumped catches and anglers who differ do no harm.
// Assumed are: no effect of one half's arrangement on the next half, and that nobody who
// can influence a block knows its order beforehand other than from the earlier ones. A
// block with an empty or unfinished half has T = 0 but must be added, since its order is
// part of the draw. Not safe for concurrent use.
//
// Sources: Fisher (1935), The Design of Experiments, for the sharp hypothesis; Vovk & Wang
// (2021), Annals of Statistics 49:1736, and Grünwald, de Heide & Koolen (2024), J. R.
// Stat. Soc. B 86:1091, for betting. The construction follows from them.
type DesignBased struct {
	form   Form
	sizes  []int
	logs   []float64          // ln of the product at each strength
	groups map[string]running // by angler
}

// running is the permuted group that is being fished.
type running struct {
	number int
	size   int // 0 while not known
	used   int
	plus   int
	drawn  []float64 // contrasts with the test pattern first, d: T = d, or -d for the other order
	total  float64   // Σ T as drawn
}

// NewDesignBased returns the evidence before the first block. sizes are the group sizes of
// the protocol, each drawn with equal chance: {1} or none for a coin for every block.
// Errors: ErrSizes.
func NewDesignBased(form Form, sizes []int) (*DesignBased, error) {
	if err := checkSizes(sizes); err != nil {
		return nil, err
	}
	return &DesignBased{form: form, sizes: slices.Clone(sizes), logs: make([]float64, strengths), groups: map[string]running{}}, nil
}

// strength returns l of bet i.
func strength(i int) float64 {
	if i < strengths/2 {
		return -float64(strengths/2-i) * strengthStep
	}
	return float64(i-strengths/2+1) * strengthStep
}

// Add takes the next block of an angler's draw, in the order of the draw. Block.Size is 1
// for a coin; for a permuted group it may be 0 as long as blocks of the group are
// unopened, and must be its size from the last one on. Coins may come between the blocks
// of a group. The cost does not depend on the past.
//
// Errors: ErrCount; ErrDraw for orders or sizes that the draw cannot have given, and then
// nothing is changed.
func (e *DesignBased) Add(angler string, block exact.DrawnBlock) error {
	c, err := newCounts(TableOf(block))
	if err != nil {
		return err
	}
	t := c.contrast()
	if block.Size == 1 {
		e.bet(t, 0.5)
		return nil
	}
	group, chance, err := e.groups[angler].next(block, e.sizes)
	if err != nil {
		return err
	}
	d := t
	if !block.TestFirst {
		d = -t
	}
	if e.form == ByBlock {
		e.bet(t, chance)
	} else {
		group.drawn = append(group.drawn, d)
		group.total += t
		if group.used == block.Size {
			e.betOnGroup(group)
		}
	}
	e.groups[angler] = group
	return nil
}

// next returns the running group with the block added, and the chance that its order had.
func (g running) next(block exact.DrawnBlock, sizes []int) (running, float64, error) {
	if block.Group != g.number || g.used == 0 {
		if g.used > 0 && !slices.Contains(sizes, g.used) {
			return g, 0, fmt.Errorf("%w: group %d ended after %d blocks, the sizes are %v", ErrDraw, g.number, g.used, sizes)
		}
		g = running{number: block.Group}
	}
	chance, ok := testFirstChance(sizes, g.used, g.plus)
	if !block.TestFirst {
		chance = 1 - chance
	}
	g.used++
	if block.TestFirst {
		g.plus++
	}
	if !ok || chance <= 0 {
		return g, 0, fmt.Errorf("%w: block %d of group %d (test pattern lower first: %t), the sizes are %v", ErrDraw, g.used, g.number, block.TestFirst, sizes)
	}
	if block.Size != 0 || g.size != 0 {
		if g.size != 0 && block.Size != g.size || !slices.Contains(sizes, block.Size) || g.used > block.Size || max(g.plus, g.used-g.plus) > block.Size/2 {
			return g, 0, fmt.Errorf("%w: block %d of group %d, %d with the test pattern lower first, size %d, the sizes are %v",
				ErrDraw, g.used, g.number, g.plus, block.Size, sizes)
		}
		g.size = block.Size
	}
	g.drawn = slices.Clip(g.drawn)
	return g, chance, nil
}

// Log returns the evidence so far.
func (e *DesignBased) Log() LogE { return LogE(logSumExp(e.logs) - math.Log(strengths)) }

// contrast returns T, 0 for a block with an empty half.
func (c counts) contrast() float64 {
	if c.na == 0 || c.nb == 0 {
		return 0
	}
	return 2 * float64(c.ya*c.nb-c.yb*c.na) / float64(c.na+c.nb)
}

// bet multiplies by e^{lT}/[p e^{lT} + (1-p) e^{-lT}] = 1/[p + (1-p) e^{-2lT}] for each strength l.
func (e *DesignBased) bet(t, p float64) {
	if t == 0 || p == 1 {
		return
	}
	with, without := math.Log(p), math.Log1p(-p)
	for i := range e.logs {
		e.logs[i] -= logAdd(with, without-2*strength(i)*t)
	}
}

// betOnGroup multiplies by W(as drawn) over the mean of W over the balanced orders of the
// group. With d the contrasts, Σ over orders of e^{lΣ±d} = e^{-lΣd} Σ_{half of the blocks} e^{2lΣd
// in that half}: an elementary symmetric polynomial, built up block by block.
func (e *DesignBased) betOnGroup(g running) {
	half := len(g.drawn) / 2
	sum := 0.0
	for _, d := range g.drawn {
		sum += d
	}
	orders := math.Log(choose(len(g.drawn), half))
	symmetric := make([]float64, half+1)
	for i := range e.logs {
		l := strength(i)
		for k := range symmetric {
			symmetric[k] = math.Inf(-1)
		}
		symmetric[0] = 0
		for j, d := range g.drawn {
			for k := min(half, j+1); k >= 1; k-- {
				symmetric[k] = logAdd(symmetric[k-1]+2*l*d, symmetric[k])
			}
		}
		e.logs[i] += l*g.total - (symmetric[half] - l*sum - orders)
	}
}
