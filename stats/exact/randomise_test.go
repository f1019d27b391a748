package exact_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/exact"
	"evenrig/stats/stattest"
)

func randomise(t interface{ Fatalf(string, ...any) }, draw exact.Draw, statistic exact.RandomisationStatistic) exact.Randomisation {
	got, err := exact.Randomise(context.Background(), draw, statistic, exact.FewestRedraws, 1, 2)
	if err != nil {
		t.Fatalf("%+v: %v", draw, err)
	}
	return got
}

// coins makes every block a group of one.
func coins(anglers ...[]exact.DrawnBlock) exact.Draw {
	for _, blocks := range anglers {
		for i := range blocks {
			blocks[i].Group, blocks[i].Size = i+1, 1
		}
	}
	return exact.Draw{Anglers: anglers}
}

// block has lower takes y1 of n1 with the test pattern lower and y2 of n2 with the control lower.
func block(testFirst bool, y1, n1, y2, n2 int64) exact.DrawnBlock {
	test, control := exact.Takes{Lower: y1, Upper: n1 - y1}, exact.Takes{Lower: y2, Upper: n2 - y2}
	if testFirst {
		return exact.DrawnBlock{TestFirst: true, First: test, Second: control}
	}
	return exact.DrawnBlock{First: control, Second: test}
}

// D1 (an invented worked example of 12 blocks of 4+4 fish): sign flips of the block
// differences over all 4096 orders, R 4.2.2.
func TestRandomiseWorkedExample(t *testing.T) {
	y1 := []int64{3, 4, 3, 4, 2, 3, 4, 3, 4, 3, 4, 3}
	y2 := []int64{2, 2, 1, 3, 2, 1, 2, 3, 1, 1, 2, 2}
	var blocks []exact.DrawnBlock
	for i := range y1 {
		blocks = append(blocks, block(i%3 == 0, y1[i], 4, y2[i], 4))
	}
	got := randomise(t, coins(blocks), exact.ByBlock)
	stattest.Relative(t, "p", got.P, .001953125, 1e-14)
	stattest.Relative(t, "statistic", got.Statistic, 40-22, 1e-14)
	if !got.Exact || got.Redraws != 0 {
		t.Errorf("%+v is not exact", got)
	}
}

// K anglers who each have one block and all favour the test pattern: of the 2^K sign
// patterns two are as extreme, so p = 2^(1-K) and nothing smaller can be reached.
func TestRandomiseFloor(t *testing.T) {
	for k := 2; k <= 12; k++ {
		draw := exact.Draw{}
		for i := range k {
			draw.Anglers = append(draw.Anglers, []exact.DrawnBlock{block(i%2 == 0, 3+int64(i), 4+int64(i), 1, 4)})
		}
		for _, statistic := range []exact.RandomisationStatistic{exact.ByBlock, exact.ByAngler} {
			got := randomise(t, coins(draw.Anglers...), statistic)
			stattest.Relative(t, "p", got.P, math.Pow(2, float64(1-k)), 1e-12)
			stattest.Relative(t, "smallest p", got.SmallestP, math.Pow(2, float64(1-k)), 1e-12)
		}
	}
}

// drawOrders calls yield with every way round each of an angler's blocks could have
// been drawn and its probability, straight from how the draw is made: a group's size
// is one of those it can have, then all orders of its blocks (written out as all
// arrangements of distinguishable slips, half of them marked) are equally likely, and the first ones are used.
func drawOrders(blocks []exact.DrawnBlock, sizes []int, yield func(testFirst []bool, p float64)) {
	var next func(from int, order []bool, p float64)
	next = func(from int, order []bool, p float64) {
		if from == len(blocks) {
			yield(order, p)
			return
		}
		used := 1
		for from+used < len(blocks) && blocks[from+used].Group == blocks[from].Group {
			used++
		}
		whole := []int{blocks[from].Size}
		if blocks[from].Size == 0 {
			whole = nil
			for _, s := range sizes {
				if s > used {
					whole = append(whole, s)
				}
			}
		}
		for _, s := range whole {
			if s == 1 {
				for _, way := range []bool{true, false} {
					next(from+1, append(order[:from:from], way), p/2/float64(len(whole)))
				}
				continue
			}
			slips := make([]int, s)
			for i := range slips {
				slips[i] = i
			}
			count := 1.
			for i := 2; i <= s; i++ {
				count *= float64(i)
			}
			permute(slips, 0, func() {
				longer := order[:from:from]
				for _, slip := range slips[:used] {
					longer = append(longer, slip < s/2)
				}
				next(from+used, longer, p/count/float64(len(whole)))
			})
		}
	}
	next(0, nil, 1)
}

func permute(slips []int, from int, yield func()) {
	if from == len(slips) {
		yield()
		return
	}
	for i := from; i < len(slips); i++ {
		slips[from], slips[i] = slips[i], slips[from]
		permute(slips, from+1, yield)
		slips[from], slips[i] = slips[i], slips[from]
	}
}

// scoreOf is Σ c·(L - L̄) fish by fish.
func scoreOf(blocks []exact.DrawnBlock, testFirst []bool) (sum float64) {
	for i, b := range blocks {
		n := float64(b.First.Lower + b.First.Upper + b.Second.Lower + b.Second.Upper)
		if n == 0 {
			continue
		}
		mean := float64(b.First.Lower+b.Second.Lower) / n
		c := -1.
		if testFirst[i] {
			c = 1
		}
		for half, takes := range []exact.Takes{b.First, b.Second} {
			if half == 1 {
				c = -c
			}
			sum += c * (float64(takes.Lower)*(1-mean) - float64(takes.Upper)*mean)
		}
	}
	return sum
}

// Against every order written out, for coins, groups of 2 and 4, groups cut off and
// groups of unknown size.
func TestRandomiseAgainstAllOrders(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := exact.Draw{Sizes: rapid.SampledFrom([][]int{{2}, {2, 4}, {4}}).Draw(t, "sizes")}
		most := int64(rapid.SampledFrom([]int{2, 4, 40}).Draw(t, "most fish"))
		takes := rapid.Custom(func(t *rapid.T) exact.Takes {
			return exact.Takes{Lower: rapid.Int64Range(0, most).Draw(t, "lower"), Upper: rapid.Int64Range(0, most).Draw(t, "upper")}
		})
		for range rapid.IntRange(1, 2).Draw(t, "anglers") { // of at most 8 blocks: 2^16 orders
			var blocks []exact.DrawnBlock
			for g := range rapid.IntRange(1, 2).Draw(t, "groups") {
				size := rapid.SampledFrom([]int{1, 2, 4, 0}).Draw(t, "size")
				used := size
				switch {
				case size == 0:
					used = rapid.IntRange(1, draw.Sizes[len(draw.Sizes)-1]-1).Draw(t, "used")
				case rapid.Bool().Draw(t, "cut"):
					used = rapid.IntRange(1, size).Draw(t, "used")
				}
				for range used {
					blocks = append(blocks, exact.DrawnBlock{
						Group: g, Size: size, TestFirst: rapid.Bool().Draw(t, "first"),
						First: takes.Draw(t, "first half"), Second: takes.Draw(t, "second half"),
					})
				}
			}
			draw.Anglers = append(draw.Anglers, blocks)
		}
		for _, statistic := range []exact.RandomisationStatistic{exact.ByBlock, exact.ByAngler} {
			againstAllOrders(t, draw, statistic)
		}
	})
}

func againstAllOrders(t *rapid.T, draw exact.Draw, statistic exact.RandomisationStatistic) {
	type value struct{ t, p float64 }
	all := []value{{0, 1}}
	seen := 0.
	for _, blocks := range draw.Anglers {
		var own []value
		var variance float64
		asDrawn := make([]bool, len(blocks))
		for i, b := range blocks {
			asDrawn[i] = b.TestFirst
		}
		chances := map[string]float64{}
		orders := map[string][]bool{}
		drawOrders(blocks, draw.Sizes, func(order []bool, p float64) {
			key := fmt.Sprint(order)
			chances[key] += p
			orders[key] = order
		})
		for key, p := range chances {
			s := scoreOf(blocks, orders[key])
			own = append(own, value{s, p})
			variance += p * s * s
		}
		scale := 1.
		if variance < 1e-20 {
			continue
		}
		if statistic == exact.ByAngler {
			scale = 1 / math.Sqrt(variance)
		}
		seen += scale * scoreOf(blocks, asDrawn)
		var both []value
		for _, a := range all {
			for _, o := range own {
				both = append(both, value{a.t + scale*o.t, a.p * o.p})
			}
		}
		all = both
	}
	var p, variance, largest, smallest float64
	for _, v := range all {
		variance += v.p * v.t * v.t
		largest = math.Max(largest, math.Abs(v.t))
	}
	for _, v := range all {
		if math.Abs(v.t) >= math.Abs(seen)-1e-8 {
			p += v.p
		}
		if math.Abs(v.t) >= largest-1e-8 {
			smallest += v.p
		}
	}
	got, err := exact.Randomise(context.Background(), draw, statistic, exact.FewestRedraws, 1, 1)
	if variance < 1e-20 {
		if !errors.Is(err, exact.ErrNoContrast) {
			t.Fatalf("%v where every order gives the same", err)
		}
		return
	}
	if err != nil {
		t.Fatalf("%+v: %v", draw, err)
	}
	if !got.Exact {
		t.Fatalf("%+v is not exact", got)
	}
	near(t, "p", got.P, p, 1e-11)
	near(t, "smallest p", got.SmallestP, smallest, 1e-11)
	near(t, "statistic", got.Statistic, seen, 1e-9)
	near(t, "standard deviation", got.StdDev, math.Sqrt(variance), 1e-9)
}

// Valid by construction: when every order of five coins comes up once, with the fish as
// they are, the p-values are at most α in at most a share α of them, and the smallest one is SmallestP.
func TestRandomiseIsValid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		takes := rapid.Custom(func(t *rapid.T) exact.Takes {
			return exact.Takes{Lower: rapid.Int64Range(0, 5).Draw(t, "lower"), Upper: rapid.Int64Range(0, 5).Draw(t, "upper")}
		})
		const blocks = 5
		halves := rapid.SliceOfN(takes, 2*blocks, 2*blocks).Draw(t, "halves")
		for _, statistic := range []exact.RandomisationStatistic{exact.ByBlock, exact.ByAngler} {
			var ps []float64
			var smallest float64
			for order := range 1 << blocks {
				draw := exact.Draw{Anglers: make([][]exact.DrawnBlock, 2)}
				for j := range blocks {
					draw.Anglers[j%2] = append(draw.Anglers[j%2], exact.DrawnBlock{TestFirst: order>>j&1 == 1, First: halves[2*j], Second: halves[2*j+1]})
				}
				got, err := exact.Randomise(context.Background(), coins(draw.Anglers...), statistic, exact.FewestRedraws, 1, 1)
				if errors.Is(err, exact.ErrNoContrast) {
					return
				}
				if err != nil {
					t.Fatal(err)
				}
				ps = append(ps, got.P)
				smallest = got.SmallestP
			}
			slices.Sort(ps)
			near(t, "smallest p", ps[0], smallest, 1e-12)
			for i, p := range ps { // i+1 of them at most, and ties lie further on
				if p < float64(i+1)/float64(len(ps))-1e-12 {
					t.Errorf("%d of %d p-values are at most %g", i+1, len(ps), p)
				}
			}
		}
	})
}
