package exact

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenrig/stats/stattest"
)

// coins is a trial of anglers with one block each, drawn by a coin, whose halves have n fish each.
func coins(anglers int, n int64, lean float64) Draw {
	random := rand.New(rand.NewPCG(8, 15))
	draw := Draw{}
	for range anglers {
		b := DrawnBlock{Group: 1, Size: 1, TestFirst: random.IntN(2) == 0}
		first, second := .5+lean, .5-lean
		if !b.TestFirst {
			first, second = second, first
		}
		for range n {
			if random.Float64() < first {
				b.First.Lower++
			} else {
				b.First.Upper++
			}
			if random.Float64() < second {
				b.Second.Lower++
			} else {
				b.Second.Upper++
			}
		}
		draw.Anglers = append(draw.Anglers, []DrawnBlock{b})
	}
	return draw
}

// The saddlepoint tail against the distribution over every order, found by convolution: from the middle far into the tail.
func TestSaddlepointAgainstEveryOrder(t *testing.T) {
	t.Parallel()
	for _, lean := range []float64{0, .002, .01, .03, .06} {
		test, err := newRandomisation(coins(1_000, 9, lean), ByBlock)
		if err != nil {
			t.Fatal(err)
		}
		want, ok := test.exact()
		if !ok {
			t.Fatal("every order was to be gone through")
		}
		stattest.Relative(t, "p", test.saddlepoint(), want, 2e-3)
	}
}

// A sum of n fair coins of one fish each against the binomial distribution. At the middle P is 1.
func TestSaddlepointOfCoins(t *testing.T) {
	const n = 4_000
	for _, heads := range []int{2_000, 2_001, 2_040, 2_100, 2_300} {
		test := randomisation{unit: 1, stdDev: math.Sqrt(n), seen: float64(2*heads - n)}
		for range n {
			test.parts = append(test.parts, points{{-1, .5}, {1, .5}})
		}
		want, err := BinomialTwoSided(int64(heads), n, .5)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Relative(t, "p", test.saddlepoint(), want, 1e-3)
	}
}

// So many groups are not drawn again one by one, unless every order is quickly gone through.
func TestSoManyGroups(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		draw      Draw
		statistic RandomisationStatistic
		exact     bool
	}{
		{coins(2*mostParts, 3, 0), ByBlock, true},
		{coins(2*mostParts, 3, 0), ByAngler, true},
		{coins(2*mostParts, 999, 0), ByBlock, false},
	} {
		r, err := Randomise(t.Context(), c.draw, c.statistic, FewestRedraws, 1, 1)
		if err != nil || r.Exact != c.exact || r.Redraws > 0 || !(r.P > 0 && r.P <= 1) {
			t.Errorf("%+v, %v", r, err)
		}
	}
}
