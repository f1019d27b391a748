package meta

import (
	"fmt"
	"math"

	"evenrig/stats/num"
)

// Difference is one estimate minus another.
type Difference struct {
	Estimate, StdErr float64
	Low, High        float64 // normal limits
	Z, P             float64 // Estimate/StdErr, and its two-sided p-value
}

// Compare returns first minus second, two independent estimates of one kind, with
// normal limits at the given level. This is the way to ask whether an effect
// differs between two groups; that one of the two is significant and the other not
// says nothing about it.
//
// Errors: ErrEffect; ErrLevel. Source: Altman & Bland (2003), BMJ 326:219.
func Compare(first, second Effect, level float64) (Difference, error) {
	if err := checkLevel(level); err != nil {
		return Difference{}, err
	}
	if err := checkEffects([]Effect{first, second}, 2); err != nil {
		return Difference{}, err
	}
	d := Difference{Estimate: first.Y - second.Y, StdErr: math.Sqrt(first.V + second.V)}
	reach := num.NormalQuantile((1+level)/2) * d.StdErr
	d.Low, d.High = d.Estimate-reach, d.Estimate+reach
	d.Z = d.Estimate / d.StdErr
	d.P = num.NormalTwoSided(d.Z)
	return d, nil
}

// Ratio returns exp of the difference and of its limits: of two log odds ratios
// the ratio of the odds ratios. ok is false where one is too large for a float64.
func (d Difference) Ratio() (ratio, low, high float64, ok bool) {
	if math.IsInf(math.Exp(d.High), 1) {
		return 0, 0, 0, false
	}
	return math.Exp(d.Estimate), math.Exp(d.Low), math.Exp(d.High), true
}

// Apart is the distance between a one-stage and a two-stage estimate, in standard
// errors of the one-stage one, above which their difference is to be explained.
// Common practice, no source.
const Apart = 0.25

// StagesApart returns the two-stage estimate minus the one-stage one, in units of
// the one-stage standard error, and whether that exceeds Apart either way. The
// stages differ where tables are sparse or got the half correction, in how τ² is
// estimated and in how anglers are weighted; nothing else should part them.
//
// Both estimates within ±1e6, the standard error from 1e-6 to 1e6. Errors:
// ErrEffect. Source of the reasons: Burke, Ensor & Riley (2017), Statistics in Medicine 36:855-875.
func StagesApart(oneStage, oneStageStdErr, twoStage float64) (stdErrs float64, apart bool, err error) {
	if !(oneStageStdErr > 0) {
		return 0, false, fmt.Errorf("standard error %g: %w", oneStageStdErr, ErrEffect)
	}
	v := oneStageStdErr * oneStageStdErr
	if err := checkEffects([]Effect{{Y: oneStage, V: v}, {Y: twoStage, V: v}}, 2); err != nil {
		return 0, false, err
	}
	stdErrs = (twoStage - oneStage) / oneStageStdErr
	return stdErrs, math.Abs(stdErrs) > Apart, nil
}
