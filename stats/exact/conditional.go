package exact

import (
	"fmt"
	"math"

	"evenrig/stats/num"
)

// Conditional is the exact conditional inference for one common odds ratio over
// strata, given every margin of every stratum. With one stratum it is Fisher's
// exact test with its conditional estimate and limits.
type Conditional struct {
	Strata   int       // informative strata; the others say nothing and are passed over
	P        float64   // two-sided, by minimum likelihood: all sums no more probable than the one seen
	PCentral float64   // two-sided, twice the smaller tail, at most 1; it goes with the limits
	Estimate OddsRatio // conditional maximum likelihood; not the sample odds ratio
	Low      OddsRatio // central exact limits: each tail holds (1-level)/2
	High     OddsRatio
}

// farthest bounds the search for a log odds ratio. At ±300 every tail that
// checkLevel allows is passed, whatever the counts.
const farthest = 300

// ConditionalTest returns the exact conditional test of OR = 1 (θ = 0) in all
// strata, with estimate and limits at the given level.
//
// The statistic is S, the fish of the first arrangement that took the lower fly
// (ΣA), under its distribution given all margins: a sum of noncentral
// hypergeometrics with common odds ratio. P counts sums no more probable under
// OR = 1 than S (ties within 1+1e-7). The estimate solves E(S) = seen; it is AtZero
// or AtInfinity where S is the smallest or largest sum possible, and the limit
// on that side with it. Both p-values lie in (0, 1]; one below the smallest float64 is lifted to it.
//
// Errors: ErrCount, ErrLevel, ErrNoInformation. Accuracy about 12 digits for
// cells up to 10^6 and 10 digits up to MaxCount; cost: some 20 passes over
// the terms of all strata that matter (some 20 standard deviations each), whatever their
// number, two of them 30 times as long. Source:
// Fisher (1935), Journal of the Royal Statistical Society 98:39-82; for strata,
// Gart (1970), Biometrika 57:471-475; Mehta, Patel & Gray (1985), Journal of the
// American Statistical Association 80:969-973.
func ConditionalTest(tables []Table, level float64) (Conditional, error) {
	if err := checkLevel(level); err != nil {
		return Conditional{}, err
	}
	kept, err := informative(tables)
	if err != nil {
		return Conditional{}, err
	}
	all, err := tableStrata(kept)
	if err != nil {
		return Conditional{}, err
	}
	return all.conditional(level)
}

func tableStrata(tables []Table) (*strata, error) {
	each := make([]stratum, len(tables))
	for i, t := range tables {
		var err error
		if each[i], err = tableStratum(t); err != nil {
			return nil, err
		}
	}
	return newStrata(each), nil
}

// conditional returns test, estimate and limits of φ.
func (a *strata) conditional(level float64) (Conditional, error) {
	near, estimate, err := a.near()
	if err != nil {
		return Conditional{}, err
	}
	result := Conditional{Strata: len(a.each), Estimate: estimate}
	result.Low, result.High, err = a.limits(near, estimate, (1-level)/2)
	if err != nil {
		return Conditional{}, err
	}
	result.P, result.PCentral, err = a.pValues(near)
	return result, err
}

// FisherTwoSided returns Fisher's exact p-value of one table, in (0, 1], by
// minimum likelihood (ties within 1+1e-7); 1 where a margin is empty, because
// only one table is possible then.
//
// Errors: ErrCount, ErrNoCatches. Source: Fisher (1935), The Design of Experiments, section 11.
func FisherTwoSided(t Table) (float64, error) {
	if err := t.Validate(); err != nil {
		return 0, err
	}
	if t.Total() == 0 {
		return 0, ErrNoCatches
	}
	if !t.Informative() {
		return 1, nil
	}
	all, err := tableStrata([]Table{t})
	if err != nil {
		return 0, err
	}
	near, _, err := all.near()
	if err != nil {
		return 0, err
	}
	p, _, err := all.pValues(near)
	return p, err
}

// near returns the distribution of S tilted so that its mean is the sum seen,
// with the conditional estimate, which is that tilt. At an end of the range no
// tilt is enough; there the distribution is the limit, one point, and its
// normaliser is such that carrying it to another φ gives P_φ(seen).
func (a *strata) near() (lattice, OddsRatio, error) {
	if a.least == 0 {
		return lattice{logNormaliser: a.logNullAtEnd(false), p: []float64{1}, peak: 1}, OddsRatio{End: AtZero}, nil
	}
	if a.most == 0 {
		return lattice{logNormaliser: a.logNullAtEnd(true), p: []float64{1}, peak: 1}, OddsRatio{End: AtInfinity}, nil
	}
	phi, err := num.IncreasingRootBySlope(func(phi float64) (value, slope float64) {
		t := a.under(phi)
		return t.mean, t.variance
	}, 0, 1, farthest, 1e-9)
	if err != nil {
		return lattice{}, OddsRatio{}, fmt.Errorf("conditional estimate: %w", err)
	}
	return a.at(phi), OddsRatio{Log: phi}, nil
}

// upperTail returns ln P_φ(S >= seen), and lowerTail ln P_φ(S <= seen), from the
// distribution tilted to the sum seen. Going from its φ down (up, for
// lowerTail) the weights e^{(φ-φ_near)·offset} are at most 1, so nothing is lost
// however far φ is.
//
// slope is the derivative in φ: the mean of S in the tail less its mean.
func (a *strata) upperTail(near lattice, phi float64) (log, slope float64) {
	return a.tail(near, phi, 0, math.MaxInt64)
}

func (a *strata) lowerTail(near lattice, phi float64) (log, slope float64) {
	return a.tail(near, phi, math.MinInt64, 0)
}

func (a *strata) tail(near lattice, phi float64, from, to int64) (log, slope float64) {
	t := a.under(phi)
	log, mean := near.logSum(phi, from, to)
	return log - t.logNormaliser, mean - t.mean
}

// logSum returns the logarithm of Σ P(offset), from <= offset <= to, carried to
// φ but for that φ's normaliser, with the mean offset of these; -Inf for an empty sum.
func (l lattice) logSum(phi float64, from, to int64) (log, mean float64) {
	from = max(from, l.first)
	to = min(to, l.first+int64(len(l.p))-1)
	if from > to {
		return math.Inf(-1), 0
	}
	// The end nearer to the new φ's mean leads, so that no exponential overflows.
	lead := to
	if phi < l.phi {
		lead = from
	}
	var sum, first float64
	for d := from; d <= to; d++ {
		p := l.p[d-l.first] * math.Exp((phi-l.phi)*float64(d-lead))
		sum += p
		first += p * float64(d-lead)
	}
	return math.Log(sum) + (phi-l.phi)*float64(lead) + l.logNormaliser, float64(lead) + first/sum
}

// limits returns the central limits: P_low(S >= seen) = tail, P_high(S <= seen) = tail.
func (a *strata) limits(near lattice, estimate OddsRatio, tail float64) (low, high OddsRatio, err error) {
	low, high = OddsRatio{End: AtZero}, OddsRatio{End: AtInfinity}
	stdErr := 1 / math.Sqrt(a.under(estimate.Log).variance+1)
	if a.least < 0 {
		low, err = limit(estimate.Log, -stdErr, tail, func(phi float64) (log, slope float64) { return a.upperTail(near, phi) })
		if err != nil {
			return low, high, fmt.Errorf("lower limit: %w", err)
		}
	}
	if a.most > 0 {
		high, err = limit(estimate.Log, stdErr, tail, func(phi float64) (log, slope float64) { return a.lowerTail(near, phi) })
		if err != nil {
			return low, high, fmt.Errorf("upper limit: %w", err)
		}
	}
	return low, high, nil
}

// limit returns the ln OR at which the logarithm of a tail, which falls in the direction of step, is ln(tail). The search begins where the
// normal distribution has it.
func limit(estimate, step, tail float64, of func(phi float64) (log, slope float64)) (OddsRatio, error) {
	side := math.Copysign(1, step)
	distance, err := num.IncreasingRootBySlope(func(distance float64) (value, slope float64) {
		log, slope := of(estimate + side*distance)
		return math.Log(tail) - log, -side * slope
	}, -num.NormalQuantile(tail)*math.Abs(step), math.Abs(step), farthest, 1e-9*math.Abs(step))
	return OddsRatio{Log: estimate + side*distance}, err
}

// pValues returns the two-sided p-values of OR = 1 by minimum likelihood and by
// doubling the smaller tail.
func (a *strata) pValues(near lattice) (minimum, central float64, err error) {
	logSeen, _ := a.tail(near, 0, 0, 0)
	seen := math.Exp(logSeen)
	// The tail on the side of the sum seen is the one that near gives without loss.
	inward := int64(-1)
	logTail, _ := a.upperTail(near, 0)
	if a.under(0).mean > 0 {
		inward = 1
		logTail, _ = a.lowerTail(near, 0)
	}
	tail := math.Exp(logTail)
	central = math.Min(1, 2*math.Min(tail, 1-tail+seen))
	minimum, err = a.minimumLikelihood(near, tail, inward)
	if err != nil {
		return 0, 0, fmt.Errorf("exact test: %w", err)
	}
	return atLeastSmallest(minimum), atLeastSmallest(central), nil
}
