package exact

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

// ConditionalTest returns the exact conditional test of OR = 1 (θ = 0) in all
// strata, with estimate and limits at the given level.
//
// Errors: ErrCount, ErrLevel, ErrNoInformation.
func ConditionalTest(tables []Table, level float64) (Conditional, error) {
	return Conditional{}, ErrNoInformation
}

// FisherTwoSided returns Fisher's exact p-value of one table, by minimum
// likelihood; 1 where a margin is empty, because only one table is possible
// then. Errors: ErrCount, ErrNoCatches.
func FisherTwoSided(t Table) (float64, error) { return 0, ErrNoCatches }
