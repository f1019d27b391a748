// Package exact holds inference for 2x2 tables and catch rates that does not lean on
// large samples, the test by the draw itself, and the classical stratified methods that
// stand beside them.
//
// Model. In stratum i (an angler, a block or an outing) the test pattern was
// fished at the lower position and m = A+B fish were taken, A of them by the
// lower fly; the control pattern was fished lower and n = C+D fish were taken, D
// of them by the lower fly. Given all four margins, A has the noncentral
// hypergeometric distribution with odds ratio OR = AC/(BD) = exp(2θ), where θ
// is the pattern effect (log-odds scale, one arrangement against the middle).
// The margins carry the position effect away with them, so no assumption about
// position, water or day is needed beyond one θ for all strata. Rates, where one
// pattern was fished at a time, are conditioned alike: given a stratum's fish, those on the test
// pattern are binomial.
//
// Sections: table.go (counts and their checks), oddsratio.go (an odds ratio
// that may lie at an end of its range), binomial.go, sharerule.go (a rule of thumb, and
// what it does), woolf.go, firth.go (one table with zeros), mantelhaenszel.go, homogeneity.go,
// freemanhalton.go (more rows); stratum.go (one stratum, tilted), sum.go (distribution
// of the sum over strata), minlikelihood.go, conditional.go (exact test, estimate and limits
// for tables), rates.go (the same for rates); randomise.go, redraw.go, points.go (the
// order drawn again).
//
// Nothing here returns NaN or an infinity: what data cannot give is a sentinel
// error or the End of an OddsRatio or RateRatio. Inputs are never modified; all functions
// may be called concurrently.
package exact

import (
	"errors"
	"fmt"
)

// MaxCount is the largest count accepted in one cell.
const MaxCount = 1_000_000_000

// The ways in which data or arguments can fail. All are wrapped with the values at fault.
var (
	// ErrCount: a negative count, or one above MaxCount.
	ErrCount = errors.New("a count must be between 0 and 1000000000")
	// ErrLevel: an interval level outside 0 < level <= 1 - 1e-12.
	ErrLevel = errors.New("an interval level must lie above 0 and below 1")
	// ErrProbability: a hypothesised probability outside [0, 1].
	ErrProbability = errors.New("a probability must lie between 0 and 1")
	// ErrNoCatches: no observation at all.
	ErrNoCatches = errors.New("there are no catches")
	// ErrZeroCell: a cell is zero where the method divides by it.
	ErrZeroCell = errors.New("a cell of the table is zero")
	// ErrNoInformation: no stratum has fish in both arrangements and at both positions.
	ErrNoInformation = errors.New("no stratum has fish in both arrangements and at both positions")
	// ErrUnbounded: the Mantel-Haenszel odds ratio is 0 or infinite.
	ErrUnbounded = errors.New("the odds ratio is 0 or unbounded")
	// ErrTooFewStrata: homogeneity needs at least two informative strata.
	ErrTooFewStrata = errors.New("homogeneity needs at least two informative strata")
)

// Table counts the fish of one stratum by arrangement and pattern taken.
// A, B are test and control taken with the test pattern lower (so A took the
// lower fly, B the upper); C, D are test and control taken with the test pattern
// upper (so C took the upper fly, D the lower). Each 0 to MaxCount.
//
// As arrangement by position taken the rows are (A, B) and (D, C), and the odds
// ratio AC/(BD) is exp(2θ).
type Table struct{ A, B, C, D int64 }

// Validate returns ErrCount, naming the cell, if a count is out of range.
func (t Table) Validate() error {
	for _, cell := range []struct {
		name  string
		count int64
	}{{"a", t.A}, {"b", t.B}, {"c", t.C}, {"d", t.D}} {
		if cell.count < 0 || cell.count > MaxCount {
			return fmt.Errorf("cell %s is %d: %w", cell.name, cell.count, ErrCount)
		}
	}
	return nil
}

// Total returns the number of fish in the table.
func (t Table) Total() int64 { return t.A + t.B + t.C + t.D }

// Informative reports whether all four margins are positive: fish in both
// arrangements, and at both positions. Only such a stratum says anything about
// the odds ratio once its margins are given.
func (t Table) Informative() bool {
	return t.A+t.B > 0 && t.C+t.D > 0 && t.A+t.D > 0 && t.B+t.C > 0
}

// HasZeroCell reports whether any of the four counts is zero.
func (t Table) HasZeroCell() bool { return t.A == 0 || t.B == 0 || t.C == 0 || t.D == 0 }

// informative returns the tables that say something about the odds ratio,
// after checking all of them. Errors: ErrCount, naming the stratum;
// ErrNoInformation if none is left.
func informative(tables []Table) ([]Table, error) {
	kept := make([]Table, 0, len(tables))
	for i, t := range tables {
		if err := t.Validate(); err != nil {
			return nil, fmt.Errorf("stratum %d: %w", i+1, err)
		}
		if t.Informative() {
			kept = append(kept, t)
		}
	}
	if len(kept) == 0 {
		return nil, ErrNoInformation
	}
	return kept, nil
}

// checkLevel returns ErrLevel unless 0 < level <= 1 - 1e-12.
func checkLevel(level float64) error {
	if !(level > 0 && level <= 1-1e-12) {
		return fmt.Errorf("level %g: %w", level, ErrLevel)
	}
	return nil
}
