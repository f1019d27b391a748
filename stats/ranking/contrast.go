package ranking

import (
	"math"

	"evenrig/stats/multiplicity"
	"evenrig/stats/num"
)

// Contrast compares one pattern with another, in log odds that a fish takes Pattern
// rather than Against with the position effect taken out. expit of LogOdds and of the
// limits is the share of fish. Limits and P stand for this contrast alone; AdjustedP
// is P adjusted by Holm's procedure for all contrasts of its list.
type Contrast struct {
	Pattern, Against string
	LogOdds, StdErr  float64
	Low, High        float64
	P, AdjustedP     float64
}

// Position is the position effect β in log odds, lower against upper: half the
// difference that changing places makes.
type Position struct {
	LogOdds, StdErr float64
	Low, High       float64
	P               float64
}

// interval makes limits and p-values: normal, or by t on df > 0 degrees of freedom.
type interval struct {
	critical float64
	df       int
}

func newInterval(level float64, df int) (interval, error) {
	if df == 0 {
		return interval{critical: num.NormalQuantile((1 + level) / 2)}, nil
	}
	critical, err := num.StudentQuantile((1+level)/2, float64(df))
	return interval{critical: critical, df: df}, err
}

func (v interval) around(estimate, stdErr float64) (low, high, p float64) {
	statistic := estimate / stdErr
	if v.df == 0 {
		p = num.NormalTwoSided(statistic)
	} else {
		p = num.StudentTwoSided(statistic, float64(v.df))
	}
	return estimate - v.critical*stdErr, estimate + v.critical*stdErr, p
}

// fill sets the contrasts and the position effect from estimates and covariance
// matrix of the strengths of patterns 1, 2, ... and β, in that order.
func (r *Result) fill(coef []float64, vcov [][]float64, v interval) error {
	n := len(r.Patterns)
	strength := func(i int) float64 {
		if i == 0 {
			return 0
		}
		return coef[i-1]
	}
	covariance := func(i, j int) float64 {
		if i == 0 || j == 0 {
			return 0
		}
		return vcov[i-1][j-1]
	}
	contrast := func(i, j int) Contrast {
		c := Contrast{Pattern: r.Patterns[i], Against: r.Patterns[j], LogOdds: strength(i) - strength(j)}
		c.StdErr = math.Sqrt(covariance(i, i) + covariance(j, j) - 2*covariance(i, j))
		c.Low, c.High, c.P = v.around(c.LogOdds, c.StdErr)
		return c
	}
	for i := 1; i < n; i++ {
		r.Contrasts = append(r.Contrasts, contrast(i, 0))
	}
	for j := range n {
		for i := j + 1; i < n; i++ {
			r.Pairs = append(r.Pairs, contrast(i, j))
		}
	}
	r.Position = Position{LogOdds: coef[n-1], StdErr: math.Sqrt(vcov[n-1][n-1])}
	r.Position.Low, r.Position.High, r.Position.P = v.around(r.Position.LogOdds, r.Position.StdErr)
	r.Vcov = vcov
	if err := adjust(r.Contrasts); err != nil {
		return err
	}
	return adjust(r.Pairs)
}

func adjust(contrasts []Contrast) error {
	p := make([]float64, len(contrasts))
	for i, c := range contrasts {
		p[i] = c.P
	}
	adjusted, err := multiplicity.Holm(p)
	if err != nil {
		return err
	}
	for i, a := range adjusted {
		contrasts[i].AdjustedP = a
	}
	return nil
}
