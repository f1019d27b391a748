package exact

import (
	"errors"
	"fmt"
	"math"

	"evenrig/stats/num"
)

// ErrPercent: a rule's percentage outside its range.
var ErrPercent = errors.New("the percentage must be a whole number from 51 to 100")

// ShareRule is a rule of thumb of the bank, "when at least Percent of 100 fish took one
// pattern, it is the better one", with what it does for n fish in all.
type ShareRule struct {
	Least      int64   // fish on one pattern, of n, from which the rule declares it better
	FalseAlarm float64 // chance of declaring either better when neither is
	Test       float64 // chance of declaring the test pattern better at the true share
	Control    float64 // chance of declaring the control pattern better at the true share
}

// RuleOfShare returns what the rule does for n fish, each taking the test pattern with
// chance share whatever the others took (so position is balanced and anglers do not
// differ: with real fish it does worse). The threshold is found in whole numbers,
// Least = ⌈percent·n/100⌉, because 0.55·100 is above 55 in floating point.
//
// Errors: ErrPercent unless 51 <= percent <= 100; ErrNoCatches at n = 0; ErrCount unless 0 <= n <= 4·MaxCount;
// ErrProbability. Exact to 12 digits. No source: a practice of anglers; the chances
// are binomial tails.
func RuleOfShare(percent, n int64, share float64) (ShareRule, error) {
	if percent < 51 || percent > 100 {
		return ShareRule{}, fmt.Errorf("%d of 100: %w", percent, ErrPercent)
	}
	if err := checkTrials(0, n); err != nil {
		return ShareRule{}, err
	}
	if n == 0 {
		return ShareRule{}, ErrNoCatches
	}
	if !(share >= 0 && share <= 1) {
		return ShareRule{}, fmt.Errorf("share %g: %w", share, ErrProbability)
	}
	rule := ShareRule{Least: (percent*n + 99) / 100}
	_, upper := num.Binomial{N: n, P: 0.5, Q: 0.5}.Tails(rule.Least)
	rule.FalseAlarm = math.Min(1, 2*upper)
	fish := num.Binomial{N: n, P: share, Q: 1 - share}
	_, rule.Test = fish.Tails(rule.Least)
	rule.Control, _ = fish.Tails(n - rule.Least)
	return rule, nil
}

// SmallestSignificant returns the smallest number of fish on one pattern, of n, at which
// the exact two-sided binomial test of an even share has p <= alpha; ok is false where
// even all n have not.
//
// Errors: ErrCount unless 0 <= n <= 4·MaxCount; ErrLevel unless 0 < alpha < 1.
func SmallestSignificant(n int64, alpha float64) (fish int64, ok bool, err error) {
	if err := checkTrials(0, n); err != nil {
		return 0, false, err
	}
	if !(alpha > 0 && alpha < 1) {
		return 0, false, fmt.Errorf("alpha %g: %w", alpha, ErrLevel)
	}
	even := num.Binomial{N: n, P: 0.5, Q: 0.5}
	last := lastAtMost(n/2, n, func(k int64) bool {
		_, upper := even.Tails(k)
		return 2*upper > alpha*(1+1e-12) // a tail of exactly alpha/2 counts, however it was rounded
	})
	return last + 1, last < n, nil
}
