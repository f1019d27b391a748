package power_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/num"
	"evenrig/stats/power"
)

// A trial that stands where a team of K anglers with m fish each would is told to
// go on to the size at which that team has the power asked for, and not a fish
// or an angler further.
func TestMoreFishReachesThePower(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.IntRange(5, 60).Draw(t, "anglers")
		each := rapid.IntRange(4, 60).Draw(t, "fish each")
		sd := rapid.Float64Range(0, .6).Draw(t, "sd")
		share := rapid.Float64Range(.53, .8).Draw(t, "share")
		test := power.Test{Alpha: rapid.Float64Range(.01, .1).Draw(t, "alpha"), Power: rapid.Float64Range(.5, .95).Draw(t, "power")}
		c := power.Conditions{SDPattern: sd}
		of := func(anglers int, fishEach float64) float64 {
			p, err := test.TeamPower(share, c, anglers, fishEach)
			if err != nil {
				t.Fatal(err)
			}
			return p
		}
		more, err := power.MoreFish(power.Standing{
			Anglers: k, Fish: k * each, StdErr: math.Sqrt(c.Variance(k, float64(each))), SDPattern: sd, SmallestShare: share,
		}, test)
		if err != nil {
			t.Fatal(err)
		}
		const rounding = 1e-8 // of the roots behind the two sides
		now := of(k, float64(each))
		if more.Reached != (now >= test.Power) && math.Abs(now-test.Power) > rounding {
			t.Fatalf("reached is %v at power %v", more.Reached, now)
		}
		if more.Reached {
			return
		}
		if more.SameAnglers {
			total := float64(k*each + more.Fish)
			if p := of(k, total/float64(k)); p < test.Power-rounding {
				t.Fatalf("%d more fish give power %v only", more.Fish, p)
			}
			if p := of(k, (total-1)/float64(k)); more.Fish > 1 && p > test.Power+rounding {
				t.Fatalf("one fewer than %d more fish gives power %v", more.Fish, p)
			}
		} else if _, err := test.FishEach(share, c, k); err == nil {
			t.Fatal("no number of fish is said to be enough, yet one is")
		}
		if !more.OtherAnglers {
			t.Fatal("no number of anglers is enough")
		}
		if p := of(k+more.Anglers, float64(each)); p < test.Power-rounding {
			t.Fatalf("%d more anglers give power %v only", more.Anglers, p)
		}
		if p := of(k+more.Anglers-1, float64(each)); p > test.Power+rounding {
			t.Fatalf("one fewer than %d more anglers gives power %v", more.Anglers, p)
		}
	})
}

// 191 fish tell 60 of 100 when anglers are alike and few (normal quantiles, by hand):
// one angler with 100 of them is told 91 more.
func TestMoreFishOfOneAngler(t *testing.T) {
	more, err := power.MoreFish(power.Standing{Anglers: 1, Fish: 100, StdErr: .2, SmallestShare: .6}, usual)
	if err != nil {
		t.Fatal(err)
	}
	if want := (power.More{Fish: 91, SameAnglers: true, Anglers: 1, AnglersFish: 100, OtherAnglers: true}); more != want {
		t.Errorf("%+v, want %+v", more, want)
	}
}

// Six anglers whose effects have an SD of .7 have a standard error of .286 however
// much they fish, more than .405/3.4: only other anglers help.
func TestMoreFishWhereOnlyAnglersHelp(t *testing.T) {
	more, err := power.MoreFish(power.Standing{Anglers: 6, Fish: 600, StdErr: math.Sqrt(.49/6 + 4./600), SDPattern: .7, SmallestShare: .6}, usual)
	if err != nil {
		t.Fatal(err)
	}
	if more.SameAnglers || more.Fish != 0 || !more.OtherAnglers || more.Anglers < 10 {
		t.Errorf("%+v", more)
	}
}

func TestMoreFishRefuses(t *testing.T) {
	good := power.Standing{Anglers: 6, Fish: 100, StdErr: .3, SmallestShare: .6}
	for name, spoil := range map[string]func(*power.Standing){
		"anglers":      func(s *power.Standing) { s.Anglers = 0 },
		"fish":         func(s *power.Standing) { s.Fish = 0 },
		"error":        func(s *power.Standing) { s.StdErr = 0 },
		"error NaN":    func(s *power.Standing) { s.StdErr = math.NaN() },
		"sd":           func(s *power.Standing) { s.SDPattern = -1 },
		"share half":   func(s *power.Standing) { s.SmallestShare = .5 },
		"share whole":  func(s *power.Standing) { s.SmallestShare = 1 },
		"share is NaN": func(s *power.Standing) { s.SmallestShare = num.Logit(math.NaN()) },
	} {
		s := good
		spoil(&s)
		if _, err := power.MoreFish(s, usual); !errors.Is(err, power.ErrArgument) {
			t.Errorf("%s: %v, want %v", name, err, power.ErrArgument)
		}
	}
	if _, err := power.MoreFish(good, power.Test{Alpha: 0, Power: .8}); !errors.Is(err, power.ErrArgument) {
		t.Errorf("alpha 0: %v", err)
	}
}
