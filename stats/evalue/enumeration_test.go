package evalue_test

import (
	"math"
	"testing"

	"evenrig/stats/evalue"
	"evenrig/stats/exact"
	"evenrig/stats/stattest"
)

// All expected values of this file follow from listing every draw that could have been made: sizes
// of groups with equal chance, then every order of a group with half of its blocks each way.

// possible is one way the first blocks of an angler can have been drawn.
type possible struct {
	p      float64
	blocks []exact.DrawnBlock // without takes; the size stands at a group's last block
}

// everyDraw lists the ways the first n blocks can have been drawn; nil sizes are coins.
func everyDraw(sizes []int, n int) []possible {
	ways := []possible{{p: 1}}
	for group := 1; ; group++ {
		var longer []possible
		open := false
		for _, w := range ways {
			if len(w.blocks) >= n {
				longer = append(longer, w)
				continue
			}
			open = true
			if sizes == nil {
				for _, first := range []bool{true, false} {
					longer = append(longer, w.with(0.5, exact.DrawnBlock{Group: group, Size: 1, TestFirst: first}))
				}
				continue
			}
			for _, size := range sizes {
				orders := halves(size)
				for _, order := range orders {
					blocks := make([]exact.DrawnBlock, size)
					for i := range blocks {
						blocks[i] = exact.DrawnBlock{Group: group, TestFirst: order[i]}
					}
					blocks[size-1].Size = size
					longer = append(longer, w.with(1/float64(len(sizes)*len(orders)), blocks...))
				}
			}
		}
		ways = longer
		if !open {
			break
		}
	}
	for i := range ways {
		ways[i].blocks = ways[i].blocks[:n]
	}
	return ways
}

func (w possible) with(p float64, blocks ...exact.DrawnBlock) possible {
	return possible{p: w.p * p, blocks: append(append([]exact.DrawnBlock(nil), w.blocks...), blocks...)}
}

// halves lists the orders of size blocks, half of them true; of 1 block, both.
func halves(size int) [][]bool {
	if size == 1 {
		return [][]bool{{true}, {false}}
	}
	var orders [][]bool
	for bits := range 1 << size {
		order, n := make([]bool, size), 0
		for i := range order {
			order[i] = bits>>i&1 == 1
			if order[i] {
				n++
			}
		}
		if 2*n == size {
			orders = append(orders, order)
		}
	}
	return orders
}

// schemes are the protocol's group sizes that are tried; nil is a coin.
var schemes = map[string][]int{"coin": nil, "1": {1}, "1 or 2": {1, 2}, "2": {2}, "4": {4}, "2 or 4": {2, 4}, "2, 4 or 6": {2, 4, 6}, "4 or 6": {4, 6}}

// halvesTaken are what the halves of the blocks take, whatever the order: unequal, one empty.
var halvesTaken = [][2]exact.Takes{
	{{Lower: 3, Upper: 1}, {Lower: 1, Upper: 3}},
	{{Lower: 0, Upper: 2}, {Lower: 5, Upper: 1}},
	{{Lower: 2, Upper: 2}, {Lower: 0, Upper: 4}},
	{{}, {Lower: 2, Upper: 0}},
	{{Lower: 1, Upper: 0}, {Lower: 0, Upper: 3}},
	{{Lower: 4, Upper: 0}, {Lower: 1, Upper: 3}},
}

func TestMeanOverAllDrawsIsOne(t *testing.T) {
	t.Parallel()
	for name, sizes := range schemes {
		for n := 0; n <= len(halvesTaken); n++ {
			mean, total := 0.0, 0.0
			for _, way := range everyDraw(sizes, n) {
				e := designBased(t, sizes)
				for j, b := range way.blocks {
					b.First, b.Second = halvesTaken[j][0], halvesTaken[j][1]
					add(t, e, "a", b)
				}
				mean += way.p * e.Log().E()
				total += way.p
			}
			stattest.Absolute(t, "all draws of "+name, total, 1, 1e-12)
			stattest.Absolute(t, "mean, "+name, mean, 1, 1e-11) // sums of up to 10^4 terms
		}
	}
}

// What a block takes may depend on the orders and the evidence before it, the angler may leave when
// he is losing, and the look that stops may come in the middle of a group: the mean stays 1.
func TestMeanIsOneForAnglersWhoReactAndLeave(t *testing.T) {
	t.Parallel()
	const n = 6
	for name, sizes := range schemes {
		mean := 0.0
		for _, way := range everyDraw(sizes, n) {
			e := designBased(t, sizes)
			for j, b := range way.blocks {
				if v := e.Log().E(); v >= 1.5 || v < 0.9 {
					break
				}
				// Whoever saw the test pattern come first more often fishes harder for the lower fly in
				// the first half; whoever is ahead, in the second.
				ahead, seen := e.Log() > 0, 0
				for _, before := range way.blocks[:j] {
					if before.TestFirst {
						seen++
					}
				}
				b.First = exact.Takes{Lower: int64(seen), Upper: 3}
				b.Second = exact.Takes{Lower: 1, Upper: 2}
				if ahead {
					b.Second = exact.Takes{Lower: 6, Upper: 0}
				}
				add(t, e, "a", b)
			}
			mean += way.p * e.Log().E()
		}
		stattest.Absolute(t, "mean at leaving, "+name, mean, 1, 1e-11)
	}
}

// Two anglers who take turns share the bets' strengths: still mean 1.
func TestMeanIsOneForTwoAnglers(t *testing.T) {
	t.Parallel()
	sizes := []int{2, 4}
	ways := everyDraw(sizes, 4)
	mean := 0.0
	for _, a := range ways {
		for _, b := range ways {
			e := designBased(t, sizes)
			for j := range 4 {
				for who, way := range map[string]possible{"a": a, "b": b} {
					block := way.blocks[j]
					block.First, block.Second = halvesTaken[j][0], halvesTaken[j+len(who)][1]
					add(t, e, who, block)
				}
			}
			mean += a.p * b.p * e.Log().E()
		}
	}
	stattest.Absolute(t, "mean", mean, 1, 1e-11)
}

// The evidence of one block is w/(p·w + (1-p)·w') with p as often as the order followed the ones
// before among all draws whose group goes on.
func TestChanceOfAnOrderByCounting(t *testing.T) {
	t.Parallel()
	taken := halvesTaken[0]
	const contrast = 2 // 3 of 4 lower first, 1 of 4 second
	for name, sizes := range schemes {
		ways := everyDraw(sizes, 7)
		for _, seen := range ways {
			before, after := designBased(t, sizes), designBased(t, sizes)
			for j, b := range seen.blocks {
				add(t, before, "a", b)
				if j < 6 {
					add(t, after, "a", b)
					continue
				}
				b.First, b.Second = taken[0], taken[1]
				add(t, after, "a", b)
			}
			last := seen.blocks[6]
			var same, all float64
			for _, w := range ways {
				if agree(w.blocks[:6], seen.blocks[:6]) && w.blocks[6].Group == last.Group {
					all += w.p
					if w.blocks[6].TestFirst == last.TestFirst {
						same += w.p
					}
				}
			}
			p := same / all
			want := 0.0
			for i := 1; i <= 200; i++ {
				for _, l := range []float64{float64(i) / 100, -float64(i) / 100} {
					if !last.TestFirst {
						l = -l
					}
					want += 1 / (p + (1-p)*math.Exp(-2*l*contrast)) / 400
				}
			}
			stattest.Relative(t, "one block after six, "+name, after.Log().E(), want, 1e-11)
		}
	}
}

// agree reports whether two draws have the same orders and groups.
func agree(a, b []exact.DrawnBlock) bool {
	for i := range a {
		if a[i].TestFirst != b[i].TestFirst || a[i].Group != b[i].Group {
			return false
		}
	}
	return true
}

// Betting on whole groups would not be fair to a trial that an angler may leave: the example of the
// documentation, by listing its two orders.
func TestWholeGroupsAreUnfairToLeavers(t *testing.T) {
	t.Parallel()
	const l = 0.5
	group := func(sum float64) float64 { return 2 / (1 + math.Exp(-2*l*sum)) }
	stays := (group(2) + group(-2)) / 2
	leaves := (group(2) + 1) / 2
	stattest.Absolute(t, "all stay", stays, 1, 1e-15)
	if stattest.Absolute(t, "losers leave", leaves, 0.5+1/(1+math.Exp(-4*l)), 1e-15); leaves <= 1.3 {
		t.Errorf("mean %g", leaves)
	}
}

func designBased(t testing.TB, sizes []int) *evalue.DesignBased {
	t.Helper()
	e, err := evalue.NewDesignBased(sizes)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func add(t testing.TB, e *evalue.DesignBased, angler string, b exact.DrawnBlock) {
	t.Helper()
	if err := e.Add(angler, b); err != nil {
		t.Fatal(err)
	}
}
