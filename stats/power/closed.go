package power

import (
	"errors"
	"fmt"
	"math"

	"evenrig/stats/num"
)

// The ways in which a question about size can have no answer.
var (
	// ErrArgument: an argument outside its range.
	ErrArgument = errors.New("argument outside its range")
	// ErrNever: no number, however large, gives the power that was asked for.
	ErrNever = errors.New("no number is enough")
)

// Test is the test that a trial's answer comes with: two-sided at level Alpha,
// 0 < Alpha < 1, and the power asked of it, Alpha < Power < 1.
type Test struct{ Alpha, Power float64 }

// FewAnglers is the largest number of anglers at which the exact method speaks
// for a trial, which counts fish as independent. From one more the answer is
// about anglers at large, with t on K-1 degrees of freedom.
const FewAnglers = 4

// MostAnglers and MostFish bound every search: more of either is no plan.
const (
	MostAnglers = 100_000
	MostFish    = 10_000_000
)

// Of is the power to tell the effect theta (log odds) from none when its estimate
// has the standard error stdErr > 0, on df > 0 degrees of freedom (+Inf: normal).
func (t Test) Of(theta, stdErr, df float64) (float64, error) {
	critical, err := t.critical(df)
	if err != nil {
		return 0, err
	}
	if !(stdErr > 0) || math.IsNaN(theta) || math.IsInf(theta, 0) || math.IsInf(stdErr, 1) {
		return 0, fmt.Errorf("%w: effect %v with standard error %v; accepted are a number and one above 0", ErrArgument, theta, stdErr)
	}
	// Beyond this noncentrality the power is 1 at every df >= 1 and level above 1e-3;
	// smaller levels lose nothing either, since 1e6 times their quantile is out of reach.
	delta := math.Min(1e6, math.Abs(theta)/stdErr)
	return 1 - NoncentralT(critical, df, delta) + NoncentralT(-critical, df, delta), nil
}

func (t Test) check() error {
	if !(t.Alpha > 0 && t.Alpha < 1) {
		return fmt.Errorf("%w: alpha %v; accepted is above 0 and below 1", ErrArgument, t.Alpha)
	}
	if !(t.Power > t.Alpha && t.Power < 1) {
		return fmt.Errorf("%w: power %v; accepted is above alpha (%v) and below 1", ErrArgument, t.Power, t.Alpha)
	}
	return nil
}

func (t Test) critical(df float64) (float64, error) {
	if !(t.Alpha > 0 && t.Alpha < 1) {
		return 0, fmt.Errorf("%w: alpha %v; accepted is above 0 and below 1", ErrArgument, t.Alpha)
	}
	if math.IsInf(df, 1) {
		return num.NormalQuantile(1 - t.Alpha/2), nil
	}
	q, err := num.StudentQuantile(1-t.Alpha/2, df)
	if err != nil {
		return 0, fmt.Errorf("%w: %v degrees of freedom: %w", ErrArgument, df, err)
	}
	return q, nil
}

// Reach is the effect in standard errors that is told from none with the power
// asked for: z_{α/2} + z_power with the normal (the chance of the wrong side
// left out), the root of Of on df degrees of freedom else.
func (t Test) Reach(df float64) (float64, error) {
	if err := t.check(); err != nil {
		return 0, err
	}
	critical, err := t.critical(df)
	if err != nil {
		return 0, err
	}
	if math.IsInf(df, 1) {
		return critical + num.NormalQuantile(t.Power), nil
	}
	short := func(delta float64) float64 {
		return 1 - NoncentralT(critical, df, delta) + NoncentralT(-critical, df, delta) - t.Power
	}
	high := critical
	for short(high) < 0 {
		if high *= 2; high > 1e6 {
			return 0, fmt.Errorf("%w: alpha %v on %v degrees of freedom", ErrNever, t.Alpha, df)
		}
	}
	return num.Root(short, 0, high, 1e-10)
}

// Fish is the number of fish that tells the share from one half when anglers are
// alike, not rounded: (z_{α/2} + z_power)² / (information·θ²), θ = logit(share),
// 0 < share < 1, not 1/2.
//
// Errors: ErrArgument.
func (t Test) Fish(share float64, c Conditions) (float64, error) {
	theta, err := effect(share)
	if err != nil {
		return 0, err
	}
	reach, err := t.Reach(math.Inf(1))
	if err != nil {
		return 0, err
	}
	return reach * reach / (c.Information() * theta * theta), nil
}

// effect is logit(share), refused at one half, where there is nothing to tell.
func effect(share float64) (float64, error) {
	if !(share > 0 && share < 1) || share == .5 {
		return 0, fmt.Errorf("%w: share %v; accepted is above 0 and below 1, not one half", ErrArgument, share)
	}
	return num.Logit(share), nil
}

// TeamPower is the power of a team of anglers (1 or more) who catch fishEach fish
// each. From 5 anglers it is that of t on K-1 degrees of freedom with the
// variance of Conditions. Up to FewAnglers it is that of a test which counts fish
// as independent: normal, its standard error without sd_pattern and
// sd_outing, which widen only the estimate's own spread.
//
// Errors: ErrArgument.
func (t Test) TeamPower(share float64, c Conditions, anglers int, fishEach float64) (float64, error) {
	if anglers < 1 || !(fishEach > 0) || math.IsInf(fishEach, 1) {
		return 0, fmt.Errorf("%w: %d anglers with %v fish each; accepted are 1 or more, above 0", ErrArgument, anglers, fishEach)
	}
	theta := num.Logit(share)
	if math.IsNaN(theta) || math.IsInf(theta, 0) {
		return 0, fmt.Errorf("%w: share %v; accepted is above 0 and below 1", ErrArgument, share)
	}
	se := math.Sqrt(c.Variance(anglers, fishEach))
	if anglers > FewAnglers {
		return t.Of(theta, se, float64(anglers-1))
	}
	critical, err := t.critical(math.Inf(1))
	if err != nil {
		return 0, err
	}
	limit := critical * math.Sqrt(1/(float64(anglers)*fishEach*c.Information()))
	upper := num.NormalTwoSided(math.Abs(limit-math.Abs(theta))/se) / 2
	if limit < math.Abs(theta) {
		upper = 1 - upper
	}
	return upper + num.NormalTwoSided((limit+math.Abs(theta))/se)/2, nil
}

// Anglers is the smallest number of anglers, 5 or more, that has the power asked
// for when each catches fishEach fish.
//
// Errors: ErrArgument; ErrNever above MostAnglers.
func (t Test) Anglers(share float64, c Conditions, fishEach float64) (int, error) {
	if _, err := effect(share); err != nil {
		return 0, err
	}
	if err := t.check(); err != nil {
		return 0, err
	}
	return smallest(FewAnglers+1, MostAnglers, func(k int) (bool, error) {
		p, err := t.TeamPower(share, c, k, fishEach)
		return p >= t.Power, err
	})
}

// FishEach is the smallest whole number of fish per angler that gives anglers (1
// or more) the power asked for.
//
// Errors: ErrArgument; ErrNever where anglers differ so much that no number of
// fish is enough, or more than MostFish would be needed.
func (t Test) FishEach(share float64, c Conditions, anglers int) (int, error) {
	if _, err := effect(share); err != nil {
		return 0, err
	}
	if err := t.check(); err != nil {
		return 0, err
	}
	return smallest(1, MostFish, func(m int) (bool, error) {
		p, err := t.TeamPower(share, c, anglers, float64(m))
		return p >= t.Power, err
	})
}

// smallest is the least n from low to high at which enough holds, for a condition
// that stays true once it is.
func smallest(low, high int, enough func(int) (bool, error)) (int, error) {
	below, at := low-1, low
	for {
		ok, err := enough(at)
		if err != nil {
			return 0, err
		}
		if ok {
			break
		}
		if at == high {
			return 0, fmt.Errorf("%w: %d is too few", ErrNever, high)
		}
		below, at = at, min(2*at, high)
	}
	for at-below > 1 {
		middle := below + (at-below)/2
		ok, err := enough(middle)
		if err != nil {
			return 0, err
		}
		if ok {
			at = middle
		} else {
			below = middle
		}
	}
	return at, nil
}

// Detectable is the smallest share above one half that a team of anglers with
// fishEach fish each tells from one half with the power asked for. Its mirror
// below one half is told as well.
//
// Errors: ErrArgument; ErrNever where even .999 is out of reach.
func (t Test) Detectable(c Conditions, anglers int, fishEach float64) (float64, error) {
	if err := t.check(); err != nil {
		return 0, err
	}
	const farthest = .999
	most, err := t.TeamPower(farthest, c, anglers, fishEach)
	if err != nil {
		return 0, err
	}
	if most < t.Power {
		return 0, fmt.Errorf("%w: %d anglers with %v fish each cannot tell even %v from one half", ErrNever, anglers, fishEach, farthest)
	}
	theta, err := num.Root(func(theta float64) float64 {
		p, err := t.TeamPower(num.Expit(theta), c, anglers, fishEach)
		if err != nil {
			return math.NaN()
		}
		return p - t.Power
	}, 0, num.Logit(farthest), 1e-9)
	if err != nil {
		return 0, err
	}
	return num.Expit(theta), nil
}
