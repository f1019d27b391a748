package analysis

import (
	"fmt"
	"math"
	"strconv"

	"evenrig/service/trial"
	"evenrig/stats/num"
	"evenrig/stats/power"
)

// DefaultPower is the chance with which a trial is to tell the smallest share worth knowing from one half, where no protocol says
// otherwise.
const DefaultPower = .80

// moreFish is what would settle a trial that is not settled: more fish by the same anglers, or, where these differ too much for
// that, more anglers like them. Nil where it cannot be told, and under planned looks, which have their own size.
func moreFish(r Result, in Input, k int) *MoreFish {
	stdErr := r.headlineStdErr(1 - in.Alpha)
	if k == 0 || stdErr == nil || in.Plan != nil && in.Plan.Rule != trial.FixedSize {
		return nil
	}
	s := power.Standing{Anglers: k, Fish: int(r.Counts.Analysed), StdErr: *stdErr, SDPattern: r.headlineSD(), SmallestShare: in.SmallestShare}
	more, err := power.MoreFish(s, power.Test{Alpha: in.Alpha, Power: in.power()})
	switch {
	case err != nil || more.Reached: // an argument out of range: a standard error beyond all use
		return nil
	case more.SameAnglers:
		return &MoreFish{Fish: int64(more.Fish), Anglers: int64(k)}
	case more.OtherAnglers:
		return &MoreFish{Fish: int64(more.AnglersFish), Anglers: int64(k + more.Anglers)}
	}
	return nil
}

func (in Input) power() float64 {
	if in.Plan != nil && in.Plan.Power > in.Alpha {
		return in.Plan.Power
	}
	return DefaultPower
}

// headlineStdErr is the standard error behind the headline; for the exact method the one that limits as wide would come from.
func (r Result) headlineStdErr(level float64) *float64 {
	h := r.Headline
	switch {
	case h.LogOdds == nil:
		return nil
	case h.Method == MixedModelProfile && r.MixedModel != nil:
		return r.MixedModel.StdError
	case h.Low == nil || h.High == nil:
		return nil
	}
	return known((*h.High - *h.Low) / 2 / -num.NormalQuantile((1-level)/2))
}

// headlineSD is the SD of θ between anglers that the headline's method sees, 0 where it allows for none.
func (r Result) headlineSD() float64 {
	if m := r.MixedModel; r.Headline.Method == MixedModelProfile && m != nil && m.SDPattern != nil {
		return *m.SDPattern
	}
	return 0
}

// words says what would settle it, with the number of fish rounded up to two digits: it is a rough one.
func (m *MoreFish) words(in Input, k int) string {
	if m == nil {
		return ""
	}
	by := "by the same angler"
	switch {
	case m.Anglers > int64(k):
		by = fmt.Sprintf("by %d more anglers like these", m.Anglers-int64(k))
	case k > 1:
		by = fmt.Sprintf("by the same %d anglers", k)
	}
	return fmt.Sprintf(" About %s more fish %s would settle it %s times in 100, were the true share %s of 100.",
		roughly(m.Fish), by, strconv.Itoa(int(math.Round(100*in.power()))), OutOf100(in.SmallestShare))
}

// roughly rounds up to two digits.
func roughly(n int64) string {
	unit := int64(1)
	for n/unit >= 100 {
		unit *= 10
	}
	return strconv.FormatInt((n+unit-1)/unit*unit, 10)
}
