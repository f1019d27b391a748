package calibration

import (
	"math"

	"evenrig/stats/exact"
	"evenrig/stats/num"
)

// level of every interval.
const level = .95

// interval is what one method says about θ in one trial. Limits may be infinite, the
// estimate too; without fitted there is nothing else.
type interval struct {
	fitted              bool
	estimate, low, high float64
}

func (i interval) holds(theta float64) bool { return i.fitted && i.low <= theta && theta <= i.high }

// excludesZero reports whether the interval calls an effect.
func (i interval) excludesZero() bool { return i.fitted && (i.low > 0 || i.high < 0) }

// shareWidth is the width on the scale of shares, 0 to 1.
func (i interval) shareWidth() float64 { return num.Expit(i.high) - num.Expit(i.low) }

// around is the interval estimate ± reach.
func around(estimate, reach float64) interval {
	if math.IsNaN(estimate) || math.IsNaN(reach) {
		return interval{}
	}
	return interval{true, estimate, estimate - reach, estimate + reach}
}

// theta returns θ of an odds ratio, infinite at its ends.
func theta(o exact.OddsRatio) float64 {
	switch o.End {
	case exact.AtZero:
		return math.Inf(-1)
	case exact.AtInfinity:
		return math.Inf(1)
	}
	return o.Log / 2
}

// student is the two-sided quantile of Student's t on df, the normal one for df = 0.
func student(df float64) float64 {
	if df == 0 {
		return num.NormalQuantile((1 + level) / 2)
	}
	t, err := num.StudentQuantile((1+level)/2, df)
	if err != nil {
		return math.NaN()
	}
	return t
}
