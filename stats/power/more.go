package power

import (
	"fmt"
	"math"

	"evenrig/stats/num"
)

// Standing is where a trial stands: what its answer was made from.
type Standing struct {
	// Anglers with an analysed fish and Fish analysed, both 1 or more.
	Anglers, Fish int
	// StdErr is the standard error of θ, log odds, above 0.
	StdErr float64
	// SDPattern is the SD of the pattern effect between anglers, log odds, 0 or more;
	// 0 where the method that speaks allows for none.
	SDPattern float64
	// SmallestShare is the smallest share worth knowing, above 1/2 and below 1.
	SmallestShare float64
}

// More is what would settle a trial. The numbers count what has still to come.
type More struct {
	// Reached: the trial is already as large as the plan asks; the rest is 0.
	Reached bool
	// Fish by the same anglers, in the shares in which they caught so far; ok is
	// SameAnglers. Where that is false no number of fish is enough, because the
	// anglers differ too much for so few of them.
	Fish        int
	SameAnglers bool
	// Anglers more, each with as many fish as those so far, and their fish; ok is
	// OtherAnglers, false above MostAnglers.
	Anglers      int
	AnglersFish  int
	OtherAnglers bool
}

// MoreFish is how many more fish by the same anglers, or how many more anglers
// like them, a trial needs until its interval keeps clear of 50 of 100 with the
// power of the test, should the true share be the smallest worth knowing.
//
// The standard error is split into what more fish make smaller and what only more
// anglers do: SE² = τ²/K + s²/n, with s² at least the 4 that a fish can tell at
// best. N fish by the same anglers then give τ²/K + s²/N, K' anglers like them
// SE²·K/K', and either must be at most θ/Reach with t on K-1 (K'-1) degrees of
// freedom, normal up to FewAnglers. Where the answer stands now plays no part:
// this is a plan made with what the trial has taught about its anglers, not the
// chance that it tips over.
//
// Errors: ErrArgument.
func MoreFish(s Standing, t Test) (More, error) {
	if err := s.check(); err != nil {
		return More{}, err
	}
	if err := t.check(); err != nil {
		return More{}, err
	}
	theta, k, n := num.Logit(s.SmallestShare), float64(s.Anglers), float64(s.Fish)
	reach, err := t.Reach(freedom(s.Anglers))
	if err != nil {
		return More{}, err
	}
	allowed := theta / reach
	if s.StdErr <= allowed {
		return More{Reached: true}, nil
	}
	var m More
	between := s.SDPattern * s.SDPattern / k
	within := math.Max(4, (s.StdErr*s.StdErr-between)*n)
	if left := allowed*allowed - between; left > 0 && within/left <= MostFish {
		m.Fish, m.SameAnglers = max(1, int(math.Ceil(within/left))-s.Fish), true
	}
	enough, err := smallest(s.Anglers+1, MostAnglers, func(anglers int) (bool, error) {
		reach, err := t.Reach(freedom(anglers))
		return s.StdErr*math.Sqrt(k/float64(anglers))*reach <= theta, err
	})
	if err == nil {
		m.Anglers, m.OtherAnglers = enough-s.Anglers, true
		m.AnglersFish = int(math.Ceil(n / k * float64(m.Anglers)))
	}
	return m, nil
}

// freedom is the degrees of freedom of an answer by so many anglers.
func freedom(anglers int) float64 {
	if anglers <= FewAnglers {
		return math.Inf(1)
	}
	return float64(anglers - 1)
}

func (s Standing) check() error {
	switch {
	case s.Anglers < 1 || s.Fish < 1:
		return fmt.Errorf("%w: %d anglers with %d fish; accepted are 1 or more of each", ErrArgument, s.Anglers, s.Fish)
	case !(s.StdErr > 0) || math.IsInf(s.StdErr, 1):
		return fmt.Errorf("%w: standard error %v; accepted is above 0", ErrArgument, s.StdErr)
	case !(s.SDPattern >= 0) || math.IsInf(s.SDPattern, 1):
		return fmt.Errorf("%w: SD between anglers %v; accepted is 0 or more", ErrArgument, s.SDPattern)
	case !(s.SmallestShare > .5 && s.SmallestShare < 1):
		return fmt.Errorf("%w: smallest share worth knowing %v; accepted is above one half and below 1", ErrArgument, s.SmallestShare)
	}
	return nil
}
