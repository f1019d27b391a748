package trial

import (
	"cmp"
	"strconv"
	"time"
)

// Period is fishing in one arrangement until a swap. UnitID is its block's unit; Half is 1 or 2. Drawn is what chance
// gave, Fished what was on the line (a correction changes Fished alone); Confirmed means that the angler said "rigged
// so". TestFly and ControlFly are the numbers of the two flies that were fished, 0 where they are not known. In an imported table UnitID is zero, Drawn is empty, Block and Half are the table's, and OutingID is zero where it
// does not tell one outing from another.
type Period struct {
	TrialID     ID
	ID          ID
	EnrolmentID ID
	OutingID    ID
	UnitID      ID
	Block       string
	Half        int
	Drawn       Arrangement
	Fished      Arrangement
	Confirmed   bool
	TestFly     int
	ControlFly  int
	StartedAt   time.Time
	ReceivedAt  time.Time
	SentDigest  Digest
	Version     int
	End         *PeriodEnd
}

// PeriodEnd ends a period. SwapNowAt is when the rule said "swap now" (nil when it never did), EndedAt when the flies
// were changed over or fishing stopped: a fish in between is while_swapping.
type PeriodEnd struct {
	EndedAt    time.Time
	SwapNowAt  *time.Time
	Reason     string
	ReceivedAt time.Time
	SentDigest Digest
}

// EndedByRule is the reason of a period that ended by the swap rule; a block is finished when both its periods did.
const EndedByRule = "swap_rule"

// endedWithOuting is the reason of a period that ended with its outing, which in paired_by_outing is the swap.
const endedWithOuting = "outing_ended"

// Check returns the faults of a period as an angler sends it.
func (p Period) Check(now time.Time) error {
	var f Faults
	checkSentID(&f, "period", p.ID)
	between(&f, "half", p.Half, 1, 2, "")
	OneOf(&f, "fished", p.Fished, TestLower, ControlLower)
	checkFly(&f, "test_fly", p.TestFly)
	checkFly(&f, "control_fly", p.ControlFly)
	checkTime(&f, "started_at", p.StartedAt, now)
	return f.Err("period.invalid", "the period has faults")
}

// Beginning is what a period's beginning is judged by: its outing and unit, all units of the enrolment in order, the
// periods already begun in the same unit, in the unit before and in the same outing, the outing's reports, the outings in which
// this unit and the one before began, nil where there is none, and
// the enrolment's readings of the water's temperature with the organiser's leave to fish on.
type Beginning struct {
	Protocol     Protocol
	Outing       Outing
	Unit         Unit
	Units        []Unit
	OfUnit       []Period
	OfBefore     []Period
	OfOuting     []Period
	Deviations   []Deviation
	FirstOuting  *Outing
	OutingBefore *Outing
	Readings     []Temperature
	Overrides    []WelfareOverride
}

// stops returns nil unless fishing stops in the outing's water as it was last measured before t.
func (b Beginning) stops(t time.Time) error {
	w := Warmth{b.Outing, b.Readings, b.Overrides}
	return w.Stops(b.Protocol, w.At(t))
}

// LiesIn returns nil when the period begins within its outing, and before its own end.
func (p Period) LiesIn(o Outing) error {
	if o.End != nil && p.StartedAt.After(o.End.EndedAt) {
		return Fail(Conflict, "outing.ended", "the outing ended at %s, before the period's started_at", o.End.EndedAt.Format(time.RFC3339))
	}
	var f Faults
	if p.StartedAt.Before(o.StartedAt) {
		f.Add("started_at", "is %s; accepted: a time since the outing's start at %s", p.StartedAt.Format(time.RFC3339), o.StartedAt.Format(time.RFC3339))
	}
	if p.End != nil && p.StartedAt.After(p.End.EndedAt) {
		f.Add("started_at", "is %s; accepted: a time up to the period's end at %s", p.StartedAt.Format(time.RFC3339), p.End.EndedAt.Format(time.RFC3339))
	}
	return f.Err("period.invalid", "the period has faults")
}

// EndedWith is the period as its outing bounds it: one that nobody ended ended with the outing, if that has ended.
func (p Period) EndedWith(o Outing) Period {
	if p.End == nil && o.End != nil {
		p.End = &PeriodEnd{EndedAt: o.End.EndedAt, Reason: endedWithOuting, ReceivedAt: o.End.ReceivedAt}
	}
	return p
}

// Begin returns nil when the period may begin: its outing goes on in water that is not too warm, its unit is the next in
// line, the other half has not been left out, and both halves lie at one water, in one outing unless the protocol lets
// blocks span outings.
func (p Period) Begin(b Beginning) error {
	unit := b.Unit
	if b.Outing.Void {
		return Fail(Conflict, "outing.void", "outing %s was marked as opened by mistake; open another, or take the mark back", b.Outing.ID)
	}
	if err := cmp.Or(p.LiesIn(b.Outing), b.stops(p.StartedAt), unit.lost(p.StartedAt)); err != nil {
		return err
	}
	for _, other := range b.OfUnit {
		if other.Half == p.Half {
			return Fail(Conflict, "period.half", "half %d of unit %d has already begun as period %s", p.Half, unit.N, other.ID)
		}
	}
	if b.Protocol.Design == PairedByOuting && len(b.OfOuting) > 0 {
		return Fail(Conflict, "period.outing", "in paired_by_outing an outing has one period, and this one has period %s: open another outing", b.OfOuting[0].ID)
	}
	if p.Half == 2 {
		return p.beginSecond(b)
	}
	if unit.onPaper() {
		return nil
	}
	for _, u := range b.Units {
		if u.waits() && u.N < unit.N {
			return Fail(Conflict, "unit.order", "unit %d is next in line; unit %d cannot be fished before it", u.N, unit.N)
		}
	}
	// A block lies at one water: who goes to another has left it.
	if b.Protocol.Design == PairedByOuting && len(b.OfBefore) == 1 && b.OutingBefore.Water == b.Outing.Water {
		return Fail(Conflict, "unit.order", "half 2 of unit %d is next in line at %s: in paired_by_outing a unit's two outings follow each other", unit.N-1, b.Outing.Water)
	}
	return nil
}

func (p Period) beginSecond(b Beginning) error {
	if len(b.OfUnit) == 0 {
		return Fail(Conflict, "period.half", "half 1 of unit %d has not begun; its second half cannot come first", b.Unit.N)
	}
	first := b.OfUnit[0]
	if p.StartedAt.Before(first.StartedAt) {
		return Fail(Conflict, "period.half", "half 1 of unit %d began at %s; its second half cannot begin before that", b.Unit.N, first.StartedAt.Format(time.RFC3339))
	}
	for _, u := range b.Units {
		// A card may be typed long after its day, so that numbers of paper tell no order.
		later := u.N > b.Unit.N
		if u.onPaper() || b.Unit.onPaper() {
			later = u.ID != b.Unit.ID && u.OpenedAt != nil && u.OpenedAt.After(first.StartedAt)
		}
		if later && u.OpenedAt != nil && !u.OpenedAt.After(p.StartedAt) {
			return Fail(Conflict, "unit.order", "unit %d began at %s, which left the block of unit %d: go on with unit %d",
				u.N, u.OpenedAt.Format(time.RFC3339), b.Unit.N, u.N)
		}
	}
	for _, d := range b.Deviations {
		if d.Kind == Moved && d.FromAt.After(first.StartedAt) && !d.FromAt.After(p.StartedAt) {
			return Fail(Conflict, "period.moved", "you moved to %s after unit %d began, which ended its block: open the next unit", d.Water, b.Unit.N)
		}
	}
	if b.FirstOuting != nil && b.FirstOuting.Water != b.Outing.Water {
		return Fail(Conflict, "period.outing", "unit %d was begun at %s and a block lies at one water: open the next unit", b.Unit.N, b.FirstOuting.Water)
	}
	if b.Protocol.Design == Paired && first.OutingID != p.OutingID && !b.Protocol.Draw.BlockMaySpan {
		return Fail(Conflict, "period.outing", "unit %d was begun in another outing and this protocol's blocks do not span outings: open the next unit", b.Unit.N)
	}
	return nil
}

// Check returns the faults of a period's end.
func (e PeriodEnd) Check(p Period, now time.Time) error {
	var f Faults
	checkTime(&f, "ended_at", e.EndedAt, now)
	if e.EndedAt.Before(p.StartedAt) {
		f.Add("ended_at", "is before the period started at %s", p.StartedAt.Format(time.RFC3339))
	}
	OneOf(&f, "reason", e.Reason, EndedByRule, endedWithOuting, "moved", "could_not_swap", "fly_lost", "other")
	switch {
	case e.Reason == EndedByRule && e.SwapNowAt == nil:
		f.Add("swap_now_at", "is missing; a period that ended by the swap rule says when the rule asked for the swap")
	case e.SwapNowAt != nil && (e.SwapNowAt.Before(p.StartedAt) || e.SwapNowAt.After(e.EndedAt)):
		f.Add("swap_now_at", "is %s; accepted: a time between the period's start and its end", e.SwapNowAt.Format(time.RFC3339))
	}
	return f.Err("period.invalid", "the period's end has faults")
}

// Deviation is a report of something that was not as planned, from a time on. The angler's own words for it are the
// note. Water is where a move went, empty otherwise, Fly the number of the fly that took a lost one's place, 0 otherwise.
type Deviation struct {
	TrialID     ID
	ID          ID
	EnrolmentID ID
	OutingID    ID
	PeriodID    ID
	Kind        DeviationKind
	Water       string
	Fly         int
	FromAt      time.Time
	UntilAt     *time.Time
	Note        string
	ReceivedAt  time.Time
	SentDigest  Digest
}

// DeviationKind says what was not as planned.
type DeviationKind string

// The kinds. WrongWayRound turns the arrangement over from its time on; OffTrial lasts until UntilAt or a BackOn; the
// others but CouldNotSwap and Moved mean that the rig was not as the protocol has it.
const (
	ThirdFly       DeviationKind = "third_fly"
	WrongFly       DeviationKind = "wrong_fly"
	WrongWayRound  DeviationKind = "wrong_way_round"
	FlyLost        DeviationKind = "fly_lost"
	SpacingChanged DeviationKind = "spacing_changed"
	DepthChanged   DeviationKind = "depth_changed"
	CouldNotSwap   DeviationKind = "could_not_swap"
	OffTrial       DeviationKind = "off_trial"
	BackOn         DeviationKind = "back_on"
	Moved          DeviationKind = "moved"
)

// Check returns the faults of a deviation as an angler sends it. A fault of the rig belongs to a period; going off
// trial, coming back and moving belong to the outing.
func (d Deviation) Check(p Protocol, now time.Time) error {
	var f Faults
	checkSentID(&f, "deviation", d.ID)
	OneOf(&f, "kind", d.Kind, ThirdFly, WrongFly, WrongWayRound, FlyLost, SpacingChanged, DepthChanged, CouldNotSwap, OffTrial, BackOn, Moved)
	if d.PeriodID.IsZero() && d.Kind != OffTrial && d.Kind != BackOn && d.Kind != Moved {
		f.Add("period", "is missing; %s happens in a period", d.Kind)
	}
	if d.Kind == Moved || d.Water != "" {
		p.checkWater(&f, d.Water)
	}
	checkTime(&f, "from", d.FromAt, now)
	if d.UntilAt != nil {
		checkTime(&f, "until", *d.UntilAt, now)
		if d.UntilAt.Before(d.FromAt) {
			f.Add("until", "is %s; accepted: a time since from, %s", d.UntilAt.Format(time.RFC3339), d.FromAt.Format(time.RFC3339))
		}
	}
	if d.Fly != 0 && d.Kind != FlyLost {
		f.Add("fly", "is %d with %s; accepted: none, a number goes with fly_lost", d.Fly, d.Kind)
	}
	checkFly(&f, "fly", d.Fly)
	length(&f, "note", d.Note, 0, 500)
	return f.Err("deviation.invalid", "the report has faults")
}

// covers reports whether t lies in the deviation's time.
func (d Deviation) covers(t time.Time) bool {
	return !t.Before(d.FromAt) && (d.UntilAt == nil || t.Before(*d.UntilAt))
}

// ArrangementAt returns the arrangement on the line at t: as fished, turned over where a report of the wrong way round
// covers t; saying so twice says no more. deviations are those of the period.
func (p Period) ArrangementAt(t time.Time, deviations []Deviation) Arrangement {
	for _, d := range deviations {
		if d.Kind == WrongWayRound && d.PeriodID == p.ID && d.covers(t) {
			return p.Fished.Other()
		}
	}
	return p.Fished
}

// rigIntactAt reports whether no deviation says that the rig was other than the protocol's at t.
func (p Period) rigIntactAt(t time.Time, deviations []Deviation) bool {
	for _, d := range deviations {
		switch d.Kind {
		case ThirdFly, WrongFly, FlyLost, SpacingChanged, DepthChanged:
			if d.PeriodID == p.ID && d.covers(t) {
				return false
			}
		}
	}
	return true
}

// offTrialAt reports whether the angler was off trial at t: after an off_trial without until, up to the next back_on.
func offTrialAt(t time.Time, outing ID, deviations []Deviation) bool {
	for _, off := range deviations {
		if off.Kind != OffTrial || off.OutingID != outing || !off.covers(t) {
			continue
		}
		back := false
		for _, on := range deviations {
			back = back || on.Kind == BackOn && on.OutingID == outing && on.FromAt.After(off.FromAt) && !on.FromAt.After(t)
		}
		if !back {
			return true
		}
	}
	return false
}

// deviatedAt reports whether something reported as not as planned covers t: a report of the period, being off trial, or
// having moved on to other water without opening another block. Coming back is as planned.
func (p Period) deviatedAt(t time.Time, deviations []Deviation) bool {
	for _, d := range deviations {
		switch d.Kind {
		case OffTrial, BackOn:
		case Moved:
			if d.OutingID == p.OutingID && d.FromAt.After(p.StartedAt) && d.covers(t) {
				return true
			}
		default:
			if d.PeriodID == p.ID && d.covers(t) {
				return true
			}
		}
	}
	return offTrialAt(t, p.OutingID, deviations)
}

func halfName(half int) string {
	if half == 0 {
		return ""
	}
	return strconv.Itoa(half)
}
