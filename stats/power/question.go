package power

import (
	"fmt"
	"math"
	"strings"

	"evenrig/stats/num"
)

// The designs that can be planned. Paired: two flies on one line, swapped within
// the outing. PairedByOuting: one way round for a whole outing. Alternating: one fly
// at a time, changed by the clock, catches per hour compared; shares are then of
// fish caught in equal time, and no position is read. RoundRobin: three or more
// patterns, two of them on the line each outing; the share is that of one pattern
// against the control, the others being like it, and alpha holds for all patterns
// together (Holm; Bonferroni in the closed forms).
const (
	Paired         = "paired"
	PairedByOuting = "paired_by_outing"
	Alternating    = "alternating"
	RoundRobin     = "round_robin"
)

// Question is what an organiser asks before a trial. Usual gives every field its
// usual value; the ranges are those of Check. Shares are 0 to 1, SDs log odds.
type Question struct {
	Design        string  `json:"design"`
	Patterns      int     `json:"patterns"`       // 2, with round_robin 3 to 8
	SmallestShare float64 `json:"smallest_share"` // the smallest worth knowing, above one half
	Alpha         float64 `json:"alpha"`
	Power         float64 `json:"power"`
	LowerShare    float64 `json:"lower_share"` // of fish that take the lower fly with the patterns alike

	Anglers       int     `json:"anglers"`
	FishEach      float64 `json:"fish_each"`       // landed in the season by an angler who stays
	FishPerOuting float64 `json:"fish_per_outing"` // landed, on average
	Clumping      float64 `json:"clumping"`        // see Season
	OutingMinutes float64 `json:"outing_minutes"`

	SDPattern  float64 `json:"sd_pattern"`  // between anglers; not read for one angler
	SDPosition float64 `json:"sd_position"` // between anglers; not read for one angler
	SDOuting   float64 `json:"sd_outing"`   // between outings

	Swap SwapRule `json:"swap"`

	Dropout float64 `json:"dropout"`  // share of anglers who stop on the way
	NotSure float64 `json:"not_sure"` // share of fish whose fly is not known
	Uneven  float64 `json:"uneven"`   // coefficient of variation of the anglers' outings

	Stopping string `json:"stopping"`
	Looks    int    `json:"looks"`    // 0 unless group_sequential
	Spending string `json:"spending"` // empty unless group_sequential

	Seasons int    `json:"seasons"` // to be played by chance; 0 for none
	Seed    uint64 `json:"seed"`
}

// SwapRule is the rule that ends a half: after so many fish or minutes, whichever
// comes first; both null in paired_by_outing.
type SwapRule struct {
	AfterFish    *int `json:"after_fish"`
	AfterMinutes *int `json:"after_minutes"`
	BlockMaySpan bool `json:"block_may_span_outings"`
}

// Usual is the question with every field's usual value: 60 of 100, a club of twelve,
// and anglers who differ by an SD of .3, so that two thirds of them lie between 53
// and 67 of 100 around 60. The losses are common practice, no source.
func Usual() Question {
	fish, minutes := 2, 45
	return Question{
		Design: Paired, Patterns: 2, SmallestShare: .60, Alpha: .05, Power: .80, LowerShare: .50,
		Anglers: 12, FishEach: 24, FishPerOuting: 8, Clumping: UsualClumping, OutingMinutes: 240,
		SDPattern: .3, SDPosition: .3, Swap: SwapRule{AfterFish: &fish, AfterMinutes: &minutes},
		Dropout: .20, NotSure: .05, Uneven: .3, Stopping: Fixed, Seasons: 1000, Seed: 1,
	}
}

// Fault is one fault of a question: Field is its path as in JSON, Detail says what
// is wrong and what is accepted. Range is there where a number is outside it.
type Fault struct {
	Field, Detail string
	Range         *Range
}

// Range is a number and the ends between which it is accepted.
type Range struct{ Value, Low, High float64 }

// Faults are every fault of a question, as one error. It wraps ErrArgument.
type Faults []Fault

func (f Faults) Error() string {
	parts := make([]string, len(f))
	for i, fault := range f {
		parts[i] = fault.Field + " " + fault.Detail
	}
	return "the question has faults: " + strings.Join(parts, "; ")
}

// Unwrap returns ErrArgument.
func (f Faults) Unwrap() error { return ErrArgument }

// mostPlayed bounds the work of playing seasons, in fish; an outing costs as much as
// ten.
const mostPlayed = 30e6

// work is what it takes to play so many seasons of a team.
func (q Question) work(anglers int, fishEach float64) float64 {
	return float64(q.Seasons) * float64(anglers) * (fishEach + 10*fishEach/q.FishPerOuting)
}

// Check returns nil or Faults that name every field at fault.
func (q Question) Check() error {
	var f Faults
	f.oneOf("design", q.Design, Paired, PairedByOuting, Alternating, RoundRobin)
	if q.Design == RoundRobin {
		f.between("patterns", float64(q.Patterns), 3, 8)
	} else {
		f.between("patterns", float64(q.Patterns), 2, 2)
	}
	f.between("smallest_share", q.SmallestShare, .51, .90)
	f.between("alpha", q.Alpha, .001, .2)
	f.between("power", q.Power, .5, .99)
	f.between("lower_share", q.LowerShare, .05, .95)
	f.between("anglers", float64(q.Anglers), 1, 10_000)
	f.between("fish_each", q.FishEach, 1, 100_000)
	f.between("fish_per_outing", q.FishPerOuting, .1, 500)
	f.between("clumping", q.Clumping, 0, 10)
	f.between("outing_minutes", q.OutingMinutes, 15, 720)
	f.between("sd_pattern", q.SDPattern, 0, 3)
	f.between("sd_position", q.SDPosition, 0, 3)
	f.between("sd_outing", q.SDOuting, 0, 3)
	q.checkSwap(&f)
	f.between("dropout", q.Dropout, 0, .9)
	f.between("not_sure", q.NotSure, 0, .5)
	f.between("uneven", q.Uneven, 0, 2)
	q.checkStopping(&f)
	f.between("seasons", float64(q.Seasons), 0, 100_000)
	if work := q.work(q.Anglers, q.FishEach); work > mostPlayed {
		f.add("seasons", "is %d, which with %d anglers, %v fish each and %v an outing is too much to be played; accepted: at most %.0f", q.Seasons, q.Anglers, q.FishEach,
			q.FishPerOuting, math.Floor(float64(q.Seasons)*mostPlayed/work))
	}
	if len(f) == 0 {
		return nil
	}
	return f
}

func (q Question) checkSwap(f *Faults) {
	fish, minutes := q.Swap.AfterFish, q.Swap.AfterMinutes
	switch {
	case q.Design == PairedByOuting && (fish != nil || minutes != nil):
		f.add("swap", "after_fish and after_minutes must be null in %s: the outing's end is the swap", PairedByOuting)
	case q.Design == PairedByOuting && q.Swap.BlockMaySpan:
		f.add("swap.block_may_span_outings", "is true in %s, where a block is two outings anyway; accepted: false", PairedByOuting)
	case q.Design == Alternating && fish != nil:
		f.add("swap.after_fish", "is %d in %s, where a change after so many fish would decide the rates; accepted: null", *fish, Alternating)
	case q.Design == Alternating && minutes == nil:
		f.add("swap.after_minutes", "is null in %s; accepted: 5 to 180", Alternating)
	case q.Design == RoundRobin && q.Swap.BlockMaySpan:
		f.add("swap.block_may_span_outings", "is true in %s, where the next outing has other flies; accepted: false", RoundRobin)
	case (q.Design == Paired || q.Design == RoundRobin) && fish == nil && minutes == nil:
		f.add("swap", "needs after_fish (1 to 20), after_minutes (5 to 180) or both, whichever comes first")
	}
	if fish != nil {
		f.between("swap.after_fish", float64(*fish), 1, 20)
	}
	if minutes != nil {
		f.between("swap.after_minutes", float64(*minutes), 5, 180)
	}
}

func (q Question) checkStopping(f *Faults) {
	f.oneOf("stopping", q.Stopping, Fixed, GroupSequential, Anytime)
	if (q.Design == Alternating || q.Design == RoundRobin) && (q.Stopping == GroupSequential || q.Stopping == Anytime) {
		f.add("stopping", "is %q in %s; accepted: %s", q.Stopping, q.Design, Fixed)
	}
	if q.Stopping != GroupSequential {
		if q.Looks != 0 {
			f.add("looks", "is %d with stopping %q; accepted: 0, looks are planned only with %s", q.Looks, q.Stopping, GroupSequential)
		}
		if q.Spending != "" {
			f.add("spending", "is %q with stopping %q; accepted: empty, alpha is spent only with %s", q.Spending, q.Stopping, GroupSequential)
		}
		return
	}
	f.between("looks", float64(q.Looks), 2, 6)
	f.oneOf("spending", q.Spending, SpendOBrienFleming, SpendPocock)
	if q.Anglers >= 1 && q.Anglers < FewestAtLook {
		f.add("anglers", "is %d; with planned looks at least %d are needed, since no method keeps its level with fewer", q.Anglers, FewestAtLook)
	}
}

func (f *Faults) add(field, format string, args ...any) {
	*f = append(*f, Fault{Field: field, Detail: fmt.Sprintf(format, args...)})
}

// between adds a fault unless low <= v <= high; NaN is a fault.
func (f *Faults) between(field string, v, low, high float64) {
	if !(v >= low && v <= high) {
		f.add(field, "is %v; accepted: %v to %v", v, low, high)
		(*f)[len(*f)-1].Range = &Range{v, low, high}
	}
}

func (f *Faults) oneOf(field, v string, accepted ...string) {
	for _, a := range accepted {
		if v == a {
			return
		}
	}
	f.add(field, "is %q; accepted: %s", v, strings.Join(accepted, ", "))
}

// season is the question's season with the smallest effect worth knowing.
func (q Question) season() Season {
	s := Season{
		Theta: num.Logit(q.SmallestShare), Conditions: q.conditions(q.Anglers), Anglers: q.Anglers, FishEach: q.FishEach, Clumping: q.Clumping,
		OutingMinutes: q.OutingMinutes, Dropout: q.Dropout, NotSure: q.NotSure, Uneven: q.Uneven, OneFly: q.Design == Alternating, Patterns: q.Patterns, Swap: Swap{Span: q.Swap.BlockMaySpan},
	}
	if q.Swap.AfterFish != nil {
		s.Swap.AfterFish = *q.Swap.AfterFish
	}
	if q.Swap.AfterMinutes != nil {
		s.Swap.AfterMinutes = *q.Swap.AfterMinutes
	}
	return s
}

// conditions are the question's for a trial of so many anglers: one angler differs
// from nobody, the share is that angler's own.
func (q Question) conditions(anglers int) Conditions {
	c := Conditions{
		Beta: num.Logit(q.LowerShare), SDPattern: q.SDPattern, SDPosition: q.SDPosition, SDOuting: q.SDOuting,
		FishPerOuting: q.FishPerOuting,
	}
	if q.Design == Alternating {
		c.Beta, c.SDPosition = 0, 0
	}
	if anglers == 1 {
		c.SDPattern, c.SDPosition = 0, 0
	}
	return c
}

func (q Question) test() Test { return Test{q.Alpha, q.Power} }

// against is the number of patterns that are compared with the control.
func (q Question) against() float64 { return float64(q.Patterns - 1) }

func (q Question) stopping() Stopping {
	return Stopping{Test: q.test(), Rule: q.Stopping, Looks: q.Looks, Spending: q.Spending, Effect: num.Logit(q.SmallestShare)}
}

// kept is the share of landed fish that are expected to be analysed and to come at
// all: who stops does so half-way on average.
func (q Question) kept() float64 { return (1 - q.NotSure) * (1 - q.Dropout/2) }

// outings is how many outings land so many fish.
func (q Question) outings(landed float64) int { return int(math.Ceil(landed/q.FishPerOuting - 1e-9)) }
