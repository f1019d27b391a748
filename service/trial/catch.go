package trial

import (
	"cmp"
	"slices"
	"time"
)

// Catch is one fish. TakenPattern is a pattern's code, unknown or other; TakenPosition lower, upper, unknown or other;
// at least one is given, and what was given stays when the period's arrangement is corrected. DoubleID joins the fish
// of one double. Welfare is what was seen of harm to the fish, see JoinWelfare. Version counts corrections, from 1. Disputed
// says that two members agreed to leave the fish out. Only an
// imported table gives the last four: Reason is why the fish is not analysed where its other columns cannot show it,
// WaterType the kind of water, Fly the dressing that carried the change, Further what stood in columns that the catch table
// does not know.
type Catch struct {
	TrialID       ID
	ID            ID
	EnrolmentID   ID
	PeriodID      ID
	TakenPattern  string
	TakenPosition Position
	Outcome       Outcome
	FoulHooked    bool
	RigIntact     bool
	DoubleID      ID
	Welfare       string
	Species       string
	Origin        Origin
	CaughtAt      time.Time
	NotedAt       time.Time
	Length        *Measure
	Note          string
	NotedBy       ID
	ReceivedAt    time.Time
	SentDigest    Digest
	Version       int
	Void          bool
	Disputed      bool
	AfterLock     bool
	Reason        Exclusion
	WaterType     string
	Fly           string
	Further       Further
}

// Check returns the faults of a catch, each named. Whether the two things given about the fly agree with the period's
// arrangement is Agrees's question.
func (c Catch) Check(p Protocol, now time.Time) error {
	var f Faults
	checkSentID(&f, "catch", c.ID)
	if c.PeriodID.IsZero() {
		f.Add("period", "is missing; every fish belongs to a period")
	}
	switch _, known := p.PartOf(c.TakenPattern); {
	case c.TakenPattern == "" && c.TakenPosition == "":
		f.Add("taken_pattern", "is missing like taken_position; at least one is needed, unknown is an answer")
	case c.TakenPattern != "" && !known && c.TakenPattern != string(TookUnknown) && c.TakenPattern != string(TookOther):
		f.Add("taken_pattern", "is %q; accepted: %s, %s, unknown (not sure), other (a third fly)", c.TakenPattern, p.Code(Test), p.Code(Control))
	}
	if c.TakenPosition != "" {
		OneOf(&f, "taken_position", c.TakenPosition, Lower, Upper, UnknownPosition, OtherPosition)
	}
	OneOf(&f, "outcome", c.Outcome, Landed, Lost, Touched)
	OneOf(&f, "origin", c.Origin, Wild, Stocked, UnknownOrigin)
	if c.Species != OtherSpecies && c.Species != UnknownSpecies && !speciesForm.MatchString(c.Species) {
		f.Add("species", "is %q; accepted: a scientific name like Thymallus thymallus, other, unknown", c.Species)
	}
	checkTime(&f, "caught_at", c.CaughtAt, now)
	checkTime(&f, "noted_at", c.NotedAt, now)
	if c.NotedAt.Before(c.CaughtAt) {
		f.Add("noted_at", "is before caught_at; a fish is noted when it is caught or later")
	}
	if c.Length != nil {
		if mm, err := c.Length.Millimetres(); err != nil {
			f.Add("length", "%s", err)
		} else if most := Longest(c.Species); mm > most {
			f.Add("length", "is %s; accepted for %s: up to %d mm", c.Length, c.Species, most)
		}
	}
	checkWelfare(&f, c.Welfare)
	length(&f, "note", c.Note, 0, 500)
	return f.Err("catch.invalid", "the catch has faults")
}

// Agrees returns an Invalid error when pattern and position were both given and do not fit arrangement a: one of them
// is a slip, and only the angler knows which.
func (c Catch) Agrees(p Protocol, a Arrangement) error {
	part, known := p.PartOf(c.TakenPattern)
	placed := c.TakenPosition == Lower || c.TakenPosition == Upper
	third := known && c.TakenPosition == OtherPosition || placed && c.TakenPattern == string(TookOther)
	if !third && !(known && placed && c.TakenPosition != positionOf(part, a)) {
		return nil
	}
	lower, upper := p.Flies(a)
	return &Error{
		Kind: Invalid, Code: "catch.disagrees", Detail: "pattern and position do not fit the arrangement",
		Fields: []FieldError{{"taken_position", "is " + string(c.TakenPosition) + " while taken_pattern is " + c.TakenPattern +
			"; the period is rigged with " + lower + " lower and " + upper + " upper: correct one of them, or report the rig as the wrong way round"}},
	}
}

// TakenIn returns what the fish took and where, as far as known, when it was caught in arrangement a. A known pattern
// settles the position, else a known position the pattern; a third fly given either way is other. In an imported table's
// period without an arrangement neither settles the other.
func (c Catch) TakenIn(p Protocol, a Arrangement) (Taken, Position) {
	part, known := p.PartOf(c.TakenPattern)
	placed := c.TakenPosition == Lower || c.TakenPosition == Upper
	switch {
	case known && a == "" && placed:
		return Taken(part), c.TakenPosition
	case known && a == "":
		return Taken(part), UnknownPosition
	case known:
		return Taken(part), positionOf(part, a)
	case c.TakenPattern == string(TookOther) || c.TakenPosition == OtherPosition:
		return TookOther, OtherPosition
	case placed && a == "":
		return TookUnknown, c.TakenPosition
	case placed:
		for _, part := range []Part{Test, Control} {
			if positionOf(part, a) == c.TakenPosition {
				return Taken(part), c.TakenPosition
			}
		}
	}
	return TookUnknown, UnknownPosition
}

func positionOf(part Part, a Arrangement) Position {
	if (part == Test) == (a == TestLower) {
		return Lower
	}
	return Upper
}

// CountsTowardSwap reports whether the fish counts toward the swap rule: every landed eligible fish, also one whose fly is
// not known, a double twice; lost, touched and foul-hooked fish, other species, short fish and those of a third fly do
// not.
func (c Catch) CountsTowardSwap(p Protocol) bool {
	thirdFly := c.TakenPattern == string(TookOther) || c.TakenPosition == OtherPosition
	return !c.Void && c.Outcome == Landed && !c.FoulHooked && !thirdFly && c.eligibleSpecies(p) && !c.tooShort(p)
}

// In is the catch as its outing bounds it: what was agreed of a disputed outing holds for its fish.
func (c Catch) In(o Outing) Catch {
	c.Disputed = c.Disputed || o.Disputed
	return c
}

// eligibleSpecies reports whether the species is on the protocol's list. A table that does not say the species is taken
// at its organiser's word.
func (c Catch) eligibleSpecies(p Protocol) bool {
	return slices.Contains(p.Species, c.Species) || p.Source == Recorded && c.Species == ""
}

// Excluded returns why the fish is not analysed, the first reason that applies, or Analysed. period is the fish's,
// unit the period's, deviations the enrolment's. Of an imported fish whose arrangement is as little known as its pattern, the
// pattern is the reason, as it is when the table is read without a trial.
func (c Catch) Excluded(p Protocol, period Period, unit Unit, deviations []Deviation) Exclusion {
	derived := c.derivedExclusion(p, period, unit, deviations)
	if c.Reason == Analysed || derived == Analysed {
		return cmp.Or(c.Reason, derived)
	}
	return Exclusions()[min(slices.Index(Exclusions(), c.Reason), slices.Index(Exclusions(), derived))]
}

func (c Catch) derivedExclusion(p Protocol, period Period, unit Unit, deviations []Deviation) Exclusion {
	taken, _ := c.TakenIn(p, period.ArrangementAt(c.CaughtAt, deviations))
	beforeStart := c.CaughtAt.Before(period.StartedAt)
	switch {
	case c.Void:
		return Void
	case c.Disputed:
		return Disputed
	case c.AfterLock:
		return AfterLock
	case unit.SameFlyCheck:
		return SameFlyCheck
	case c.Outcome == Lost:
		return ExcludeLost
	case c.Outcome == Touched:
		return ExcludeTouched
	case c.FoulHooked:
		return FoulHooked
	case !c.eligibleSpecies(p):
		return WrongSpecies
	case c.tooShort(p):
		return TooShort
	case !period.Confirmed && (p.Source == Drawn || taken == TookTest || taken == TookControl), p.Source == Drawn && beforeStart && period.Half == 1, period.End != nil && c.CaughtAt.After(period.End.EndedAt),
		offTrialAt(c.CaughtAt, period.OutingID, deviations):
		return NotConfirmed
	case !c.RigIntact, !period.rigIntactAt(c.CaughtAt, deviations):
		return RigNotIntact
	case p.Source == Drawn && beforeStart, period.End != nil && period.End.SwapNowAt != nil && c.CaughtAt.After(*period.End.SwapNowAt):
		return WhileSwapping
	case !c.DoubleID.IsZero():
		return Double
	case taken == TookOther:
		return OtherFly
	case taken == TookUnknown:
		return NotSure
	}
	return Analysed
}

func (c Catch) tooShort(p Protocol) bool {
	if c.Length == nil {
		return false
	}
	mm, err := c.Length.Millimetres()
	return err == nil && mm < p.MinLengthMM
}

// Late reports whether the fish was noted down later than the protocol's limit. Late arrival alone is never late.
func (c Catch) Late(p Protocol) bool {
	return c.NotedAt.Sub(c.CaughtAt) > time.Duration(p.OutingLimits.LateLimitH)*time.Hour
}
