package meta

import (
	"fmt"
	"math"

	"evenrig/stats/num"
)

// sdGrid are the SDs of λ = 2θ, in order, between which the slope of the likelihood
// is searched for sign changes. The last is that of ErrRunaway.
var sdGrid = [...]float64{0, 0.1, 0.3, 1, 3, 10, 20}

// fit returns the highest point of the likelihood, and the highest with sd = 0.
func (c *conditional) fit() (top, none point, err error) {
	if none, err = c.bestCentre(0, 0); err != nil {
		return top, none, err
	}
	top, err = highestSD(func(sd float64) (point, error) { return c.bestCentre(none.centre, sd) }, 1e-9)
	if err == nil && top.sd == sdGrid[len(sdGrid)-1] {
		err = ErrRunaway
	}
	return top, none, err
}

// bestSD returns the highest point of the likelihood at one centre. Only its value is
// wanted, which an error of 1e-5 in sd changes by the order of 1e-10.
func (c *conditional) bestSD(centre float64) (point, error) {
	return highestSD(func(sd float64) (point, error) { return c.at(centre, sd), nil }, 1e-5)
}

// highestSD returns the highest point of a profile of the likelihood over sd, each
// point of which carries its slope in sd²: every fall of the slope through 0 between
// neighbours on the grid, refined to absTol, and both ends.
func highestSD(profile func(sd float64) (point, error), absTol float64) (point, error) {
	before, err := profile(0)
	if err != nil {
		return point{}, err
	}
	best := before
	for _, sd := range sdGrid[1:] {
		after, err := profile(sd)
		if err != nil {
			return point{}, err
		}
		candidate := after
		if before.slope > 0 && after.slope <= 0 {
			if candidate, err = turningPoint(profile, before.sd, sd, absTol); err != nil {
				return point{}, err
			}
		}
		if candidate.value > best.value {
			best = candidate
		}
		before = after
	}
	return best, nil
}

func turningPoint(profile func(sd float64) (point, error), from, to, absTol float64) (point, error) {
	var failed error
	sd, err := num.Root(func(sd float64) float64 {
		p, err := profile(sd)
		if err != nil {
			failed = err
			return math.NaN()
		}
		return p.slope
	}, from, to, absTol)
	if failed != nil {
		return point{}, failed
	}
	if err != nil {
		return point{}, fmt.Errorf("τ by maximum likelihood: %w", err)
	}
	return profile(sd)
}

// bestCentre returns the highest point at one sd, by Newton's method from start. The
// likelihood is log-concave in the centre: a log-concave function smoothed by the
// normal density is (Prékopa 1973, Acta Scientiarum Mathematicarum 34:335-343).
func (c *conditional) bestCentre(start, sd float64) (point, error) {
	var p point
	_, ok := fallingRoot(start, func(centre float64) (value, slope float64, near bool) {
		p = c.at(centre, sd)
		return p.gradient, p.hessian, math.Abs(p.gradient) <= 1e-10*math.Sqrt(-p.hessian)
	})
	if !ok {
		return point{}, fmt.Errorf("over θ, at τ = %.3g: %w", sd/2, ErrNoMaximum)
	}
	return p, nil
}
