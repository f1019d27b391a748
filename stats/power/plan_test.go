package power_test

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/power"
	"evenrig/stats/stattest"
)

// lossless is the question of the table of sizes: nothing gets lost, anglers alike
// in the position, no seasons played.
func lossless() power.Question {
	q := power.Usual()
	q.Dropout, q.NotSure, q.SDPosition, q.Seasons = 0, 0, 0, 0
	return q
}

func plan(t testing.TB, q power.Question) power.Answer {
	t.Helper()
	a, err := power.Plan(t.Context(), q, 2, nil)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// Fish when anglers are alike as in TestFishWhenAnglersAreAlike; the teams' powers as
// R has them.
func TestPlanGivesTheTableOfSizes(t *testing.T) {
	t.Parallel()
	var want outside
	stattest.Load(t, "power/noncentral_t.json", &want)
	for _, c := range want.Team {
		q := lossless()
		q.Anglers, q.FishEach, q.SDPattern = c.Anglers, c.Fish, c.SD
		a := plan(t, q)
		stattest.Absolute(t, "power", a.Power, c.Power, 2e-12)
		if got := []int{a.Shares[0].Alike, a.Shares[1].Alike, a.Shares[2].Alike, a.Shares[3].Alike}; !slices.Equal(got, []int{780, 191, 82, 44}) {
			t.Errorf("fish for .55, .60, .65, .70: %v", got)
		}
	}
}

// What a plan recommends has the power asked for by its own formula, and a size
// below does not; more is never worse; losses make everything dearer.
func TestPlanIsConsistent(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		q := lossless()
		q.Anglers = rapid.IntRange(1, 60).Draw(rt, "anglers")
		q.FishEach = float64(rapid.IntRange(4, 80).Draw(rt, "fish each"))
		q.SDPattern = rapid.Float64Range(0, .8).Draw(rt, "sd")
		q.SDOuting = rapid.Float64Range(0, .5).Draw(rt, "sd outing")
		q.SmallestShare = rapid.Float64Range(.54, .8).Draw(rt, "share")
		q.LowerShare = rapid.Float64Range(.2, .8).Draw(rt, "lower")
		a := plan(t, q)
		if c := a.ByAnglers; c != nil && c.Anglers > 5 {
			q.Anglers = c.Anglers
			if p := plan(t, q); p.Power < q.Power {
				rt.Errorf("%d anglers have power %v", q.Anglers, p.Power)
			}
			q.Anglers--
			if p := plan(t, q); p.Power >= q.Power {
				rt.Errorf("%d anglers would do", q.Anglers)
			}
		}
		for i := range a.Teams {
			for j := range a.Teams {
				x, y := a.Teams[i], a.Teams[j]
				if x.Anglers > power.FewAnglers && x.Anglers <= y.Anglers && x.FishEach <= y.FishEach && x.Power > y.Power+1e-9 {
					rt.Errorf("%+v is worse than %+v", y, x)
				}
			}
			if a.Teams[i].Anglers > power.FewAnglers && a.Teams[i].Power > a.Teams[i].PowerAlike+1e-9 {
				rt.Errorf("%+v: anglers who differ help", a.Teams[i])
			}
		}
		for i := 1; i < len(a.ByShare); i++ {
			if a.ByShare[i].Power < a.ByShare[i-1].Power-1e-9 {
				rt.Errorf("a larger share is seen less often: %v", a.ByShare)
			}
		}
		if a.Question.Anglers > power.FewAnglers {
			// Without an effect what is seen is a false alarm.
			stattest.Absolute(t, "false alarms", a.ByShare[0].Power, q.Alpha, 1e-9)
		}
	})
}

func TestLossesAndLooksMakeATrialLarger(t *testing.T) {
	t.Parallel()
	q := lossless()
	plain := plan(t, q)
	q.Dropout, q.NotSure = .2, .05
	lossy := plan(t, q)
	stattest.Absolute(t, "kept", lossy.Kept, .9*.95, 1e-15)
	if lossy.Power >= plain.Power || lossy.ByAnglers.Anglers <= plain.ByAnglers.Anglers || lossy.Fish != plain.Fish {
		t.Errorf("with losses %+v, without %+v", lossy.ByAnglers, plain.ByAnglers)
	}
	q.Stopping, q.Looks, q.Spending = power.GroupSequential, 4, power.SpendPocock
	looks := plan(t, q)
	// Jennison & Turnbull (2000), table 2.1 (Pocock's test): maximum sample size ratio
	// 1.202 for 4 looks at .05 and power .8; the spending function of Pocock's type is within .02 of it.
	stattest.Absolute(t, "inflation", looks.Inflation, 1.202, .02)
	if looks.Power >= lossy.Power || looks.Fish <= lossy.Fish {
		t.Errorf("looks cost nothing: %+v", looks)
	}
}

// The false alarms of "55 of 100" by hand: 2·P(X >= ⌈.55n⌉), X binomial with p = 1/2, to
// three digits as R 4.2.2's pbinom has them.
func TestRuleOfThumb(t *testing.T) {
	t.Parallel()
	q := lossless()
	q.Anglers = 1
	for fish, want := range map[float64]float64{20: .824, 50: .480, 100: .368, 200: .179, 400: .051} {
		q.FishEach = fish
		stattest.Absolute(t, "false alarm", plan(t, q).Thumb.FalseAlarm, want, .0005)
	}
}

func TestFishAloneMayNeverBeEnough(t *testing.T) {
	t.Parallel()
	q := lossless()
	q.Anglers, q.SDPattern = 6, .5
	a := plan(t, q)
	if a.ByFish != nil || a.ByAnglers == nil || !warned(a, power.WarnFishNeverEnough) {
		t.Errorf("by fish %+v, by anglers %+v, warnings %v", a.ByFish, a.ByAnglers, a.Warnings)
	}
}

// The advice about the swap: with 3 fish an outing a swap after 8 hardly ever comes;
// after 4 with 8 fish an outing 59 of 100 fish are in finished blocks, after 2 82.
func TestPlanAdvisesOnTheSwap(t *testing.T) {
	t.Parallel()
	eight, four, two := 8, 4, 2
	q := lossless()
	q.FishPerOuting, q.Swap = 3, power.SwapRule{AfterFish: &eight}
	if a := plan(t, q); !warned(a, power.WarnHardlySwaps) {
		t.Errorf("%v", a.Warnings)
	}
	q.FishPerOuting, q.Swap = 8, power.SwapRule{AfterFish: &four}
	a := plan(t, q)
	if !warned(a, power.WarnUnfinishedBlocks) || !strings.Contains(a.Warnings[0].Detail, "after 2 fish") {
		t.Errorf("%v", a.Warnings)
	}
	q.Swap = power.SwapRule{AfterFish: &two}
	if a := plan(t, q); len(a.Warnings) != 0 {
		t.Errorf("%v", a.Warnings)
	}
	q.Swap = power.SwapRule{AfterFish: &four, BlockMaySpan: true}
	if a := plan(t, q); len(a.Warnings) != 0 || a.Swaps[0].Finished < .9 {
		t.Errorf("%v, %+v", a.Warnings, a.Swaps[0])
	}
}

func warned(a power.Answer, code string) bool {
	return slices.ContainsFunc(a.Warnings, func(w power.Warning) bool { return w.Code == code })
}

func TestEveryFaultIsNamed(t *testing.T) {
	t.Parallel()
	fish := 0
	q := power.Question{Design: "single", SmallestShare: .5, Alpha: 0, Power: 1, LowerShare: math.NaN(), Swap: power.SwapRule{AfterFish: &fish}, Stopping: "never", Looks: 3, Spending: "all", SDPattern: -1, Seasons: -1, NotSure: 1, Dropout: 1, Uneven: 3, Clumping: -1, SDPosition: 4, SDOuting: 9}
	_, err := power.Plan(t.Context(), q, 1, nil)
	var faults power.Faults
	if !errors.As(err, &faults) || !errors.Is(err, power.ErrArgument) {
		t.Fatalf("%v", err)
	}
	var fields []string
	for _, f := range faults {
		fields = append(fields, f.Field)
	}
	want := []string{
		"design", "patterns", "smallest_share", "alpha", "power", "lower_share", "anglers", "fish_each", "fish_per_outing", "clumping", "outing_minutes", "sd_pattern", "sd_position",
		"sd_outing", "swap.after_fish", "dropout", "not_sure", "uneven", "stopping", "looks", "spending", "seasons",
	}
	if !slices.Equal(fields, want) {
		t.Errorf("faults of %v, want %v", fields, want)
	}
}

func TestFaultsOfOneField(t *testing.T) {
	t.Parallel()
	for field, spoil := range map[string]func(*power.Question){
		"swap":                        func(q *power.Question) { q.Swap = power.SwapRule{} },
		"swap.block_may_span_outings": func(q *power.Question) { q.Design, q.Swap = power.PairedByOuting, power.SwapRule{BlockMaySpan: true} },
		"anglers": func(q *power.Question) {
			q.Anglers, q.Stopping, q.Looks, q.Spending = 5, power.GroupSequential, 3, power.SpendPocock
		},
		"patterns":           func(q *power.Question) { q.Patterns = 3 },
		"stopping":           func(q *power.Question) { q.Design, q.Patterns, q.Stopping = power.RoundRobin, 3, power.Anytime },
		"swap.after_fish":    func(q *power.Question) { q.Design = power.Alternating },
		"swap.after_minutes": func(q *power.Question) { q.Design, q.Swap = power.Alternating, power.SwapRule{} },
		"looks":              func(q *power.Question) { q.Stopping, q.Looks, q.Spending = power.GroupSequential, 7, power.SpendPocock },
		"spending":           func(q *power.Question) { q.Stopping, q.Looks = power.GroupSequential, 3 },
		"seasons":            func(q *power.Question) { q.Seasons, q.FishEach = 100_000, 1000 },
	} {
		q := power.Usual()
		spoil(&q)
		var faults power.Faults
		if err := q.Check(); !errors.As(err, &faults) || len(faults) != 1 || faults[0].Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
	if err := power.Usual().Check(); err != nil {
		t.Error(err)
	}
}

// The same question gives the same bytes on any number of workers, and the question
// in an answer gives the answer again.
func TestPlanIsReproducible(t *testing.T) {
	t.Parallel()
	q := power.Usual()
	q.Seasons, q.Anglers, q.FishEach = 40, 8, 16
	encode := func(workers int, q power.Question) string {
		a, err := power.Plan(t.Context(), q, workers, func(done, of int) {
			if done > of {
				t.Errorf("%d of %d played", done, of)
			}
		})
		if err != nil {
			t.Fatal(err)
		}
		raw, err := json.Marshal(a)
		if err != nil {
			t.Fatal(err)
		}
		return string(raw)
	}
	first := encode(1, q)
	var again power.Answer
	if err := json.Unmarshal([]byte(first), &again); err != nil {
		t.Fatal(err)
	}
	if second := encode(5, again.Question); second != first {
		t.Errorf("not the same bytes:\n%s\n%s", first, second)
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := power.Plan(ended, q, 1, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// Whatever passes Check has an answer that JSON can hold: no NaN, no infinity.
func FuzzPlan(f *testing.F) {
	f.Add(.6, .05, .8, .5, 12, 24., 8., .5, .3, .3, 0., 2, 45, .2, .05, .3)
	f.Add(.51, .001, .99, .05, 1, 1., .1, 10., 3., 3., 3., 20, 0, .9, .5, 2.)
	f.Add(.9, .2, .5, .95, 10_000, 100_000., 500., 0., 0., 0., 0., 0, 180, 0., 0., 0.)
	f.Fuzz(func(t *testing.T, share, alpha, pow, lower float64, anglers int, fish, per, clump, sd, sdPosition, sdOuting float64, after, minutes int, dropout, notSure, uneven float64) {
		q := power.Usual()
		q.SmallestShare, q.Alpha, q.Power, q.LowerShare, q.Anglers, q.FishEach, q.FishPerOuting, q.Clumping = share, alpha, pow, lower, anglers, fish, per, clump
		q.SDPattern, q.SDPosition, q.SDOuting, q.Dropout, q.NotSure, q.Uneven = sd, sdPosition, sdOuting, dropout, notSure, uneven
		q.Swap = power.SwapRule{AfterFish: &after, AfterMinutes: &minutes}
		if after == 0 {
			q.Swap.AfterFish = nil
		}
		if minutes == 0 {
			q.Swap.AfterMinutes = nil
		}
		q.Seasons = 0
		if anglers <= 8 && fish <= 50 && per >= .5 && share >= .6 { // so that no search plays much
			q.Seasons = 2
		}
		a, err := power.Plan(t.Context(), q, 1, nil)
		if err != nil {
			if !errors.Is(err, power.ErrArgument) {
				t.Fatal(err)
			}
			return
		}
		if _, err := json.Marshal(a); err != nil {
			t.Fatal(err)
		}
	})
}
