package sequential

import (
	"fmt"
	"math"
)

// MaxLooks is the largest number of looks accepted.
const MaxLooks = 100

func checkAlpha(alpha float64) error {
	if !(alpha > 1e-12 && alpha < 1) {
		return fmt.Errorf("%w: the level is %g; accepted: above 1e-12 and below 1", ErrPlan, alpha)
	}
	return nil
}

func checkSpending(s Spending) error {
	if s != OBrienFleming && s != Pocock {
		return fmt.Errorf("%w: shape %d is unknown", ErrPlan, int(s))
	}
	return nil
}

func checkFractions(fractions []float64) error {
	if len(fractions) < 1 || len(fractions) > MaxLooks {
		return fmt.Errorf("%w: there are %d; accepted: 1 to %d", ErrFractions, len(fractions), MaxLooks)
	}
	before := 0.0
	for k, t := range fractions {
		if !(t >= before+SmallestStep && t <= MaxFraction) {
			return fmt.Errorf("%w: look %d is at %g after %g; accepted: at least %g more than the one before, at most %d",
				ErrFractions, k+1, t, before, SmallestStep, MaxFraction)
		}
		before = t
	}
	return nil
}

func checkDrift(drift float64) error {
	if math.IsNaN(drift) || math.Abs(drift) > MaxDrift {
		return fmt.Errorf("%w: it is %g; accepted: -%d to %d", ErrDrift, drift, MaxDrift, MaxDrift)
	}
	return nil
}
