package exact

import (
	"fmt"
	"math"
	"math/bits"

	"evenrig/stats/num"
)

// This file finds what re-drawing an angler's groups does to the block statistic.

// contribution returns numerator and denominator of d = 2(L₁n₂ - L₂n₁)/(n₁+n₂): the
// block adds +d to the statistic where the test pattern is lower first and -d where
// the control is. 0/1 for a block with an empty half.
func (b DrawnBlock) contribution() (numerator, denominator int64) {
	n1, n2 := b.First.Lower+b.First.Upper, b.Second.Lower+b.Second.Upper
	if n1 == 0 || n2 == 0 {
		return 0, 1
	}
	numerator, denominator = 2*(b.First.Lower*n2-b.Second.Lower*n1), n1+n2
	g := greatestDivisor(numerator, denominator)
	return numerator / g, denominator / g
}

// offLattice stands for the unit of contributions that have no common one.
const offLattice = 0

// commonUnit returns the smallest whole number that makes every block's contribution
// whole, or offLattice if sums of them would then not be exact in a float64.
func commonUnit(anglers ...[]DrawnBlock) float64 {
	const mostExact = 1 << 53
	unit, sum := int64(1), 0.0
	for _, blocks := range anglers {
		for _, b := range blocks {
			numerator, denominator := b.contribution()
			factor := denominator / greatestDivisor(unit, denominator)
			if factor > mostExact/unit {
				return offLattice
			}
			unit *= factor
			sum += math.Abs(float64(numerator)) / float64(denominator)
		}
	}
	if sum*float64(unit) > mostExact {
		return offLattice
	}
	return float64(unit)
}

func greatestDivisor(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return max(a, -a)
}

// redrawn returns the distribution of each group's part of the statistic over all
// its orders, as multiples of 1/unit (as they are if unit is offLattice), and the sum
// of the parts as drawn.
func redrawn(blocks []DrawnBlock, sizes []int, unit float64) (groups []points, seen float64, err error) {
	finished := map[int]bool{}
	for from := 0; from < len(blocks); {
		to := from + 1
		for to < len(blocks) && blocks[to].Group == blocks[from].Group {
			to++
		}
		group := blocks[from:to]
		if finished[group[0].Group] {
			return nil, 0, fmt.Errorf("group %d comes in two pieces: %w", group[0].Group, ErrDraw)
		}
		finished[group[0].Group] = true
		whole, err := wholeSizes(group, sizes)
		if err != nil {
			return nil, 0, fmt.Errorf("group %d: %w", group[0].Group, err)
		}
		d := make([]float64, len(group))
		for i, b := range group {
			numerator, denominator := b.contribution()
			d[i] = float64(numerator) / float64(denominator)
			if unit != offLattice {
				d[i] = float64(numerator * (int64(unit) / denominator))
			}
			if b.TestFirst {
				seen += d[i]
			} else {
				seen -= d[i]
			}
		}
		slack := 0.0
		if unit == offLattice {
			for _, x := range d {
				slack += 1e-12 * math.Abs(x)
			}
		}
		groups = append(groups, orders(d, whole, slack))
		from = to
	}
	return groups, seen, nil
}

// validate returns ErrCount, naming the block, if a count is out of range.
func (d Draw) validate() error {
	for a, blocks := range d.Anglers {
		for i, b := range blocks {
			for _, count := range []int64{b.First.Lower, b.First.Upper, b.Second.Lower, b.Second.Upper} {
				if count < 0 || count > MaxCount {
					return fmt.Errorf("angler %d, block %d has %d fish: %w", a+1, i+1, count, ErrCount)
				}
			}
		}
	}
	return nil
}

// wholeSizes returns the sizes that the group of these blocks can have had: the one
// recorded, or those of the protocol that leave blocks unopened.
func wholeSizes(group []DrawnBlock, sizes []int) ([]int, error) {
	size := group[0].Size
	for _, b := range group {
		if b.Size != size {
			return nil, fmt.Errorf("sizes %d and %d: %w", size, b.Size, ErrDraw)
		}
	}
	whole := []int{size}
	if size == 0 {
		whole = whole[:0]
		for _, s := range sizes {
			if s > len(group) {
				whole = append(whole, s)
			}
		}
		if len(whole) == 0 {
			return nil, fmt.Errorf("%d blocks of a group that still runs, with sizes %v: %w", len(group), sizes, ErrDraw)
		}
	}
	for _, s := range whole {
		if s < len(group) || s > MaxGroup || s < 1 || s > 1 && s%2 == 1 {
			return nil, fmt.Errorf("%d blocks of a group of %d: %w", len(group), s, ErrDraw)
		}
	}
	return whole, nil
}

// orders returns the distribution of Σ c_i·d_i, c_i = ±1, over the orders of a group
// of which the first len(d) blocks were used. Given the size s, which is any of whole
// with equal chance, each of the C(s, s/2) balanced orders is as likely, so that
// one with k of the used blocks +1 has chance C(s-used, s/2-k)/C(s, s/2). Values that
// differ by no more than slack are rounded differently and made one.
func orders(d []float64, whole []int, slack float64) points {
	used := len(d)
	chance := make([]float64, used+1) // of one given order with k times +1
	for _, s := range whole {
		for k := range chance {
			if s == 1 {
				chance[k] += 0.5 / float64(len(whole))
				continue
			}
			if logChance := num.LogHypergeometric(int64(k), int64(s/2), int64(s/2), int64(used)); !math.IsInf(logChance, -1) {
				chance[k] += math.Exp(logChance) / choose(used, k) / float64(len(whole))
			}
		}
	}
	all := make(points, 0, 1<<used)
	for order := range uint(1) << used {
		p := chance[bits.OnesCount(order)]
		if p == 0 {
			continue
		}
		var sum float64
		for i := range d {
			if order>>i&1 == 1 {
				sum += d[i]
			} else {
				sum -= d[i]
			}
		}
		all = append(all, point{sum, p})
	}
	return all.sorted(slack)
}

// choose returns C(n, k), 0 <= k <= n <= MaxGroup.
func choose(n, k int) float64 {
	c := 1
	for i := range k {
		c = c * (n - i) / (i + 1)
	}
	return float64(c)
}
