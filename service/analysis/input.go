package analysis

import (
	"slices"

	"evenrig/service/trial"
	"evenrig/stats/exact"
	"evenrig/stats/glmm"
)

// Defaults of Input and Settings, where no protocol says otherwise.
const (
	DefaultAlpha         = .05
	DefaultSmallestShare = .60
	DefaultLowerWord     = "point"
	DefaultUpperWord     = "dropper"
)

// Input is what an analysis reads. Tallies may come in any order and need not be merged: the result does not depend on
// either. A tally without an Exclusion must have an arrangement and a pattern taken.
//
// Design may be empty: then it is DesignOf(Tallies). SmallestShare is the smallest share worth knowing, above .5 and
// below 1 (0: .60); Alpha is one minus the level of every interval, .001 to .5 (0: .05). LowerWord and UpperWord are the
// trial's own words for the two positions (empty: point, dropper). An empty Source is recorded.
//
// Draw lists the drawn blocks, each angler's in the order of the draw, and Choices says what the draw could have given; without
// a Draw nothing is said that rests on one. Subgroups are the columns named beforehand, of which the levels are compared: species,
// origin, water_type, month, fly, or a key of the tallies' Columns. Plan is what the protocol says of looks, nil for none. NotLogged
// are fish that were caught and not logged, by the closing question, and Left the anglers who left with their records kept;
// both are read for sensitivity only.
type Input struct {
	Design        trial.Design
	Test, Control string
	LowerWord     string
	UpperWord     string
	SmallestShare float64
	Alpha         float64
	Source        trial.Source
	Tallies       []trial.Tally
	Effort        trial.Effort
	Draw          []trial.DrawnBlock
	Choices       trial.Draw
	Subgroups     []string
	Plan          *Plan

	TestName, ControlName string // what sentences call the patterns; empty: their codes
	NotLogged             []AnglerCount
	Left                  []string
}

// AnglerCount is a number of fish of one angler.
type AnglerCount struct {
	Angler string `json:"angler"`
	N      int64  `json:"n"`
}

// Settings choose how the mixed model is fitted. Vary empty takes the usual form for the records; Points 0 is 15 per
// dimension, 7 with outings; 1 is the joint Laplace approximation. Correlated lets an angler's pattern and position effects be
// correlated, which takes 15 anglers or more to see. Step, unless nil, hears of each of Steps by its place as it begins, and ends
// the run by an error.
type Settings struct {
	Vary           Vary
	Correlated     bool
	Points         int
	ProgramVersion string
	Step           func(step int) error
}

// filled returns in with the defaults in place of what is empty.
func (in Input) filled() Input {
	if in.SmallestShare == 0 {
		in.SmallestShare = DefaultSmallestShare
	}
	if in.Alpha == 0 {
		in.Alpha = DefaultAlpha
	}
	if in.LowerWord == "" {
		in.LowerWord = DefaultLowerWord
	}
	if in.UpperWord == "" {
		in.UpperWord = DefaultUpperWord
	}
	if in.Source == "" {
		in.Source = trial.Recorded
	}
	if in.Design == "" {
		in.Design = DesignOf(in.Tallies)
	}
	return in
}

// check names every fault of a filled input and of the settings at once.
func (in Input) check(s Settings) error {
	var f trial.Faults
	trial.OneOf(&f, "design", in.Design, trial.Paired, trial.PairedByOuting)
	trial.OneOf(&f, "source", in.Source, trial.Drawn, trial.Recorded)
	if in.Test == "" || in.Control == "" || in.Test == in.Control {
		f.Add("patterns", "are %q and %q; accepted: two different codes", in.Test, in.Control)
	}
	if !(in.SmallestShare > .5 && in.SmallestShare < 1) {
		f.Add("smallest_share", "is %g; accepted: above 0.5 and below 1", in.SmallestShare)
	}
	if !(in.Alpha >= .001 && in.Alpha <= .5) {
		f.Add("alpha", "is %g; accepted: 0.001 to 0.5", in.Alpha)
	}
	if s.Vary != "" {
		trial.OneOf(&f, "vary", s.Vary, VaryPattern, VaryPatternPosition, VaryPatternPositionOuting)
		if in.Design == trial.PairedByOuting && s.Vary != VaryPatternPositionOuting && outingsShared(in.Tallies) {
			f.Add("vary", "is %q, but every outing has one arrangement, so that outings must be in the model; accepted: %s", s.Vary, VaryPatternPositionOuting)
		}
	}
	if s.Correlated && s.Vary == VaryPattern {
		f.Add("correlated", "is asked for with vary %s, which has one effect only; accepted with: %s, %s", s.Vary, VaryPatternPosition, VaryPatternPositionOuting)
	}
	in.checkDraw(&f)
	in.checkUnseen(&f)
	for i, column := range in.Subgroups {
		if column == "" || slices.Contains(in.Subgroups[:i], column) {
			f.Add("subgroups", "name the column %q twice or not at all; accepted: each column once", column)
		}
	}
	if s.Points < 0 || s.Points > glmm.MaxPoints {
		f.Add("points", "is %d; accepted: 1 to %d, or 0 for the usual number", s.Points, glmm.MaxPoints)
	}
	var total int64
	for _, t := range in.Tallies {
		if t.N < 0 || t.N > exact.MaxCount || total+t.N > exact.MaxCount {
			f.Add("tallies", "count more than %d fish, or fewer than none", int64(exact.MaxCount))
			break
		}
		total += t.N
		if t.Exclusion == trial.Analysed && t.N > 0 && !analysable(t) {
			f.Add("tallies", "hold an analysed fish of angler %q with arrangement %q that took %q; both must be known", t.Angler, t.Arrangement, t.Taken)
			break
		}
	}
	return f.Err("analysis.invalid", "the analysis cannot start")
}

// checkDraw names what of the draw or of the halves cannot be.
func (in Input) checkDraw(f *trial.Faults) {
	for _, b := range in.Draw {
		if b.Group < 1 || b.Size < 0 || b.First != trial.TestLower && b.First != trial.ControlLower {
			f.Add("draw", "has block %q of angler %q in group %d of size %d with %q first; accepted: groups from 1, sizes from 0, %s or %s",
				b.Block, b.Angler, b.Group, b.Size, b.First, trial.TestLower, trial.ControlLower)
			return
		}
	}
	for _, t := range in.Tallies {
		if t.Half < 0 || t.Half > 2 || t.Drawn != "" && t.Drawn != trial.TestLower && t.Drawn != trial.ControlLower {
			f.Add("tallies", "hold a fish of angler %q in half %d, drawn %q; accepted: half 1, 2 or 0, drawn %s, %s or nothing",
				t.Angler, t.Half, t.Drawn, trial.TestLower, trial.ControlLower)
			return
		}
	}
}

// analysable reports whether a tally says all that the model needs.
func analysable(t trial.Tally) bool {
	return (t.Arrangement == trial.TestLower || t.Arrangement == trial.ControlLower) &&
		(t.Taken == trial.TookTest || t.Taken == trial.TookControl)
}
