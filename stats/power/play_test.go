package power_test

import (
	"context"
	"errors"
	"math"
	"testing"

	"evenrig/stats/num"
	"evenrig/stats/power"
	"evenrig/stats/stattest"
)

// once is a trial that is counted once, at its end.
var once = power.Stopping{Test: usual, Rule: power.Fixed}

// seasons is the number of seasons of a test's simulation.
func seasons(t *testing.T) int {
	t.Helper()
	if testing.Short() {
		return 200
	}
	return 800
}

func play(t *testing.T, s power.Season) power.Played {
	t.Helper()
	p, err := power.Play(t.Context(), s, once, seasons(t), 2, 11, nil)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// Where anglers differ as the closed form supposes, simulation agrees with it
// within 3 binomial standard errors and .02 for what the formula leaves out: the
// information at the true share (4 % less) and an SD estimated by likelihood,
// which is too small by a factor of about √(1-1/K).
func TestClosedFormAgreesWithSimulation(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		anglers int
		fish    float64
		sd      float64
		lower   float64
	}{{12, 24, .3, .5}, {12, 48, .3, .65}, {20, 24, .5, .5}} {
		conditions := power.Conditions{Beta: num.Logit(c.lower), SDPattern: c.sd, FishPerOuting: 8}
		closed, err := usual.TeamPower(.60, conditions, c.anglers, c.fish)
		if err != nil {
			t.Fatal(err)
		}
		p := play(t, power.Season{Theta: num.Logit(.60), Conditions: conditions, Anglers: c.anglers, FishEach: c.fish, Swap: power.Swap{AfterFish: 2}})
		stattest.Absolute(t, "power", p.Settled, closed, 3*p.StdErr+.02)
	}
}

// One angler of 200 fish in a single large block, no loss: the exact conditional
// method of one 2x2 table, whose power is the sum over all tables. Played and
// summed agree within 3 standard errors.
func TestOneAnglerAgreesWithEnumeration(t *testing.T) {
	t.Parallel()
	summed, err := usual.OneAngler(.65, num.Logit(.6), 50, 50)
	if err != nil {
		t.Fatal(err)
	}
	p := play(t, power.Season{
		Theta: num.Logit(.65), Conditions: power.Conditions{Beta: num.Logit(.6), FishPerOuting: 100}, Anglers: 1, FishEach: 100,
		Clumping: 0, Swap: power.Swap{AfterFish: 50, Span: true},
	})
	// The catch of the one outing is Poisson and may end the second half early: power
	// falls by some hundredths at 90 fish, and a second outing is not fished.
	stattest.Absolute(t, "power", p.Settled, summed, 3*p.StdErr+.03)
}

// Without an effect the interval leaves out one half as often as alpha says, or less
// often where anglers are alike. .02: an SD estimated by likelihood is too small
// with twelve anglers.
func TestFalseAlarms(t *testing.T) {
	t.Parallel()
	for _, sd := range []float64{0, .4} {
		p := play(t, power.Season{Conditions: power.Conditions{SDPattern: sd, SDPosition: .3, FishPerOuting: 8}, Clumping: .5, Anglers: 12, FishEach: 24, Swap: power.Swap{AfterFish: 2}})
		if p.Settled > .05+3*math.Sqrt(.05*.95/float64(p.Seasons))+.02 {
			t.Errorf("SD %v: false alarms %v", sd, p.Settled)
		}
		if p.WrongSide != 0 {
			t.Errorf("without an effect there is no wrong side, got %v", p.WrongSide)
		}
	}
}

// Losses are what they are said to be: of 12 anglers with 3 outings of 8 fish a
// fifth stop half-way, and 1 fish in 20 is not sure.
func TestLossesOfASeason(t *testing.T) {
	t.Parallel()
	s := power.Season{
		Conditions: power.Conditions{FishPerOuting: 8}, Clumping: .5, Anglers: 12, FishEach: 24, Swap: power.Swap{AfterFish: 2},
		Dropout: .2, NotSure: .05, Uneven: .3,
	}
	p := play(t, s)
	n := float64(p.Seasons)
	// A season's catch has an SD of about 45 fish: 36 outings with an SD of 6.3 fish, 12
	// anglers with 1 outing more or less.
	stattest.Absolute(t, "landed", p.Landed, 12*24*.9, 4*45/math.Sqrt(n)+2) // 2: uneven numbers of outings are at least 1
	stattest.Absolute(t, "analysed", p.Analysed, p.Landed*.95, 4*4/math.Sqrt(n))
	stattest.Absolute(t, "outings", p.Outings, p.Landed/8, 4*3/math.Sqrt(n))
}

// One fly at a time: fish land at the rate that was asked for, in the share that the
// rate ratio gives, and the closed form with p = 1/2 agrees with simulation as for
// two flies; one angler's exact comparison is the binomial test of all fish where
// both flies fish equally long.
func TestOneFlyAtATime(t *testing.T) {
	t.Parallel()
	s := power.Season{
		Theta: num.Logit(.6), Conditions: power.Conditions{SDPattern: .3, FishPerOuting: 8}, Clumping: .5, OutingMinutes: 240,
		Anglers: 12, FishEach: 24, OneFly: true, Swap: power.Swap{AfterMinutes: 60},
	}
	closed, err := usual.TeamPower(.60, s.Conditions, s.Anglers, s.FishEach)
	if err != nil {
		t.Fatal(err)
	}
	p := play(t, s)
	stattest.Absolute(t, "power", p.Settled, closed, 3*p.StdErr+.02)                  // see TestClosedFormAgreesWithSimulation
	stattest.Absolute(t, "landed", p.Landed, 288, 4*45/math.Sqrt(float64(p.Seasons))) // see TestLossesOfASeason

	s.Conditions, s.Clumping, s.Anglers, s.FishEach = power.Conditions{FishPerOuting: 100}, 0, 1, 100
	p = play(t, s)
	q := power.Usual()
	q.Design, q.Swap.AfterFish, q.Anglers, q.FishEach, q.Dropout, q.NotSure, q.Seasons = power.Alternating, nil, 1, 100, 0, 0, 0
	a := plan(t, q)
	stattest.Absolute(t, "one angler", p.Settled, *a.PowerExact, 3*p.StdErr+.01) // .01: the catch is Poisson about 100
}

// R 4.2.2: with 100 fish the central binomial test at .05 rejects one half at 39 or
// fewer and 61 or more; sum(dbinom(c(0:39, 61:100), 100, .6)) = 0.4621 (4 digits).
func TestBinomialPowerOfOneAngler(t *testing.T) {
	t.Parallel()
	q := power.Usual()
	q.Design, q.Swap.AfterFish, q.Anglers, q.FishEach, q.Dropout, q.NotSure, q.Seasons = power.Alternating, nil, 1, 100, 0, 0, 0
	stattest.Absolute(t, "power", *plan(t, q).PowerExact, .4621, .00005)
}

// Three patterns, two at a time. In a complete round of P patterns with n fish in all
// the weighted Laplacian is n·w/(P(P-1)/2)·(P·I - J), so that a difference of
// strengths has the variance 2/(P·n·w/(P(P-1)/2)) = (P-1)/(n·w) (elementary
// algebra; w = 1/4): the closed form counts half the fish, at alpha/2 (Bonferroni).
func TestThreePatterns(t *testing.T) {
	t.Parallel()
	q := power.Usual()
	q.Design, q.Patterns, q.SmallestShare, q.FishEach, q.SDPosition, q.Dropout, q.NotSure, q.Uneven, q.Seasons = power.RoundRobin, 3, .65, 48, 0, 0, 0, 0, 0
	a := plan(t, q)
	closed, err := power.Test{Alpha: .025}.TeamPower(.65, power.Conditions{SDPattern: .3}, 12, 24)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "closed form", a.Power, closed, 1e-12)
	q.Seasons = seasons(t) / 4
	p := plan(t, q)
	// Holm is a little less strict than Bonferroni, the share's own information a little
	// less than that at one half: .03.
	stattest.Absolute(t, "power", p.Played.Settled, closed, 3*p.Played.StdErr+.03)
	if p.NoEffect.Settled > .05+3*math.Sqrt(.05*.95/float64(q.Seasons)) {
		t.Errorf("false alarms %v", p.NoEffect.Settled)
	}
}

// Looks and evidence raise no more false alarms than alpha, find an effect of 60 of
// 100 less often than one count at the end, and end seasons early.
func TestLooksAndEvidence(t *testing.T) {
	t.Parallel()
	s := power.Season{Conditions: power.Conditions{FishPerOuting: 8}, Clumping: .5, Anglers: 12, FishEach: 32, Swap: power.Swap{AfterFish: 2}}
	s.Theta = num.Logit(.6)
	single := play(t, s)
	for _, rule := range []power.Stopping{
		{Test: usual, Rule: power.GroupSequential, Looks: 4, Spending: power.SpendOBrienFleming, Effect: num.Logit(.6)},
		{Test: usual, Rule: power.GroupSequential, Looks: 3, Spending: power.SpendPocock, Effect: num.Logit(.6)},
		{Test: usual, Rule: power.Anytime},
	} {
		of := func(theta float64) power.Played {
			s.Theta = theta
			p, err := power.Play(t.Context(), s, rule, seasons(t)/4, 2, 3, nil)
			if err != nil {
				t.Fatal(err)
			}
			return p
		}
		if p := of(0); p.Settled > .05+3*math.Sqrt(.05*.95/float64(p.Seasons)) {
			t.Errorf("%s: false alarms %v", rule.Rule, p.Settled)
		}
		p := of(num.Logit(.6))
		if p.Settled > single.Settled+3*single.StdErr || p.Settled < .3 || p.Early == 0 || p.Analysed >= single.Analysed || p.WrongSide > .01 {
			t.Errorf("%s: %+v, counted once %+v", rule.Rule, p, single)
		}
	}
}

func TestWorkersDoNotChangeASeason(t *testing.T) {
	t.Parallel()
	s := power.Season{
		Theta: .4, Conditions: power.Conditions{SDPattern: .3, FishPerOuting: 5}, Clumping: .5, OutingMinutes: 240, Anglers: 6, FishEach: 20,
		Swap: power.Swap{AfterFish: 2, AfterMinutes: 45}, Dropout: .2, NotSure: .05, Uneven: .5,
	}
	one, err := power.Play(t.Context(), s, once, 60, 1, 5, nil)
	if err != nil {
		t.Fatal(err)
	}
	many, err := power.Play(t.Context(), s, once, 60, 7, 5, nil)
	if err != nil {
		t.Fatal(err)
	}
	if one != many {
		t.Errorf("one worker %+v, seven %+v", one, many)
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := power.Play(ended, s, once, 60, 2, 5, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// BenchmarkPlay times 10 000 seasons of 12 anglers on two workers.
func BenchmarkPlay(b *testing.B) {
	for b.Loop() {
		_, err := power.Play(b.Context(), power.Season{
			Theta: num.Logit(.6), Conditions: power.Conditions{SDPattern: .3, SDPosition: .3, FishPerOuting: 8}, Anglers: 12, FishEach: 24,
			Clumping: .5, OutingMinutes: 240, Swap: power.Swap{AfterFish: 2, AfterMinutes: 45}, Dropout: .2, NotSure: .05, Uneven: .3,
		}, once, 10_000, 2, 1, nil)
		if err != nil {
			b.Fatal(err)
		}
	}
}
