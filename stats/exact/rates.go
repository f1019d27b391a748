package exact

import (
	"errors"
	"fmt"

	"evenrig/stats/num"
)

// Catch is what one stratum (an angler, a water, a pair of periods) caught on each
// pattern when one at a time was fished, and for how long: fish 0 to MaxCount, time in
// any one unit, the same for all strata, above 0 where fish were caught.
type Catch struct {
	Test, Control         int64
	TestTime, ControlTime float64
}

// ErrTime: a fishing time that is not possible.
var ErrTime = errors.New("a fishing time must be above 0 where fish were caught, and between 1e-6 and 1e9 of its unit")

// RateRatio is an estimate or limit of a ratio of catch rates, test over control, kept
// on the log scale as an OddsRatio is.
type RateRatio struct {
	Log float64 // ln RR when End is Inside; 0 otherwise
	End End
}

// Ratio returns the rate ratio itself. ok is false where it is unbounded or too large for
// a float64; a ratio of 0 is returned as 0, true.
func (r RateRatio) Ratio() (ratio float64, ok bool) { return OddsRatio(r).Ratio() }

// RateComparison is the exact conditional comparison of catch rates.
type RateComparison struct {
	Strata    int     // that say something: fish on either pattern and time with both
	P         float64 // two-sided of RR = 1, by minimum likelihood
	PCentral  float64 // two-sided, twice the smaller tail, at most 1; it goes with the limits
	Estimate  RateRatio
	Low, High RateRatio // central exact limits
}

// CompareRates returns the exact conditional comparison of catch rates with the test and
// the control pattern, one rate ratio RR for all strata, limits at the given level.
//
// If the fish of a stratum come as Poisson counts with rates λ·RR and λ, then of
// its n fish those on the test pattern are binomial with odds RR·TestTime/ControlTime,
// whatever λ: the stratum's own rate is conditioned away. The statistic is their
// sum. One stratum is the binomial test with Clopper and Pearson's limits, carried to
// the ratio. The estimate is that of maximum likelihood, which is conditional and
// unconditional at once; where no fish, or every fish, took the test pattern
// it lies AtZero or AtInfinity with the limit on its side. A stratum without fish, or
// fished with one pattern only, says nothing. Fish that come in clusters are not Poisson:
// then p is too small and the limits too narrow.
//
// Errors: ErrCount, ErrTime, ErrLevel; ErrNoCatches if no stratum says anything.
// Accuracy and cost as ConditionalTest. Source: Przyborowski & Wilenski (1940),
// Biometrika 31:313-323; limits by Clopper & Pearson (1934), Biometrika 26:404-413.
func CompareRates(strata []Catch, level float64) (RateComparison, error) {
	if err := checkLevel(level); err != nil {
		return RateComparison{}, err
	}
	var each []stratum
	for i, c := range strata {
		if err := c.validate(); err != nil {
			return RateComparison{}, fmt.Errorf("stratum %d: %w", i+1, err)
		}
		n := c.Test + c.Control
		if n == 0 || c.TestTime == 0 || c.ControlTime == 0 {
			continue
		}
		whole := c.TestTime + c.ControlTime
		each = append(each, newStratum(c.Test, num.Binomial{N: n, P: c.TestTime / whole, Q: c.ControlTime / whole}))
	}
	if len(each) == 0 {
		return RateComparison{}, ErrNoCatches
	}
	got, err := newStrata(each).conditional(level)
	if err != nil {
		return RateComparison{}, err
	}
	return RateComparison{
		Strata: got.Strata, P: got.P, PCentral: got.PCentral,
		Estimate: RateRatio(got.Estimate), Low: RateRatio(got.Low), High: RateRatio(got.High),
	}, nil
}

func (c Catch) validate() error {
	for _, side := range []struct {
		name string
		fish int64
		time float64
	}{{"test", c.Test, c.TestTime}, {"control", c.Control, c.ControlTime}} {
		if side.fish < 0 || side.fish > MaxCount {
			return fmt.Errorf("%d fish on the %s pattern: %w", side.fish, side.name, ErrCount)
		}
		possible := side.time >= 1e-6 && side.time <= 1e9 || side.time == 0 && side.fish == 0
		if !possible {
			return fmt.Errorf("%d fish in a time of %g with the %s pattern: %w", side.fish, side.time, side.name, ErrTime)
		}
	}
	return nil
}

// PoissonLimits returns the central exact limits of the mean of a Poisson count of which x
// was seen, at any level in (0, 1): low solves P(X >= x) = (1-level)/2 and is 0 at x = 0,
// high solves P(X <= x) = (1-level)/2. For a catch rate divide them by the time.
//
// Errors: ErrCount unless 0 <= x <= 4·MaxCount; ErrLevel. Accuracy 12 digits. Source:
// Garwood (1936), Biometrika 28:437-442, by the quantiles of χ².
func PoissonLimits(x int64, level float64) (low, high float64, err error) {
	if x < 0 || x > 4*MaxCount {
		return 0, 0, fmt.Errorf("%d fish: %w", x, ErrCount)
	}
	if err := checkLevel(level); err != nil {
		return 0, 0, err
	}
	tail := (1 - level) / 2
	if x > 0 {
		if low, err = num.ChiSquaredQuantile(tail, 2*float64(x)); err != nil {
			return 0, 0, fmt.Errorf("lower limit: %w", err)
		}
	}
	if high, err = num.ChiSquaredUpperQuantile(tail, 2*float64(x)+2); err != nil {
		return 0, 0, fmt.Errorf("upper limit: %w", err)
	}
	return low / 2, high / 2, nil
}
