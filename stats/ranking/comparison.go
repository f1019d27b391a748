package ranking

import (
	"errors"
	"fmt"
	"slices"

	"evenrig/stats/exact"
)

// The ways in which data or arguments can fail. All are wrapped with what is at fault.
var (
	// ErrInput: fewer than two patterns or more than MaxPatterns, a pattern twice or
	// without a name, a comparison of an unknown pattern or of one with itself, a count
	// outside 0 to exact.MaxCount.
	ErrInput = errors.New("unusable comparisons")
	// ErrLevel: an interval level outside (0, 1).
	ErrLevel = errors.New("an interval level must lie above 0 and below 1")
	// ErrNotConnected: the patterns fall into parts that were never fished together.
	ErrNotConnected = errors.New("patterns that were not fished together, even through others, cannot be compared")
	// ErrSeparation: a strength or the position effect has no finite estimate.
	ErrSeparation = errors.New("no finite estimate exists")
	// ErrPosition: every pattern's strength could be exchanged for position.
	ErrPosition = errors.New("the position effect cannot be told from the patterns: fish some pair both ways round")
)

// MaxPatterns is the largest number of patterns accepted.
const MaxPatterns = 100

// Comparison counts the fish that took either fly of one rig.
type Comparison struct {
	Angler                 int    // any integer as a label; read by FitAnglers only
	Lower, Upper           string // the patterns at the two positions
	LowerTaken, UpperTaken int64  // 0 to exact.MaxCount; with both 0 it says nothing
}

// pair is a comparison with patterns by index.
type pair struct {
	angler       int
	lower, upper int
	taken        [2]float64 // fish that took the lower, the upper fly
}

// newPairs checks everything and returns the comparisons that have fish; those of
// one rig, and of one angler if anglers are told apart, added up. Errors: ErrInput.
func newPairs(patterns []string, comparisons []Comparison, byAngler bool) ([]pair, error) {
	index, err := indexPatterns(patterns)
	if err != nil {
		return nil, err
	}
	var pairs []pair
	type key struct{ angler, lower, upper int }
	place := map[key]int{}
	for n, c := range comparisons {
		lower, knownLower := index[c.Lower]
		upper, knownUpper := index[c.Upper]
		switch {
		case !knownLower || !knownUpper:
			return nil, fmt.Errorf("comparison %d of %q and %q: patterns are %q: %w", n+1, c.Lower, c.Upper, patterns, ErrInput)
		case lower == upper:
			return nil, fmt.Errorf("comparison %d of %q with itself: %w", n+1, c.Lower, ErrInput)
		case c.LowerTaken < 0 || c.UpperTaken < 0 || c.LowerTaken > exact.MaxCount || c.UpperTaken > exact.MaxCount:
			return nil, fmt.Errorf("comparison %d counts %d and %d; accepted are 0 to %d: %w", n+1, c.LowerTaken, c.UpperTaken, int64(exact.MaxCount), ErrInput)
		case c.LowerTaken+c.UpperTaken == 0:
			continue
		}
		k := key{lower: lower, upper: upper}
		if byAngler {
			k.angler = c.Angler
		}
		at, seen := place[k]
		if !seen {
			at = len(pairs)
			place[k] = at
			pairs = append(pairs, pair{angler: k.angler, lower: lower, upper: upper})
		}
		pairs[at].taken[0] += float64(c.LowerTaken)
		pairs[at].taken[1] += float64(c.UpperTaken)
	}
	return pairs, nil
}

func indexPatterns(patterns []string) (map[string]int, error) {
	if len(patterns) < 2 || len(patterns) > MaxPatterns {
		return nil, fmt.Errorf("%d patterns; accepted are 2 to %d: %w", len(patterns), MaxPatterns, ErrInput)
	}
	index := map[string]int{}
	for i, p := range patterns {
		if p == "" || slices.Contains(patterns[:i], p) {
			return nil, fmt.Errorf("pattern %d is named %q; each needs a name of its own: %w", i+1, p, ErrInput)
		}
		index[p] = i
	}
	return index, nil
}

func checkLevel(level float64) error {
	if !(level > 0 && level <= 1-1e-12) {
		return fmt.Errorf("level %g: %w", level, ErrLevel)
	}
	return nil
}
