package exact

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"sort"

	"evenrig/stats/simulate"
)

// Takes counts the fish of one half of a block by the position of the fly they
// took, whichever pattern was there. Each 0 to MaxCount.
type Takes struct{ Lower, Upper int64 }

// DrawnBlock is one opened block of an angler's draw: which way round it was drawn
// to be fished, and what its halves took. A block with an empty or unfinished half
// has its place in the draw all the same, and must be listed.
type DrawnBlock struct {
	Group     int   // number of its permuted group; the blocks of a group follow one another
	Size      int   // blocks in the whole group, 1 for a coin; 0 while the group has unopened blocks, so that its size is not known
	TestFirst bool  // the draw said: test pattern lower in the first half, control lower in the second
	First     Takes // in the first half
	Second    Takes
}

// Draw is how the orders of a trial were drawn. Anglers[a] lists angler a's blocks in
// the order of the draw. A group of size 1 is the toss of a coin; a group of 2, 4, ...
// up to MaxGroup is a uniformly random order of its blocks, half of them each way, of
// which only the first ones may have been used. Sizes lists the sizes from which
// that of a group was chosen, each equally likely; it is read only where a group is
// still running (DrawnBlock.Size 0) and may be empty otherwise.
type Draw struct {
	Anglers [][]DrawnBlock
	Sizes   []int
}

// MaxGroup is the largest permuted group accepted.
const MaxGroup = 16

// FewestRedraws is the smallest number of random re-draws that Randomise accepts.
const FewestRedraws = 9_999

// RandomisationStatistic says what Randomise sums up.
type RandomisationStatistic int

const (
	// ByBlock is T = Σ over fish of c·(L - L̄), L = 1 if the fish took the lower fly, L̄
	// the mean of its block, c = +1 (-1) if the draw put the test (control) pattern
	// lower. It is the score at θ = 0 of the logistic model with an own position
	// effect for each block. A block contributes ±2(L₁n₂ - L₂n₁)/(n₁+n₂) with L of n
	// fish lower in each half: where both halves have as many fish, lower takes
	// with the test pattern lower less lower takes with the control lower. A
	// block with an empty half contributes 0.
	ByBlock RandomisationStatistic = iota
	// ByAngler is the sum over anglers of T within the angler divided by its own
	// standard deviation over all re-draws, so that every angler counts alike and
	// one with nearly all the fish does not decide.
	ByAngler
)

// Randomisation is the result of a randomisation test.
type Randomisation struct {
	Statistic float64 // as drawn: fish for ByBlock, standard deviations for ByAngler; above 0 where the test pattern took more
	StdDev    float64 // of the statistic over all re-draws; their mean is 0
	P         float64 // two-sided: |re-drawn| >= |as drawn|, in (0, 1]
	SmallestP float64 // the smallest P that any outcome of the draw could have given
	Exact     bool    // P is exact; otherwise (1+k)/(1+Redraws), k of the random re-draws being as extreme
	Redraws   int     // random re-draws made; 0 where P is exact, and where it is the saddlepoint approximation of so many groups
}

// ErrDraw: a draw that cannot have happened: a group of an illegal size, longer than
// its size, or not in one piece.
var ErrDraw = errors.New("a group is 1 block (a coin) or an even number of blocks from 2 to 16, listed in one piece and no longer than its size")

// ErrRedraws: too few random re-draws asked for.
var ErrRedraws = errors.New("at least 9999 re-draws are needed")

// ErrNoContrast: every order that could have been drawn gives the same statistic.
var ErrNoContrast = errors.New("no other order of the arrangements would change the statistic")

// Randomise tests the sharp hypothesis that no fish would have taken another
// position had the arrangements come in another order, by drawing that order
// again as it was drawn. What each half took stays; only which arrangement it is
// counted to changes. The order is the one drawn, not what was rigged by mistake:
// so a deviation weakens the test and never falsifies it. No model of the fish is
// used; a lasting effect of one half on the next is not tested for.
//
// Groups are independent and the statistic is a sum over them, so its distribution
// is found exactly, by convolution, as long as its two halves take no more than
// 2^20 values each: up to 40 coins whatever the counts, and any number of blocks where
// the halves are as large as each other or the blocks small, so that values
// coincide. Beyond that redraws orders are drawn at random, one stream of the
// seed each, on the given number of workers; the answer does not depend on that
// number. Of more than 2000 groups (anglers, for ByAngler) whose values do not coincide, P is the saddlepoint approximation, good to
// a thousandth of itself. Orders count as as extreme when |T| reaches the one seen, with 1e-9 of the
// largest possible |T| allowed for rounding where the values are not on a lattice.
//
// Errors: ErrCount, ErrDraw; ErrRedraws below FewestRedraws (also where none turn
// out to be needed); ErrNoContrast; simulate.ErrReplicates for workers < 1; the
// context's. Sources: Edgington & Onghena (2007), Randomization Tests, 4th ed.;
// Rosenberger & Lachin (2002), Randomization in Clinical Trials, chapter 7; for
// the 1 added, Phipson & Smyth (2010), Statistical Applications in Genetics and
// Molecular Biology 9:39.
func Randomise(ctx context.Context, draw Draw, statistic RandomisationStatistic, redraws int, seed uint64, workers int) (Randomisation, error) {
	if redraws < FewestRedraws {
		return Randomisation{}, fmt.Errorf("%d re-draws: %w", redraws, ErrRedraws)
	}
	test, err := newRandomisation(draw, statistic)
	if err != nil {
		return Randomisation{}, err
	}
	result := Randomisation{Statistic: test.seen, StdDev: test.stdDev}
	if test.unit != offLattice {
		result.Statistic, result.StdDev = test.seen/test.unit, test.stdDev/test.unit
	}
	floor := 2.0 // both signs
	for _, part := range test.parts {
		floor *= part[len(part)-1].p
	}
	if test.tooMany() {
		result.P, result.SmallestP = atLeastSmallest(test.saddlepoint()), atLeastSmallest(floor)
		return result, nil
	}
	if p, ok := test.exact(); ok {
		result.P, result.SmallestP, result.Exact = atLeastSmallest(p), atLeastSmallest(floor), true
		return result, nil
	}
	extreme, err := test.sample(ctx, redraws, seed, workers)
	if err != nil {
		return Randomisation{}, err
	}
	result.Redraws = redraws
	result.P = float64(1+extreme) / float64(1+redraws)
	result.SmallestP = math.Max(floor, 1/float64(1+redraws))
	return result, nil
}

// randomisation is a test statistic as a sum of independent parts, each with its
// distribution under re-drawing.
type randomisation struct {
	parts     []points // each symmetric about 0
	seen      float64
	stdDev    float64
	unit      float64 // values are whole multiples of 1/unit, and kept as whole numbers; or offLattice, and kept as they are
	tolerance float64 // by which |re-drawn| may fall short of |seen| and still count
}

func newRandomisation(draw Draw, statistic RandomisationStatistic) (randomisation, error) {
	if err := draw.validate(); err != nil {
		return randomisation{}, err
	}
	test := randomisation{unit: commonUnit(draw.Anglers...)}
	var variance float64
	for a, blocks := range draw.Anglers {
		unit := test.unit
		if statistic == ByAngler {
			unit = commonUnit(blocks)
		}
		groups, seen, err := redrawn(blocks, draw.Sizes, unit)
		if err != nil {
			return randomisation{}, fmt.Errorf("angler %d, %w", a+1, err)
		}
		var own float64
		for _, g := range groups {
			own += g.variance()
		}
		if own == 0 {
			continue
		}
		if statistic == ByAngler {
			groups = merged(groups, mostPoints/len(draw.Anglers))
			scale := 1 / math.Sqrt(own)
			for _, g := range groups {
				g.scale(scale)
			}
			seen, own = seen*scale, 1
		}
		test.parts = append(test.parts, groups...)
		test.seen += seen
		variance += own
	}
	if variance == 0 {
		return randomisation{}, ErrNoContrast
	}
	if statistic == ByAngler {
		test.unit = offLattice
	}
	test.stdDev = math.Sqrt(variance)
	if test.unit == offLattice {
		for _, part := range test.parts {
			test.tolerance += 1e-9 * part[len(part)-1].value
		}
	}
	return test, nil
}

// exact returns P(|T| >= |seen|) over all orders; ok is false where that takes too many values.
func (r randomisation) exact() (p float64, ok bool) {
	left, right := points{{0, 1}}, points{{0, 1}}
	work := 0
	for _, part := range r.parts {
		if len(left) > len(right) {
			left, right = right, left
		}
		work += len(left) * len(part)
		if len(left)*len(part) > 8*mostPoints || work > mostWork || left.manyWith(part) {
			return 0, false
		}
		left = left.plus(part)
		if len(left) > mostPoints {
			return 0, false
		}
	}
	bar := math.Abs(r.seen) - r.tolerance
	if bar <= 0 {
		return 1, true
	}
	return math.Min(1, 2*upperTail(left, right, bar)), true
}

// sample returns how many of the given number of random re-draws are as extreme as the order drawn.
func (r randomisation) sample(ctx context.Context, redraws int, seed uint64, workers int) (int, error) {
	cumulative := make([][]float64, len(r.parts))
	for i, part := range r.parts {
		cumulative[i] = part.cumulative()
	}
	bar := math.Abs(r.seen) - r.tolerance
	values, err := simulate.Run(ctx, redraws, workers, seed, func(_ int, random *rand.Rand) float64 {
		var sum float64
		for i, part := range r.parts {
			j := sort.SearchFloat64s(cumulative[i], random.Float64())
			sum += part[min(j, len(part)-1)].value
		}
		return sum
	}, nil)
	if err != nil {
		return 0, err
	}
	extreme := 0
	for _, value := range values {
		if math.Abs(value) >= bar {
			extreme++
		}
	}
	return extreme, nil
}
