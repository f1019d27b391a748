package power

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"evenrig/stats/glmm"
	"evenrig/stats/num"
)

// Season is how a trial's season is thought to go: the anglers, the water, the
// rule for the swap, and what gets lost.
type Season struct {
	Theta float64 // the true pattern effect of a typical angler, log odds
	Conditions
	Anglers  int     // who begin
	FishEach float64 // mean catch of an angler who stays to the end
	// OneFly fishes one pattern at a time, half a block each, by the clock: a fish is one
	// that the fly on the line takes, and minutes are counted.
	OneFly bool
	// Patterns above 2 are fished two at a time, another pair each outing in an order of
	// chance: pattern 0 is the control, Theta is pattern 1's against it and all others
	// are like the control. SDPattern is that of the control against all others.
	Patterns int
	// Clumping c makes the variance of an outing's catch mean + c·mean² (negative
	// binomial, a gamma-mixed Poisson); 0 is Poisson.
	Clumping      float64
	OutingMinutes float64 // length of an outing, read only with a rule in minutes
	Swap          Swap
	// Dropout is the share of anglers who stop at a moment spread evenly over their
	// outings; NotSure that of fish whose fly is not known; Uneven the coefficient of
	// variation of the anglers' numbers of outings (gamma).
	Dropout, NotSure, Uneven float64

	coin bool // draws every block's order by a coin; else orders are balanced in groups of 2 or 4 blocks
}

// Swap is the rule that ends a period: after so many fish, after so many minutes,
// 0 where the rule lacks it, whichever comes first. With neither, an outing is
// one period. Span lets a block left unfinished go on at the next outing.
type Swap struct {
	AfterFish, AfterMinutes int
	Span                    bool
}

func (s Swap) byOuting() bool { return s.AfterFish == 0 && s.AfterMinutes == 0 }

// count is of fish that took the test and the control pattern.
type count struct{ test, control int }

func (c count) fish() int { return c.test + c.control }

// block is a pair of periods. Counts are of analysed fish, by half.
type block struct {
	angler    int
	at        float64 // when it ended, 0 to 1 of the season
	testFirst bool    // the test pattern was lower in the first half
	half      [2]count
	outing    [2]int // on which each half ended
	landed    int    // not sure ones too
	ended     int    // halves ended by the rule
}

func (b block) finished() bool { return b.ended == 2 }

// lower and upper are the counts with the test pattern lower and upper.
func (b block) lower() count { return b.half[b.index(true)] }
func (b block) upper() count { return b.half[b.index(false)] }

func (b block) index(testLower bool) int {
	if b.testFirst == testLower {
		return 0
	}
	return 1
}

// catch is all that a drawn season has on paper.
type catch struct {
	cells   []glmm.Cell // two for each outing, test pattern lower and upper (with one fly: on the line and not)
	pairs   [][2]int    // of patterns, by outing, with more than two patterns only: "test" is the first of a pair
	minutes []float64   // of fishing behind each cell, with one fly only
	blocks  []block     // in the order in which they ended
	days    []float64   // of the outings, 0 to 1 of the season
	swapped int         // outings that saw a swap
	landed  int
}

// draw lets chance play the season.
func (s Season) draw(random *rand.Rand) catch {
	var c catch
	for a := range s.Anglers {
		s.angler(a, random, &c)
	}
	slices.SortStableFunc(c.blocks, func(x, y block) int {
		switch {
		case x.at < y.at:
			return -1
		case x.at > y.at:
			return 1
		default:
			return 0
		}
	})
	return c
}

func (s Season) angler(a int, random *rand.Rand, c *catch) {
	r := rig{
		Season: s, random: random, catch: c, angler: a,
		own: s.SDPattern * random.NormFloat64(), beta: s.Beta + s.SDPosition*random.NormFloat64(),
	}
	outings := s.FishEach / s.FishPerOuting
	if s.Uneven > 0 {
		shape := 1 / (s.Uneven * s.Uneven)
		outings *= distuv.Gamma{Alpha: shape, Beta: shape, Src: random}.Rand()
	}
	planned := max(1, wholeNumber(outings, random))
	if random.Float64() < s.Dropout {
		planned = wholeNumber(random.Float64()*float64(planned), random)
	}
	days := make([]float64, planned)
	for i := range days {
		days[i] = random.Float64()
	}
	slices.Sort(days)
	for i, day := range days {
		r.fish(i, day)
	}
	r.leave()
}

// wholeNumber rounds x at random, so that its mean is x.
func wholeNumber(x float64, random *rand.Rand) int {
	whole := math.Floor(x)
	if random.Float64() < x-whole {
		whole++
	}
	return int(whole)
}

// rig is one angler's line, from outing to outing.
type rig struct {
	Season
	random    *rand.Rand
	catch     *catch
	angler    int
	own, beta float64  // the angler's departure from Theta, and position effect
	orders    []bool   // still to come in the group
	pairs     [][2]int // still to come in the round

	outing  int
	block   block
	open    bool    // a block is under way
	half    int     // of it, 0 or 1
	counted int     // fish in the period so far
	minutes float64 // of fishing in the period before this outing
}

// fish plays one outing.
func (r *rig) fish(outing int, day float64) {
	c := r.catch
	c.days = append(c.days, day)
	r.outing = outing
	theta := r.Theta + r.own
	if r.Patterns > 2 {
		theta = r.nextPair()
	}
	theta += r.SDOuting * r.random.NormFloat64()
	cell := len(c.cells)
	c.cells = append(c.cells, glmm.Cell{Angler: r.angler, Outing: outing, TestLower: true}, glmm.Cell{Angler: r.angler, Outing: outing})
	if !r.Swap.Span && !r.Swap.byOuting() {
		r.leave()
	}
	swaps, start := 0, -r.minutes // start of the period, on this outing's clock
	var due float64
	next := func(at float64) {
		r.timed(day, start, at, cell)
		r.swap(day)
		swaps++
		start = at
	}
	c.minutes = append(c.minutes, 0, 0)
	for _, at := range r.times() {
		for due = start + float64(r.Swap.AfterMinutes); r.Swap.AfterMinutes > 0 && at > due; due = start + float64(r.Swap.AfterMinutes) {
			next(due)
		}
		r.land(day, theta, cell)
		if r.Swap.AfterFish > 0 && r.counted == r.Swap.AfterFish {
			next(at)
		}
	}
	if r.Swap.AfterMinutes > 0 {
		for due = start + float64(r.Swap.AfterMinutes); due <= r.OutingMinutes; due = start + float64(r.Swap.AfterMinutes) {
			next(due)
		}
		r.minutes = r.OutingMinutes - start
		r.timed(day, start, r.OutingMinutes, cell)
	}
	if r.Swap.byOuting() {
		next(0)
	}
	if swaps > 0 {
		c.swapped++
	}
}

// nextPair takes the next two patterns onto the line and returns the log odds of the
// first against the second.
func (r *rig) nextPair() float64 {
	if len(r.pairs) == 0 {
		for i := range r.Patterns {
			for j := range i {
				r.pairs = append(r.pairs, [2]int{i, j})
			}
		}
		r.random.Shuffle(len(r.pairs), func(i, j int) { r.pairs[i], r.pairs[j] = r.pairs[j], r.pairs[i] })
	}
	pair := r.pairs[0]
	r.pairs = r.pairs[1:]
	r.catch.pairs = append(r.catch.pairs, pair)
	theta := 0.
	switch { // the first of a pair is the later pattern, never the control
	case pair[0] == 1:
		theta = r.Theta
	case pair[1] == 1:
		theta = -r.Theta
	}
	if pair[1] == 0 {
		theta += r.own
	}
	return theta
}

// timed counts the minutes of this outing that the fly of a period was fished.
func (r *rig) timed(day, from, to float64, cell int) {
	if !r.OneFly {
		return
	}
	r.begin(day)
	if !r.testNow() {
		cell++
	}
	r.catch.minutes[cell] += to - math.Max(0, from)
}

// testNow reports whether the test pattern is lower, or with one fly on the line.
func (r *rig) testNow() bool { return r.block.testFirst == (r.half == 0) }

// times are the minutes at which an outing's fish are landed, in order; without a
// rule in minutes only their number matters.
func (r *rig) times() []float64 {
	mean := r.FishPerOuting
	if r.OneFly {
		mean *= 2 // as if both flies fished all the time; land takes those of the one that does
	}
	if r.Clumping > 0 {
		shape := 1 / r.Clumping
		mean = distuv.Gamma{Alpha: shape, Beta: shape / mean, Src: r.random}.Rand()
	}
	times := make([]float64, 0, 16)
	if r.Swap.AfterMinutes == 0 {
		return append(times, make([]float64, int(distuv.Poisson{Lambda: math.Max(mean, 1e-300), Src: r.random}.Rand()))...)
	}
	for at := r.random.ExpFloat64() / mean; at <= 1; at += r.random.ExpFloat64() / mean {
		times = append(times, at*r.OutingMinutes)
	}
	return times
}

// land adds a fish to the period that is under way.
func (r *rig) land(day, theta float64, cell int) {
	r.begin(day)
	position, testNow := r.beta, r.testNow()
	if !testNow {
		position = -position
		cell++
	}
	took := r.random.Float64() < num.Expit(theta+position)
	if r.OneFly && took != testNow {
		return
	}
	r.catch.landed++
	r.block.landed++
	r.counted++
	if r.random.Float64() < r.NotSure {
		return
	}
	if took {
		r.block.half[r.half].test++
		r.catch.cells[cell].Test++
	} else {
		r.block.half[r.half].control++
		r.catch.cells[cell].Control++
	}
}

// begin opens a block if none is under way.
func (r *rig) begin(day float64) {
	if r.open {
		r.block.at = day
		return
	}
	if len(r.orders) == 0 {
		r.orders = r.group()
	}
	r.block = block{angler: r.angler, at: day, testFirst: r.orders[0]}
	r.orders, r.open, r.half, r.counted = r.orders[1:], true, 0, 0
}

// group draws the orders of the next blocks.
func (r *rig) group() []bool {
	if r.coin {
		return []bool{r.random.IntN(2) == 0}
	}
	orders := []bool{true, false, true, false}[:2+2*r.random.IntN(2)]
	r.random.Shuffle(len(orders), func(i, j int) { orders[i], orders[j] = orders[j], orders[i] })
	return orders
}

// swap ends the period by the rule; it is the end of the block after its second.
func (r *rig) swap(day float64) {
	r.begin(day)
	r.block.outing[r.half] = r.outing
	r.block.ended++
	r.counted, r.minutes = 0, 0
	if r.half++; r.half == 2 {
		r.leave()
	}
}

// leave ends the block as it is.
func (r *rig) leave() {
	if r.open {
		r.catch.blocks = append(r.catch.blocks, r.block)
	}
	r.open, r.counted, r.minutes = false, 0, 0
}
