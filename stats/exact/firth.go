package exact

import (
	"fmt"
	"math"

	"evenrig/stats/num"
)

// FirthEstimate is the penalised estimate from one table. It is never infinite, which
// makes it an estimate pulled towards an even share, not an unadjusted one: whoever shows it says so.
type FirthEstimate struct {
	Theta  float64 // pattern effect, log odds
	Beta   float64 // position effect, log odds
	StdErr float64 // of Theta, from the information at the estimate
	Low    float64 // limits of Theta by the profile of the penalised likelihood
	High   float64
	P      float64 // two-sided, penalised likelihood ratio of θ = 0
}

// Firth returns the estimate that maximises the likelihood of one table times the square
// root of the determinant of its information (Jeffreys' prior), which takes away the
// leading bias of maximum likelihood and exists where cells are zero. Both arrangements
// must have fish. For these two groups it is that of ½ added to every cell,
//
//	θ = ½[ln((A+½)/(B+½)) + ln((C+½)/(D+½))],
//
// while the standard error is that of the counts themselves under the fitted shares.
// The limits are where twice the fall of the penalised log likelihood, maximised over β,
// reaches the quantile of χ² on 1 degree of freedom; P compares that fall at θ = 0. With zero cells these, not θ
// ± z·SE, are the limits to read.
//
// Errors: ErrCount, ErrLevel, ErrNoInformation if an arrangement has no fish. Source:
// Firth (1993), Biometrika 80:27-38; limits: Heinze & Schemper (2002), Statistics in
// Medicine 21:2409-2419.
func Firth(t Table, level float64) (FirthEstimate, error) {
	if err := t.Validate(); err != nil {
		return FirthEstimate{}, err
	}
	if err := checkLevel(level); err != nil {
		return FirthEstimate{}, err
	}
	if t.A+t.B == 0 || t.C+t.D == 0 {
		return FirthEstimate{}, fmt.Errorf("fish with the test pattern lower %d, upper %d: %w", t.A+t.B, t.C+t.D, ErrNoInformation)
	}
	a, b, c, d := float64(t.A)+0.5, float64(t.B)+0.5, float64(t.C)+0.5, float64(t.D)+0.5
	lower, upper := math.Log(a/b), math.Log(c/d)
	est := FirthEstimate{Theta: (lower + upper) / 2, Beta: (lower - upper) / 2}
	// Information of a group's logit: its fish times its fitted share and the rest.
	information := func(x, y float64) float64 { return (x + y - 1) * (x / (x + y)) * (y / (x + y)) }
	est.StdErr = math.Sqrt(1/information(a, b)+1/information(c, d)) / 2

	// Given θ, the position effect is free: the fitted cells are those with these margins
	// and odds ratio exp(2θ), each found from its own corner so that small ones keep their digits.
	fall := func(theta float64) float64 {
		odds := math.Exp(2 * theta)
		return 2 * (num.Deviance(a, num.FittedCell(a+b, a+d, c-a, odds)) +
			num.Deviance(b, num.FittedCell(a+b, b+c, d-b, 1/odds)) +
			num.Deviance(c, num.FittedCell(c+d, b+c, a-c, odds)) +
			num.Deviance(d, num.FittedCell(c+d, a+d, b-d, 1/odds)))
	}
	est.P = num.ChiSquaredTail(fall(0), 1)
	reach, err := num.ChiSquaredUpperQuantile(1-level, 1)
	if err != nil {
		return FirthEstimate{}, err
	}
	est.Low, err = num.IncreasingRoot(func(theta float64) float64 {
		return math.Copysign(fall(theta), theta-est.Theta) + reach
	}, est.Theta, est.StdErr, farthest/2, 1e-13)
	if err != nil {
		return FirthEstimate{}, fmt.Errorf("lower limit: %w", err)
	}
	est.High, err = num.IncreasingRoot(func(theta float64) float64 {
		return math.Copysign(fall(theta), theta-est.Theta) - reach
	}, est.Theta, est.StdErr, farthest/2, 1e-13)
	if err != nil {
		return FirthEstimate{}, fmt.Errorf("upper limit: %w", err)
	}
	// At levels near 0 the limits meet the estimate but for rounding.
	est.Low, est.High = math.Min(est.Low, est.Theta), math.Max(est.High, est.Theta)
	return est, nil
}
