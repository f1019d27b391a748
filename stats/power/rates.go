package power

import (
	"math"

	"evenrig/stats/exact"
	"evenrig/stats/glmm"
	"evenrig/stats/num"
)

// rates is the side on which catches per hour put the interval where one fly is
// fished at a time: from 5 anglers the Poisson mixed model
//
//	ln mean = ln hours + level + θ·x + u·x + v + w,   x = ½ test, -½ control,
//
// v an angler's and w an outing's level, with t on K-1; up to 4 the exact
// conditional comparison over outings. θ is the log ratio of rates: expit(θ) of the
// fish caught in equal time took the test pattern.
func rates(c catch, anglers int, alpha float64) side {
	if anglers <= FewAnglers {
		return ratesExactly(c, alpha)
	}
	rows := make([]glmm.Row, 0, len(c.cells))
	test, control := []float64{1, .5}, []float64{1, -.5}
	for i, cell := range c.cells {
		if c.minutes[i] <= 0 {
			continue
		}
		row := glmm.Row{Group: cell.Angler, Subgroup: cell.Outing, Y: cell.Test + cell.Control, X: test, U: .5, V: 1, Offset: math.Log(c.minutes[i] / 60)}
		if !cell.TestLower {
			row.X, row.U = control, -.5
		}
		rows = append(rows, row)
	}
	vary := glmm.VaryPatternPosition
	if outingsRepeat(c.cells) {
		vary = glmm.VaryPatternPositionOuting
	}
	fit, err := glmm.Fit(rows, glmm.Options{Vary: vary, Points: 1, Family: glmm.Poisson})
	if err != nil {
		return none
	}
	theta, stdErr := fit.Coef[1], fit.StdErr[1]
	if !(stdErr > 0) || num.StudentTwoSided(theta/stdErr, float64(anglers-1)) > alpha {
		return open
	}
	return sideOf(theta)
}

func ratesExactly(c catch, alpha float64) side {
	var strata []exact.Catch
	for i := 0; i+1 < len(c.cells); i += 2 {
		strata = append(strata, exact.Catch{
			Test: int64(c.cells[i].Test), Control: int64(c.cells[i+1].Control), TestTime: c.minutes[i], ControlTime: c.minutes[i+1],
		})
	}
	r, err := exact.CompareRates(strata, 1-alpha)
	switch {
	case err != nil:
		return none
	case r.PCentral > alpha:
		return open
	case r.Estimate.End == exact.AtInfinity:
		return test
	case r.Estimate.End == exact.AtZero:
		return control
	}
	return sideOf(r.Estimate.Log)
}
