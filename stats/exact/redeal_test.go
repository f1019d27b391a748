package exact_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"evenrig/stats/exact"
)

// Of a group of four, each of the C(4,2) = 6 balanced orders comes as often as any other, of its first two blocks the four orders with
// chances 1/6, 1/3, 1/3, 1/6; a coin falls either way half the time. 60,000 draws; bounds of five binomial standard deviations.
func TestRedealIsTheDraw(t *testing.T) {
	group := func(n, size int) (blocks []exact.DrawnBlock) {
		for range n {
			blocks = append(blocks, exact.DrawnBlock{Group: 1, Size: size})
		}
		return blocks
	}
	draw := exact.Draw{Anglers: [][]exact.DrawnBlock{group(4, 4), group(2, 4), group(1, 1), group(1, 0)}, Sizes: []int{2, 4}}
	random := rand.New(rand.NewPCG(1, 2))
	const n = 60_000
	var four, two [16]int
	coin, running := 0, 0
	for range n {
		dealt, err := draw.Redeal(random)
		if err != nil {
			t.Fatal(err)
		}
		code := func(order []bool) (c int) {
			for i, first := range order {
				if first {
					c |= 1 << i
				}
			}
			return c
		}
		four[code(dealt[0])]++
		two[code(dealt[1])]++
		coin += code(dealt[2])
		running += code(dealt[3])
	}
	near := func(what string, got int, p float64) {
		if sd := n * p * (1 - p); float64(got) < n*p-5*math.Sqrt(sd) || float64(got) > n*p+5*math.Sqrt(sd) {
			t.Errorf("%s came %d times of %d, want %.3f", what, got, n, p)
		}
	}
	for _, balanced := range []int{3, 5, 6, 9, 10, 12} {
		near("an order of four", four[balanced], 1./6)
	}
	near("+ + of a group of four", two[3], 1./6)
	near("+ - of a group of four", two[1], 1./3)
	near("- + of a group of four", two[2], 1./3)
	near("a coin's +", coin, .5)
	near("the first of a running group", running, .5)

	if _, err := (exact.Draw{Anglers: [][]exact.DrawnBlock{group(3, 2)}}).Redeal(random); !errors.Is(err, exact.ErrDraw) {
		t.Errorf("a group longer than its size: %v", err)
	}
}
