package exact

import (
	"fmt"
	"math"

	"evenrig/stats/num"
)

// WoolfEstimate is the large-sample estimate from one table, position adjusted.
type WoolfEstimate struct {
	Theta  float64 // θ = ½ ln(AC/(BD)), the pattern effect, log odds
	StdErr float64 // of θ
	Low    float64 // normal limits of θ
	High   float64
	P      float64 // two-sided, normal, of θ = 0
	Beta   float64 // β = ½ ln(AD/(BC)), the position effect, log odds; same standard error
}

// Woolf returns
//
//	θ = ½[ln(A/B) + ln(C/D)],  β = ½[ln(A/B) - ln(C/D)],  SE² = ¼(1/A + 1/B + 1/C + 1/D)
//
// with normal limits θ ± z·SE at the given level. No ½ is added to anything: a
// zero cell is ErrZeroCell, and ConditionalTest is the method for it.
//
// Errors: ErrCount, ErrLevel, ErrNoCatches, ErrZeroCell. Source: Woolf (1955),
// Annals of Human Genetics 19:251-253.
func Woolf(t Table, level float64) (WoolfEstimate, error) {
	if err := t.Validate(); err != nil {
		return WoolfEstimate{}, err
	}
	if err := checkLevel(level); err != nil {
		return WoolfEstimate{}, err
	}
	if t.Total() == 0 {
		return WoolfEstimate{}, ErrNoCatches
	}
	if t.HasZeroCell() {
		return WoolfEstimate{}, fmt.Errorf("cells %d, %d, %d, %d: %w", t.A, t.B, t.C, t.D, ErrZeroCell)
	}
	a, b, c, d := float64(t.A), float64(t.B), float64(t.C), float64(t.D)
	lower, upper := math.Log(a/b), math.Log(c/d)
	est := WoolfEstimate{
		Theta:  (lower + upper) / 2,
		Beta:   (lower - upper) / 2,
		StdErr: math.Sqrt(1/a+1/b+1/c+1/d) / 2,
	}
	z := num.NormalQuantile((1 + level) / 2)
	est.Low, est.High = est.Theta-z*est.StdErr, est.Theta+z*est.StdErr
	est.P = num.NormalTwoSided(est.Theta / est.StdErr)
	return est, nil
}
