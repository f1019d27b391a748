package exact

import (
	"math"

	"evenrig/stats/num"
)

// CMH is the Cochran-Mantel-Haenszel test of OR = 1 in every stratum.
type CMH struct {
	Strata    int     // informative strata
	Statistic float64 // χ² on 1 degree of freedom
	P         float64
}

// CochranMantelHaenszel returns
//
//	X² = (ΣA - ΣE)² / ΣV,  E = mt/N,  V = mnt(N-t)/(N²(N-1)),
//
// m = A+B, n = C+D, t = A+D, N = m+n, without a continuity correction.
// Uninformative strata have V = 0 and are passed over.
//
// Errors: ErrCount, ErrNoInformation. Source: Mantel & Haenszel (1959), Journal
// of the National Cancer Institute 22:719-748; Cochran (1954), Biometrics
// 10:417-451.
func CochranMantelHaenszel(tables []Table) (CMH, error) {
	strata, err := informative(tables)
	if err != nil {
		return CMH{}, err
	}
	var excess, variance float64
	for _, s := range strata {
		m, n := float64(s.A+s.B), float64(s.C+s.D)
		t, total := float64(s.A+s.D), float64(s.Total())
		// A - E = (A·C - B·D)/N, free of the cancellation in A - mt/N.
		excess += (float64(s.A)*float64(s.C) - float64(s.B)*float64(s.D)) / total
		variance += (m / total) * (n / total) * t * ((total - t) / (total - 1))
	}
	x2 := excess * excess / variance
	return CMH{Strata: len(strata), Statistic: x2, P: num.ChiSquaredTail(x2, 1)}, nil
}

// MantelHaenszelEstimate is the Mantel-Haenszel odds ratio over strata.
type MantelHaenszelEstimate struct {
	Strata int     // informative strata
	LogOR  float64 // ln OR = 2θ
	StdErr float64 // of ln OR
	Low    float64 // normal limits of ln OR
	High   float64
}

// MantelHaenszel returns ln of ΣR/ΣS, R = AC/N, S = BD/N, with the variance of
// Robins, Breslow and Greenland,
//
//	ΣPR/(2(ΣR)²) + Σ(PS+QR)/(2ΣRΣS) + ΣQS/(2(ΣS)²),  P = (A+C)/N, Q = (B+D)/N,
//
// and normal limits at the given level. It is good for a few large strata and
// for many sparse ones.
//
// Errors: ErrCount, ErrLevel, ErrNoInformation; ErrUnbounded if ΣR or ΣS is 0.
// Source: Robins, Breslow & Greenland (1986), Biometrics 42:311-323.
func MantelHaenszel(tables []Table, level float64) (MantelHaenszelEstimate, error) {
	if err := checkLevel(level); err != nil {
		return MantelHaenszelEstimate{}, err
	}
	strata, err := informative(tables)
	if err != nil {
		return MantelHaenszelEstimate{}, err
	}
	r, s, pr, mixed, qs := mantelHaenszelSums(strata)
	if r == 0 || s == 0 {
		return MantelHaenszelEstimate{}, ErrUnbounded
	}
	est := MantelHaenszelEstimate{Strata: len(strata), LogOR: math.Log(r / s)}
	est.StdErr = math.Sqrt(pr/(2*r*r) + mixed/(2*r*s) + qs/(2*s*s))
	z := num.NormalQuantile((1 + level) / 2)
	est.Low, est.High = est.LogOR-z*est.StdErr, est.LogOR+z*est.StdErr
	return est, nil
}

// mantelHaenszelSums returns ΣR, ΣS, ΣPR, Σ(PS+QR) and ΣQS.
func mantelHaenszelSums(strata []Table) (r, s, pr, mixed, qs float64) {
	for _, t := range strata {
		total := float64(t.Total())
		ri := float64(t.A) / total * float64(t.C)
		si := float64(t.B) / total * float64(t.D)
		p := float64(t.A+t.C) / total
		q := float64(t.B+t.D) / total
		r += ri
		s += si
		pr += p * ri
		mixed += p*si + q*ri
		qs += q * si
	}
	return r, s, pr, mixed, qs
}
