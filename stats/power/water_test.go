package power_test

import (
	"math"
	"testing"

	"evenrig/stats/power"
	"evenrig/stats/stattest"
)

// finishedExactly is E[2n·⌊N/2n⌋]/E[N] for N negative binomial with variance
// mean + clumping·mean², summed term by term from the definition.
func finishedExactly(mean, clumping float64, afterFish int) float64 {
	size := 1 / clumping
	p, finished := math.Pow(size/(size+mean), size), 0.
	for n := 0; n < 2000; n++ {
		finished += p * float64(2*afterFish*(n/(2*afterFish)))
		p *= (size + float64(n)) / float64(n+1) * mean / (size + mean)
	}
	return finished / mean
}

func TestFinishedBlocksAgreeWithTheSum(t *testing.T) {
	for _, c := range []struct {
		mean, clumping float64
		after          int
	}{{8, .5, 4}, {8, .5, 2}, {8, .5, 1}, {3, 1, 2}, {15, .3, 4}, {1.5, .5, 1}, {6, .01, 3}} {
		f, err := power.FinishedBlocks(t.Context(), power.Season{
			Conditions: power.Conditions{FishPerOuting: c.mean}, Clumping: c.clumping, Swap: power.Swap{AfterFish: c.after},
		}, 2, 1)
		if err != nil {
			t.Fatal(err)
		}
		// 4 standard errors of the simulation; seven cases with one seed.
		stattest.Absolute(t, "finished share", f.Share, finishedExactly(c.mean, c.clumping, c.after), 4*f.StdErr+1e-12)
	}
}

// The usual clumping: with 8 fish an outing 59 of 100 fish stand in finished blocks
// when the swap comes after 4 fish and 82 when it comes after 2.
func TestClumpingOfTheRule(t *testing.T) {
	stattest.Absolute(t, "after 4", finishedExactly(8, power.UsualClumping, 4), .59, .005)
	stattest.Absolute(t, "after 2", finishedExactly(8, power.UsualClumping, 2), .82, .005)
}

// With a rule in minutes alone and fish that do not matter to it, the finished share
// is the share of the outing's time in whole blocks: 4 of 5 hours for blocks of two
// hours.
func TestFinishedByTheClock(t *testing.T) {
	f, err := power.FinishedBlocks(t.Context(), power.Season{
		Conditions: power.Conditions{FishPerOuting: 6}, Clumping: .5, OutingMinutes: 300, Swap: power.Swap{AfterMinutes: 60},
	}, 2, 1)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "finished share", f.Share, .8, 4*f.StdErr)
	stattest.Absolute(t, "swapped", f.Swapped, 1, 0)
	stattest.Absolute(t, "blocks", f.Blocks, 2, 0)
}

// A block that may go on at the next outing is always finished but the last.
func TestSpanningBlocksAreFinished(t *testing.T) {
	s := power.Season{Conditions: power.Conditions{FishPerOuting: 2}, Clumping: .5, Swap: power.Swap{AfterFish: 4, Span: true}}
	f, err := power.FinishedBlocks(t.Context(), s, 2, 1)
	if err != nil {
		t.Fatal(err)
	}
	// Of some 40 fish each angler's last block of 8 holds 3.5 on average.
	stattest.Absolute(t, "finished share", f.Share, 1-3.5/40, 4*f.StdErr+.01) // .01: the number of fish varies, and with it the share lost
}

func TestByOutingEveryTwoOutingsAreABlock(t *testing.T) {
	f, err := power.FinishedBlocks(t.Context(), power.Season{Conditions: power.Conditions{FishPerOuting: 1.5}, Clumping: .5}, 2, 1)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "finished share", f.Share, 1, 0) // 20 outings are 10 blocks
}
