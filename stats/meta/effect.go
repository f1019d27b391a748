package meta

import (
	"errors"
	"fmt"
	"math"

	"evenrig/stats/exact"
)

// The ways in which data or arguments can fail.
var (
	// ErrEffect: an estimate or variance outside the range of Effect.
	ErrEffect = errors.New("an estimate must lie within ±1e6, its variance between 1e-12 and 1e12")
	// ErrTooFewEffects: fewer estimates than the method needs.
	ErrTooFewEffects = errors.New("too few estimates to combine")
	// ErrLevel: an interval level outside (0, 1).
	ErrLevel = errors.New("an interval level must lie above 0 and below 1")
	// ErrMethod: an unknown estimator or adjustment, or a pair that does not exist.
	ErrMethod = errors.New("unknown way of combining")
	// ErrEmptyArrangement: no fish in one of the two arrangements.
	ErrEmptyArrangement = errors.New("an arrangement has no fish")
)

// Effect is one angler's estimate Y, within ±1e6, and its variance V (not its
// standard error), from 1e-12 to 1e12. No table of counts comes near these ends,
// and inside them no sum overflows.
type Effect struct{ Y, V float64 }

// AnglerEffect returns an angler's pattern effect θ_i = ½[ln(A/B) + ln(C/D)] and
// its variance ¼(1/A + 1/B + 1/C + 1/D). Where a cell is zero, and only there, ½
// is added to all four first and halfAdded is true.
//
// Errors: exact.ErrCount; ErrEmptyArrangement if A+B or C+D is 0: such an angler
// is left out of the combination. Source: Woolf (1955), Annals of Human Genetics
// 19:251-253; the half: Haldane (1956), Annals of Human Genetics 20:309-311.
func AnglerEffect(t exact.Table) (effect Effect, halfAdded bool, err error) {
	if err := t.Validate(); err != nil {
		return Effect{}, false, err
	}
	if t.A+t.B == 0 || t.C+t.D == 0 {
		return Effect{}, false, ErrEmptyArrangement
	}
	a, b, c, d := float64(t.A), float64(t.B), float64(t.C), float64(t.D)
	if t.HasZeroCell() {
		halfAdded = true
		a, b, c, d = a+0.5, b+0.5, c+0.5, d+0.5
	}
	return Effect{
		Y: (math.Log(a/b) + math.Log(c/d)) / 2,
		V: (1/a + 1/b + 1/c + 1/d) / 4,
	}, halfAdded, nil
}

// checkEffects returns ErrTooFewEffects below the least number needed, and
// ErrEffect, naming the first at fault.
func checkEffects(effects []Effect, least int) error {
	if len(effects) < least {
		return fmt.Errorf("%d estimates, at least %d needed: %w", len(effects), least, ErrTooFewEffects)
	}
	for i, e := range effects {
		if !(math.Abs(e.Y) <= 1e6 && e.V >= 1e-12 && e.V <= 1e12) {
			return fmt.Errorf("estimate %d is %g with variance %g: %w", i+1, e.Y, e.V, ErrEffect)
		}
	}
	return nil
}

func checkLevel(level float64) error {
	if !(level > 0 && level <= 1-1e-12) {
		return fmt.Errorf("level %g: %w", level, ErrLevel)
	}
	return nil
}
