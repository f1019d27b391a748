package exact_test

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"evenrig/stats/exact"
	"evenrig/stats/simulate"
	"evenrig/stats/stattest"
)

// madeUp is a trial of anglers with blocks of some fish each, in groups of four.
func madeUp(anglers, blocks int, most int64) exact.Draw {
	random := rand.New(rand.NewPCG(1, 2))
	draw := exact.Draw{Sizes: []int{4}}
	for range anglers {
		var own []exact.DrawnBlock
		var firsts []bool
		for j := range blocks {
			if j%4 == 0 {
				firsts = []bool{true, true, false, false}
				random.Shuffle(4, func(a, b int) { firsts[a], firsts[b] = firsts[b], firsts[a] })
			}
			n1, n2 := 1+random.Int64N(most), 1+random.Int64N(most)
			b := block(firsts[j%4], random.Int64N(n1+1), n1, random.Int64N(n2+1), n2)
			b.Group, b.Size = j/4+1, 4
			own = append(own, b)
		}
		draw.Anglers = append(draw.Anglers, own)
	}
	return draw
}

// Random re-draws against as many made by shuffling slips and counting fish by fish:
// four binomial standard errors of the difference.
func TestRandomiseBySampling(t *testing.T) {
	const redraws = 99_999
	draw := madeUp(10, 12, 60)
	got, err := exact.Randomise(context.Background(), draw, exact.ByBlock, redraws, 7, 2)
	if err != nil {
		t.Fatal(err)
	}
	if got.Exact || got.Redraws != redraws {
		t.Fatalf("%+v was to be sampled", got)
	}
	stattest.Relative(t, "smallest p", got.SmallestP, 1./(1+redraws), 1e-12)

	random := rand.New(rand.NewPCG(3, 4))
	seen := 0.
	extreme := 0
	for i := range redraws + 1 {
		sum := 0.
		for _, blocks := range draw.Anglers {
			order := make([]bool, len(blocks))
			for j, b := range blocks {
				order[j] = b.TestFirst
			}
			if i > 0 {
				for from := 0; from < len(order); from += 4 {
					random.Shuffle(4, func(a, b int) { order[from+a], order[from+b] = order[from+b], order[from+a] })
				}
			}
			sum += scoreOf(blocks, order)
		}
		if i == 0 {
			seen = math.Abs(sum)
		} else if math.Abs(sum) >= seen-1e-9 {
			extreme++
		}
	}
	p := float64(extreme) / redraws
	stattest.Absolute(t, "p", got.P, p, 4*math.Sqrt(2*p*(1-p)/redraws)+1./redraws)
	if p < 0.0005 || p > 0.9 {
		t.Errorf("p = %g leaves nothing to compare", p)
	}

	for _, workers := range []int{1, 3} {
		again, err := exact.Randomise(context.Background(), draw, exact.ByBlock, redraws, 7, workers)
		if err != nil || again != got {
			t.Errorf("%d workers: %+v, %v; two: %+v", workers, again, err, got)
		}
	}
}

// Where values coincide any number of blocks is exact: with halves of 2 fish the
// statistic is a sum of coins, here 800 of ±1, whose distribution is binomial.
func TestRandomiseManyBlocksIsBinomial(t *testing.T) {
	var anglers [][]exact.DrawnBlock
	favour := 430
	for a := range 80 {
		var blocks []exact.DrawnBlock
		for j := range 10 {
			y1, y2 := int64(2), int64(1)
			if a*10+j >= favour {
				y1, y2 = 0, 1
			}
			blocks = append(blocks, block(j%2 == 0, y1, 2, y2, 2))
		}
		anglers = append(anglers, blocks)
	}
	got := randomise(t, coins(anglers...), exact.ByBlock)
	want, err := exact.BinomialTwoSided(int64(favour), 800, 0.5)
	if err != nil {
		t.Fatal(err)
	}
	if !got.Exact {
		t.Error("not exact")
	}
	stattest.Relative(t, "p", got.P, want, 1e-11)
	stattest.Relative(t, "standard deviation", got.StdDev, math.Sqrt(800), 1e-12)
	stattest.Relative(t, "smallest p", got.SmallestP, math.Pow(2, -799), 1e-9)
}

// One angler with nearly all fish decides the block statistic, not the one by angler.
func TestRandomiseByAnglerCountsAnglersAlike(t *testing.T) {
	var anglers [][]exact.DrawnBlock
	for range 8 {
		anglers = append(anglers, []exact.DrawnBlock{block(true, 2, 3, 1, 3), block(false, 2, 3, 1, 3)})
	}
	anglers = append(anglers, []exact.DrawnBlock{block(true, 100, 300, 200, 300), block(false, 100, 300, 200, 300)})
	draw := coins(anglers...)
	byBlock, byAngler := randomise(t, draw, exact.ByBlock), randomise(t, draw, exact.ByAngler)
	if byBlock.Statistic >= 0 || byAngler.Statistic <= 0 {
		t.Errorf("by block %g, by angler %g", byBlock.Statistic, byAngler.Statistic)
	}
	stattest.Relative(t, "standard deviation", byAngler.StdDev, 3, 1e-12) // of 9 anglers, 1 each
}

func TestRandomiseRefusals(t *testing.T) {
	good := []exact.DrawnBlock{block(true, 2, 3, 1, 3), block(false, 3, 3, 1, 3)}
	with := func(change func(blocks []exact.DrawnBlock)) exact.Draw {
		blocks := append([]exact.DrawnBlock(nil), good...)
		for i := range blocks {
			blocks[i].Group, blocks[i].Size = i+1, 1
		}
		change(blocks)
		return exact.Draw{Anglers: [][]exact.DrawnBlock{blocks}}
	}
	same := func([]exact.DrawnBlock) {}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for _, c := range []struct {
		name    string
		draw    exact.Draw
		redraws int
		want    error
	}{
		{"few re-draws", with(same), 999, exact.ErrRedraws},
		{"no anglers", exact.Draw{}, 9999, exact.ErrNoContrast},
		{"equal halves", with(func(b []exact.DrawnBlock) { b[0].Second, b[1].Second = b[0].First, b[1].First }), 9999, exact.ErrNoContrast},
		{"empty halves", with(func(b []exact.DrawnBlock) { b[0].First, b[1].Second = exact.Takes{}, exact.Takes{} }), 9999, exact.ErrNoContrast},
		{"one pair of equal blocks", with(func(b []exact.DrawnBlock) {
			b[1] = b[0]
			b[0].Size, b[1].Size, b[1].Group = 2, 2, 1
		}), 9999, exact.ErrNoContrast},
		{"negative count", with(func(b []exact.DrawnBlock) { b[1].Second.Upper = -1 }), 9999, exact.ErrCount},
		{"counts that cancel", with(func(b []exact.DrawnBlock) {
			b[0].First, b[0].Second = exact.Takes{Lower: -1, Upper: 2}, exact.Takes{Lower: 2, Upper: -3}
		}), 9999, exact.ErrCount},
		{"count too large", with(func(b []exact.DrawnBlock) { b[1].First.Lower = exact.MaxCount + 1 }), 9999, exact.ErrCount},
		{"odd group", with(func(b []exact.DrawnBlock) { b[0].Size = 3 }), 9999, exact.ErrDraw},
		{"negative group size", with(func(b []exact.DrawnBlock) { b[0].Size = -2 }), 9999, exact.ErrDraw},
		{"group too large", with(func(b []exact.DrawnBlock) { b[0].Size = 18 }), 9999, exact.ErrDraw},
		{"two coins in a group", with(func(b []exact.DrawnBlock) { b[1].Group = 1 }), 9999, exact.ErrDraw},
		{"two sizes in a group", with(func(b []exact.DrawnBlock) { b[1].Group, b[1].Size = 1, 2 }), 9999, exact.ErrDraw},
		{"running group without sizes", with(func(b []exact.DrawnBlock) { b[1].Size = 0 }), 9999, exact.ErrDraw},
		{"group in two pieces", exact.Draw{Anglers: [][]exact.DrawnBlock{{
			{Group: 1, Size: 2}, {Group: 2, Size: 1}, {Group: 1, Size: 2},
		}}}, 9999, exact.ErrDraw},
	} {
		for _, statistic := range []exact.RandomisationStatistic{exact.ByBlock, exact.ByAngler} {
			if got, err := exact.Randomise(context.Background(), c.draw, statistic, c.redraws, 1, 1); !errors.Is(err, c.want) {
				t.Errorf("%s: %+v, %v, want %v", c.name, got, err, c.want)
			}
		}
	}
	large := madeUp(10, 12, 60)
	if _, err := exact.Randomise(ctx, large, exact.ByBlock, 9999, 1, 1); !errors.Is(err, context.Canceled) {
		t.Errorf("a cancelled context: %v", err)
	}
	if _, err := exact.Randomise(context.Background(), large, exact.ByBlock, 9999, 1, 0); !errors.Is(err, simulate.ErrReplicates) {
		t.Errorf("no workers: %v", err)
	}
}

func benchmarkRandomise(b *testing.B, draw exact.Draw, statistic exact.RandomisationStatistic) {
	for b.Loop() {
		if _, err := exact.Randomise(context.Background(), draw, statistic, 99_999, 1, 1); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkRandomise12x8SmallBlocks(b *testing.B) {
	benchmarkRandomise(b, madeUp(12, 8, 4), exact.ByBlock)
}

func BenchmarkRandomise12x8LargeBlocks(b *testing.B) {
	benchmarkRandomise(b, madeUp(12, 8, 60), exact.ByBlock)
}

func BenchmarkRandomise12x8ByAngler(b *testing.B) {
	benchmarkRandomise(b, madeUp(12, 8, 4), exact.ByAngler)
}

func BenchmarkRandomise400x8SmallBlocks(b *testing.B) {
	benchmarkRandomise(b, madeUp(400, 8, 4), exact.ByBlock)
}
