package evalue

import (
	"fmt"

	"evenrig/stats/exact"
)

// checkSizes returns ErrSizes unless each is 1 or an even number up to exact.MaxGroup.
func checkSizes(sizes []int) error {
	for _, s := range sizes {
		if s < 1 || s > exact.MaxGroup || s > 1 && s%2 == 1 {
			return fmt.Errorf("%w: %d", ErrSizes, s)
		}
	}
	return nil
}

// testFirstChance returns the chance that the next block of a running group comes with the
// test pattern lower first, given that the group goes on and that of its used first
// blocks plus came so, in a known order:
//
//	P(next = + | ...) = Σ_s q_s (s/2 - plus)/(s - used),  q_s ∝ C(s-used, s/2-plus) / C(s, s/2),
//
// the sum over the sizes s > used that the group may have, each drawn with equal chance.
// C(s-used, s/2-plus)/C(s, s/2) is the chance of the orders seen if the size is s: of the
// C(s, s/2) equally likely orders of the whole group so many begin like that. That the
// group goes on is known because the next block carries its number; it leaves the
// sizes above used. ok is false where no size could have led here.
func testFirstChance(sizes []int, used, plus int) (p float64, ok bool) {
	var weight, sum float64
	for _, s := range sizes {
		if s <= used {
			continue
		}
		if s == 1 { // a coin
			weight, sum = weight+1, sum+0.5
			continue
		}
		w := choose(s-used, s/2-plus) / choose(s, s/2)
		weight += w
		sum += w * (float64(s/2-plus) / float64(s-used))
	}
	if weight == 0 {
		return 0, false
	}
	return sum / weight, true
}

// choose returns C(n, k), 0 outside 0 <= k <= n; n <= exact.MaxGroup.
func choose(n, k int) float64 {
	if k < 0 || k > n {
		return 0
	}
	c := 1.0
	for i := 1; i <= k; i++ {
		c = c * float64(n-k+i) / float64(i)
	}
	return c
}
