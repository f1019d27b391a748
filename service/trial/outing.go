package trial

import (
	"fmt"
	"slices"
	"time"
)

// Outing is a day's fishing, opened before the first cast so that blanks are seen. Times are the phone's, with its
// offset. WaterTemperature is nil when there was no thermometer. Cell is where it was, as coarse as Protocol.CellOf makes
// it, empty when that is not kept. Card is the number of the paper card that it was typed from, 0 for none. ProtocolVersion is the version that the phone carried. Version counts corrections, from 1.
// Void says that it was opened by mistake, Disputed that two members agreed to leave its fish out.
type Outing struct {
	TrialID          ID
	ID               ID
	EnrolmentID      ID
	ProtocolVersion  int
	Water            string
	Cell             string
	Card             int
	StartedAt        time.Time
	StartedLate      bool
	WaterTemperature *Measure
	Conditions       string
	Note             string
	ReceivedAt       time.Time
	SentDigest       Digest
	Version          int
	Void             bool
	Disputed         bool
	End              *OutingEnd
}

// OutingEnd closes an outing, a blank one too. NotLogged is the answer to "how many fish were not logged?".
type OutingEnd struct {
	EndedAt    time.Time
	Reason     string
	NotLogged  int
	ReceivedAt time.Time
	SentDigest Digest
}

// Check returns the faults of an outing as an angler sends it.
func (o Outing) Check(p Protocol, now time.Time) error {
	var f Faults
	checkSentID(&f, "outing", o.ID)
	p.checkWater(&f, o.Water)
	checkTime(&f, "started_at", o.StartedAt, now)
	if o.WaterTemperature != nil {
		if _, err := o.WaterTemperature.TenthsC(); err != nil {
			f.Add("water_temperature", "%s", err)
		}
	}
	length(&f, "conditions", o.Conditions, 0, 200)
	length(&f, "note", o.Note, 0, 500)
	return f.Err("outing.invalid", "the outing has faults")
}

// CheckEnd returns the faults of the outing's end, if it has one.
func (o Outing) CheckEnd(now time.Time) error {
	if o.End == nil {
		return nil
	}
	return o.End.check("end_reason", o, now)
}

// Holds returns nil when the outing's times hold its periods, and nothing was fished in one that was opened by mistake.
func (o Outing) Holds(periods []Period) error {
	if o.Void && len(periods) > 0 {
		return Fail(Conflict, "outing.fished", "outing %s has %d periods, so it was fished and stays; what of it should not count is corrected fish by fish", o.ID, len(periods))
	}
	for _, p := range periods {
		if err := p.LiesIn(o); err != nil {
			return Fail(Conflict, "outing.periods", "period %s began at %s, which the corrected outing would not hold: correct the period first", p.ID, p.StartedAt.Format(time.RFC3339))
		}
	}
	return nil
}

// Warning says, where nothing is refused, what should be known.
type Warning struct {
	Code   string
	Detail string
}

// PastItsEnd says what of the trial an outing lies outside of: the season by the phone's date, or the planned number of
// analysed fish. It is taken all the same; its fish are analysed like any other.
func (o Outing) PastItsEnd(p Protocol, analysed int64) []Warning {
	var warnings []Warning
	switch day := o.StartedAt.Format(time.DateOnly); {
	case day < p.SeasonStart:
		warnings = append(warnings, Warning{"season.before", "the rule sheet's season begins on " + p.SeasonStart + ", after this outing; it is kept all the same"})
	case day > p.SeasonEnd:
		warnings = append(warnings, Warning{"season.over", "the rule sheet's season ended on " + p.SeasonEnd + ", before this outing; it is kept all the same, ask the organiser whether the trial goes on"})
	}
	if slices.Contains(p.EndRule, "total_fish") && analysed >= int64(p.MaxFish) {
		warnings = append(warnings, Warning{
			"fish.enough", fmt.Sprintf("the trial has the %d fish that it set out for; this outing is kept all the same, ask the organiser whether it goes on", p.MaxFish),
		})
	}
	return warnings
}

// Check returns the faults of an outing's end.
func (e OutingEnd) Check(o Outing, now time.Time) error { return e.check("reason", o, now) }

// check is Check with the name under which the reason was sent.
func (e OutingEnd) check(reason string, o Outing, now time.Time) error {
	var f Faults
	checkTime(&f, "ended_at", e.EndedAt, now)
	if e.EndedAt.Before(o.StartedAt) {
		f.Add("ended_at", "is before the outing started at %s", o.StartedAt.Format(time.RFC3339))
	}
	OneOf(&f, reason, e.Reason, "planned", "weather", "warm_water", "no_fish", "tired", "tackle", "danger", "other")
	between(&f, "not_logged", e.NotLogged, 0, 500, "fish")
	return f.Err("outing.invalid", "the outing's end has faults")
}

// WaterAt returns the water fished at t: the outing's, or where the last move before t went. deviations are the
// enrolment's.
func (o Outing) WaterAt(t time.Time, deviations []Deviation) string {
	water, since := o.Water, time.Time{}
	for _, d := range deviations {
		if d.Kind == Moved && d.OutingID == o.ID && !d.FromAt.After(t) && d.FromAt.After(since) {
			water, since = d.Water, d.FromAt
		}
	}
	return water
}

// WaterTypeAt returns the kind of water fished at t, by the protocol's list; empty where it is not known. The water's name
// stays with the angler.
func (o Outing) WaterTypeAt(p Protocol, t time.Time, deviations []Deviation) string {
	name := o.WaterAt(t, deviations)
	for _, w := range p.Waters {
		if w.Name == name {
			return w.WaterType
		}
	}
	return ""
}

// Unit is one block's order as an angler has it: First is the arrangement of its first period, the second has the flies changed
// over. N counts an enrolment's units from 1 without gaps, however they were drawn; DrawN is the number in the draw of one that
// the service drew (see Draw.UnitArrangement), N where it is 0. Of another the phone says when it was drawn, DrawnAt, and which
// Slip it was, 0 for none. OpenedAt is when its first period began, LostAt when the phone that carried it was lost.
type Unit struct {
	TrialID      ID
	ID           ID
	EnrolmentID  ID
	N            int
	First        Arrangement
	SameFlyCheck bool
	DrawnBy      DrawnBy
	DrawN        int
	Slip         int
	DrawnAt      *time.Time
	LostAt       *time.Time
	FetchedAt    time.Time
	OpenedAt     *time.Time
}

// HandedOut is a unit with whose it is and when its block had been fished to the end, nil while it was not.
type HandedOut struct {
	Unit
	Pseudonym string
	FishedAt  *time.Time
}

// Drawn returns the arrangement that the draw gives half 1 or 2 of the unit's block.
func (u Unit) Drawn(half int) Arrangement {
	if half == 1 {
		return u.First
	}
	return u.First.Other()
}

// NextUnit returns nil when another unit may be handed out after those given: a phone carries at most the protocol's
// trip_units that are not yet fished.
func (d Draw) NextUnit(units []Unit) error {
	if _, waiting := fetched(units); waiting >= d.TripUnits {
		return Fail(Conflict, "unit.waiting", "%d units are fetched and not yet fished; the protocol lets a phone carry %d: fish the next of them first",
			waiting, d.TripUnits)
	}
	return nil
}

// checkSentID records a fault unless id is one that a phone may make.
func checkSentID(f *Faults, field string, id ID) {
	if !id.SentByPhone() {
		f.Add(field, "is %s; accepted: a UUID of version 7 (RFC 9562), made by the phone", id)
	}
}

// checkTime records a fault when a time is missing, before this century or more than a day ahead of now: phones' clocks
// may be wrong by an hour or a zone, not by more.
func checkTime(f *Faults, field string, t, now time.Time) {
	if t.Year() < 2000 || t.After(now.Add(clockSlack)) {
		f.Add(field, "is %s; accepted: a time since the year 2000 and no more than a day ahead of the server's %s",
			t.Format(time.RFC3339), now.UTC().Format(time.RFC3339))
	}
}
