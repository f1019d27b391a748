package exact

import (
	"math"

	"evenrig/stats/num"
)

// End says whether an odds ratio is a number inside its range or lies at an end of it.
type End int

// The three places an odds ratio can be.
const (
	Inside     End = iota // 0 < OR < ∞, its logarithm is finite
	AtZero                // OR = 0, its logarithm has no lower bound
	AtInfinity            // OR has no upper bound
)

// OddsRatio is an estimate or limit of an odds ratio, kept on the log scale.
// The zero value is an odds ratio of 1.
type OddsRatio struct {
	Log float64 // ln OR when End is Inside; 0 otherwise
	End End
}

// Ratio returns the odds ratio itself. ok is false where it is unbounded or too
// large for a float64; an odds ratio of 0 is returned as 0, true.
func (o OddsRatio) Ratio() (ratio float64, ok bool) {
	switch o.End {
	case AtZero:
		return 0, true
	case AtInfinity:
		return 0, false
	}
	ratio = math.Exp(o.Log)
	if math.IsInf(ratio, 1) {
		return 0, false
	}
	return ratio, true
}

// Theta returns θ = ½ ln OR, the pattern effect on the log-odds scale; ok is
// false at either end of the range.
func (o OddsRatio) Theta() (theta float64, ok bool) {
	return o.Log / 2, o.End == Inside
}

// Share returns expit(θ): 0 at the lower end, 1 at the upper end.
func (o OddsRatio) Share() float64 {
	switch o.End {
	case AtZero:
		return 0
	case AtInfinity:
		return 1
	}
	return num.Expit(o.Log / 2)
}
