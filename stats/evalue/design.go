package evalue

import (
	"fmt"
	"math"
	"slices"

	"evenrig/stats/exact"
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
// with equal halves La - Lb. Under the hypothesis the other order would turn its sign,
// and the draw gave each its chance. For a bet of strength l a block multiplies by
//
//	w(T)/[p·w(T) + (1-p)·w(-T)],  w(T) = e^{lT},
//
// p the chance that its order had, given the orders before it: ½ for a coin, when this is
// 2/(1 + e^{-2lT}); for a permuted group see [DesignBased.Add]. The evidence is the mean
// over l of the products over all blocks of all anglers, whose draws are independent. (A
// state for each angler, multiplied, tests the same and pays for a mixture each time.)
//
// Order effects within blocks, drift, clumped catches and anglers who differ do no harm,
// nor does a catch that depends on earlier orders and catches. Assumed are: no effect of
// one half's arrangement on the next half, and that who can influence a block knows its
// order beforehand at most from the earlier ones. A block with an empty or unfinished half
// has T = 0 and changes nothing, but must be added, since its order is part of the draw.
//
// The last blocks of a permuted group, whose order the first ones settle, tell nothing.
// Where evidence is to be weighed at any time a coin for each block is the better draw.
// Betting on whole groups, weight of the orders as drawn over the mean weight of all
// orders, would use those blocks too; but it is fair only if every group is finished
// however it goes. Of two blocks with contrasts 1 and -1 for the test pattern first, the
// group is worth 2/(1 + e^{-4l}) for one order and 2/(1 + e^{4l}) for the other: an angler
// who leaves the trial after losing the first block makes the mean ½ + 1/(1 + e^{-4l}) > 1.
//
// Not safe for concurrent use. Sources: Fisher (1935), The Design of Experiments, for the
// sharp hypothesis; Vovk & Wang (2021), Annals of Statistics 49:1736, and Grünwald, de
// Heide & Koolen (2024), J. R. Stat. Soc. B 86:1091, for betting. The construction follows
// from them.
type DesignBased struct {
	sizes  []int
	logs   []float64          // ln of the product at each strength
	groups map[string]running // by angler
}

// running is the permuted group that an angler is fishing.
type running struct {
	number int
	size   int // 0 while not known
	used   int // blocks opened
	plus   int // of those, with the test pattern lower first
}

// NewDesignBased returns the evidence before the first block. sizes are the group sizes of
// the protocol, each drawn with equal chance; 1 or none for a coin for every block. Errors:
// ErrSizes.
func NewDesignBased(sizes []int) (*DesignBased, error) {
	if err := checkSizes(sizes); err != nil {
		return nil, err
	}
	return &DesignBased{sizes: slices.Clone(sizes), logs: make([]float64, strengths), groups: map[string]running{}}, nil
}

// strength returns l of bet i.
func strength(i int) float64 {
	if i < strengths/2 {
		return -float64(strengths/2-i) * strengthStep
	}
	return float64(i-strengths/2+1) * strengthStep
}

// Add takes the next block of an angler's draw, in the order of the draw: when it is settled
// what the block took, and never before an earlier one. Block.Size is 1 for a coin, which
// may come between the blocks of a group; for a permuted group it is the size, or 0 while
// the group has unopened blocks.
//
// The chance of an order within a group allows for what is known when the block is opened:
// the orders of the group so far, and that the group goes on. Its size is not known then,
// so the chance is a mean over the sizes that are left, each weighted by how well it fits
// those orders. (That the size comes to light later changes nothing: the bet was made.)
//
// The cost does not depend on the past. Errors: ErrCount; ErrDraw for orders or sizes that
// the draw cannot have given; then nothing is changed.
func (e *DesignBased) Add(angler string, block exact.DrawnBlock) error {
	c, err := newCounts(TableOf(block))
	if err != nil {
		return err
	}
	if block.Size == 1 {
		e.bet(c.contrast(), 0.5)
		return nil
	}
	group, chance, err := e.groups[angler].next(block, e.sizes)
	if err != nil {
		return err
	}
	e.groups[angler] = group
	e.bet(c.contrast(), chance)
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
	fits := block.Size == 0 && g.size == 0 ||
		(g.size == 0 || g.size == block.Size) && slices.Contains(sizes, block.Size) &&
			g.used <= block.Size && 2*max(g.plus, g.used-g.plus) <= block.Size
	if !ok || chance <= 0 || !fits {
		return g, 0, fmt.Errorf("%w: block %d of group %d, %d with the test pattern lower first, size %d, the sizes are %v",
			ErrDraw, g.used, g.number, g.plus, block.Size, sizes)
	}
	g.size = block.Size
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
