package meta

import (
	"errors"
	"fmt"
	"math"

	"evenrig/stats/exact"
	"evenrig/stats/num"
)

// The ways in which ConditionalPool can fail beside those of the arguments.
var (
	// ErrUnbounded: no finite estimate has the largest likelihood.
	ErrUnbounded = errors.New("in every angler's table the fish lie at the same end of what its margins allow: the effect has no bound")
	// ErrRunaway: the likelihood is still rising, or highest, at a τ of 10.
	ErrRunaway = errors.New("the likelihood rises with the difference between anglers up to an SD of 10: too few fish to tell their spread")
	// ErrLargeTable: more than MaxTable fish in one table.
	ErrLargeTable = errors.New("a table of more than 1000000 fish cannot be pooled exactly")
	// ErrManyTerms: more than MaxTerms terms in all different tables together.
	ErrManyTerms = errors.New("so many fish of so many anglers are too much for the exact likelihood; an angler with so many has an estimate of his own")
	// ErrNoMaximum: the search for the highest point did not end.
	ErrNoMaximum = errors.New("the highest point of the likelihood was not reached")
)

// MaxTable is the largest number of fish in one angler's table that ConditionalPool
// accepts. Such a table has an estimate of its own; what is exact about it is lost.
const MaxTable = 1_000_000

// MaxTerms bounds the terms, over all different tables, of the distributions that ConditionalPool sums at each of some ten thousand
// points: about a second of one core. 1,000 anglers with 40 fish have some 15,000, 100 with 1,000 fish some 20,000.
const MaxTerms = 20_000

// ConditionalRow is the exact conditional combination of anglers' tables. Effects
// are θ, half the log odds ratio.
type ConditionalRow struct {
	K             int     // anglers with fish in both arrangements and at both positions
	Uninformative int     // the other anglers: given their margins they say nothing
	Theta         float64 // pattern effect of a typical angler
	StdErr        float64 // by the observed information of Theta and Tau together
	Low, High     float64 // by t on DF
	P             float64 // two-sided, of θ = 0, by t on DF
	DF            int     // K - 1
	Tau           float64 // SD of θ between anglers, not a variance; exactly 0 if the maximum is there
	TauP          float64 // of τ = 0: half the χ² tail on 1 (Self & Liang 1987, JASA 82:605-610), 1 if Tau is 0
	LogLikelihood float64 // of the tables given their margins, with all constants
	// Likelihood-ratio limits of θ and p-value of θ = 0, by χ² on 1, Tau at its best
	// for each θ. A limit further than 30 from Theta is taken not to exist; it is then 0.
	ProfileLow, ProfileHigh       float64
	HasProfileLow, HasProfileHigh bool
	ProfileP                      float64
}

// ConditionalPool returns the maximum-likelihood combination of the anglers' tables
// by the conditional mixed model: given its margins, angler i's count A has the
// noncentral hypergeometric distribution with log odds ratio λ_i = 2θ_i, and θ_i
// is normal around θ with SD τ. The margins take every angler's own position effect
// away, and no half is added anywhere, so that sparse tables count for what they
// are. level, in (0, 1), is that of both intervals.
//
// Each angler's integral over λ_i is computed to about 14 digits by the trapezoidal
// rule on the line. For every τ the likelihood is log-concave in θ; over τ its slope
// is searched for sign changes from 0 to 10, and the highest point is taken, 0
// included. With Tau at 0 Theta is the conditional estimate of exact.ConditionalTest.
//
// When it is off. τ is by maximum likelihood and so on the small side with few
// anglers; t on K-1 makes up for part of that. In small clubs the estimate of θ lies
// beyond the truth, as maximum likelihood does. And an angler's margins are taken to
// say nothing about θ_i; where anglers differ they say a little, the more the further
// the position effect is from 0. With 3 fish an arrangement, θ .6 and τ .4 the
// estimate comes, with very many anglers, to .61, and to .64 where four of five fish
// take the lower fly; Pool of estimates with the half correction comes to .50 and .38.
//
// Errors: exact.ErrCount; ErrLargeTable; ErrManyTerms; ErrTooFewEffects for K < 2; ErrUnbounded; ErrRunaway;
// ErrNoMaximum; ErrLevel. Accuracy about 8 digits; cost proportional to the number
// of different tables, each integrated some 400 times. Source: Stijnen,
// Hamza & Özdemir (2010), Statistics in Medicine 29:3046-3067, section 2.3.
func ConditionalPool(tables []exact.Table, level float64) (ConditionalRow, error) {
	if err := checkLevel(level); err != nil {
		return ConditionalRow{}, err
	}
	likelihood, k, err := newConditional(tables)
	if err != nil {
		return ConditionalRow{}, err
	}
	if k < 2 {
		return ConditionalRow{}, fmt.Errorf("%d anglers with fish in both arrangements and at both positions, at least 2 needed: %w", k, ErrTooFewEffects)
	}
	if !likelihood.bounded() {
		return ConditionalRow{}, ErrUnbounded
	}
	top, none, err := likelihood.fit()
	if err != nil {
		return ConditionalRow{}, err
	}
	row := ConditionalRow{K: k, Uninformative: len(tables) - k, DF: k - 1}
	row.Theta, row.Tau, row.LogLikelihood = top.centre/2, top.sd/2, top.value
	if row.StdErr = top.stdErr() / 2; !(row.StdErr > 0) || math.IsInf(row.StdErr, 1) {
		return ConditionalRow{}, fmt.Errorf("%w: it is flat there, and has no information", ErrNoMaximum)
	}
	row.TauP = 1
	if top.sd > 0 {
		row.TauP = num.ChiSquaredTail(2*(top.value-none.value), 1) / 2
	}
	critical, err := num.StudentQuantile((1+level)/2, float64(row.DF))
	if err != nil {
		return ConditionalRow{}, err
	}
	row.Low, row.High = row.Theta-critical*row.StdErr, row.Theta+critical*row.StdErr
	row.P = twoSided(row.Theta, row.StdErr, row.DF)
	return row, row.profile(likelihood, top, level)
}

// profile fills in what is read off the profile of the likelihood over θ.
func (r *ConditionalRow) profile(likelihood *conditional, top point, level float64) error {
	drop, err := num.ChiSquaredQuantile(level, 1)
	if err != nil {
		return err
	}
	zero, err := likelihood.bestSD(0)
	if err != nil {
		return err
	}
	r.ProfileP = num.ChiSquaredTail(2*(top.value-zero.value), 1)
	for _, side := range []float64{-1, 1} {
		// Rises with the distance from the estimate, as fast as the likelihood falls there with sd held. An error inside makes it
		// NaN, which the root finder reports.
		excess := func(distance float64) (value, slope float64) {
			p, err := likelihood.bestSD(top.centre + side*distance)
			if err != nil {
				return math.NaN(), 0
			}
			return 2*(top.value-p.value) - drop, -2 * side * p.gradient
		}
		const farthest = 60 // in λ = 2θ
		unit := top.stdErr()
		start := math.Min(math.Sqrt(drop)*unit, farthest/2)
		distance, err := num.IncreasingRootBySlope(excess, start, unit, farthest-start, 1e-6*unit)
		switch {
		case errors.Is(err, num.ErrNoSignChange): // no limit on this side
		case err != nil:
			return fmt.Errorf("likelihood-ratio limit: %w", err)
		case side < 0:
			r.ProfileLow, r.HasProfileLow = (top.centre-distance)/2, true
		default:
			r.ProfileHigh, r.HasProfileHigh = (top.centre+distance)/2, true
		}
	}
	return nil
}
