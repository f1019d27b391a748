package trial

import (
	"slices"
	"strings"
	"time"
)

// Temperature is a reading of the water's temperature during an outing; the one taken at its start stands with the outing. A
// wrong reading is put right by another: the latest counts.
type Temperature struct {
	TrialID     ID
	ID          ID
	EnrolmentID ID
	OutingID    ID
	At          time.Time
	Water       Measure
	ReceivedAt  time.Time
	SentDigest  Digest
}

// Check returns the faults of a reading as an angler sends it, in the given outing.
func (r Temperature) Check(o Outing, now time.Time) error {
	var f Faults
	checkSentID(&f, "temperature", r.ID)
	checkTime(&f, "at", r.At, now)
	if r.At.Before(o.StartedAt) {
		f.Add("at", "is before the outing started at %s", o.StartedAt.Format(time.RFC3339))
	}
	if _, err := r.Water.TenthsC(); err != nil {
		f.Add("value", "%s", err)
	}
	return f.Err("temperature.invalid", "the reading has faults")
}

// WelfareOverride is an organiser's word that one angler may fish on, in the outings of one day by the phone's clock, although
// the water reached the temperature at which the trial stops. It is printed in the report.
type WelfareOverride struct {
	TrialID     ID
	N           int
	EnrolmentID ID
	Day         string
	Reason      string
	At          time.Time
	By          ID
}

// Check returns the faults of an override as an organiser sends it.
func (w WelfareOverride) Check() error {
	var f Faults
	if _, err := time.Parse(time.DateOnly, w.Day); err != nil {
		f.Add("day", "is %q; accepted: a date like 2026-09-01", w.Day)
	}
	length(&f, "reason", w.Reason, 10, 500)
	return f.Err("override.invalid", "the override has faults")
}

// WelfareState says what the water's temperature asks for.
type WelfareState string

// The welfare states. Unmeasured asks for a thermometer: a temperature is never assumed.
const (
	WelfareFine       WelfareState = "fine"
	WelfareCaution    WelfareState = "caution"
	WelfareStop       WelfareState = "stop"
	WelfareUnmeasured WelfareState = "unmeasured"
)

// salmonids are the genera of the family Salmonidae: trout, salmon, char, grayling, whitefish and their kin.
var salmonids = []string{
	"Brachymystax", "Coregonus", "Hucho", "Oncorhynchus", "Parahucho", "Prosopium", "Salmo", "Salvelinus", "Salvethymus", "Stenodus", "Thymallus",
}

// AsksForSalmonids reports whether a salmonid is among the species of the trial: only for these does warm water stop it.
func (p Protocol) AsksForSalmonids() bool {
	return slices.ContainsFunc(p.Species, func(species string) bool {
		genus, _, _ := strings.Cut(species, " ")
		return slices.Contains(salmonids, genus)
	})
}

// WelfareIn says what water of the given temperature asks for, nil where nobody measured. Fishing stops for salmonids alone;
// warm-water species are fished with care above the protocol's limits (see Cautions for the sources of the limits).
func (p Protocol) WelfareIn(water *Measure) WelfareState {
	if water == nil {
		return WelfareUnmeasured
	}
	tenths, err := water.TenthsC()
	switch c := float64(tenths) / 10; {
	case err != nil:
		return WelfareUnmeasured
	case c >= p.Welfare.StopC && p.AsksForSalmonids():
		return WelfareStop
	case c >= min(p.Welfare.CautionC, p.Welfare.StopC):
		return WelfareCaution
	}
	return WelfareFine
}

// Warmth is what is known of how warm an outing's water is: its own reading at the start, the readings of its enrolment during
// the day, and where the organiser let the enrolment fish on.
type Warmth struct {
	Outing    Outing
	Readings  []Temperature
	Overrides []WelfareOverride
}

// At returns the water's temperature as last measured up to t, nil where nobody had measured. Of two readings at one time the
// one received later counts.
func (w Warmth) At(t time.Time) *Measure {
	water, at, received := w.Outing.WaterTemperature, w.Outing.StartedAt, w.Outing.ReceivedAt
	for _, r := range w.Readings {
		if r.OutingID != w.Outing.ID || r.At.After(t) || r.At.Before(at) || r.At.Equal(at) && water != nil && r.ReceivedAt.Before(received) {
			continue
		}
		water, at, received = &r.Water, r.At, r.ReceivedAt
	}
	return water
}

// Latest returns the water's temperature as last measured, nil where nobody has.
func (w Warmth) Latest() *Measure {
	last := w.Outing.StartedAt
	for _, r := range w.Readings {
		if r.At.After(last) {
			last = r.At
		}
	}
	return w.At(last)
}

// Stops returns nil unless fishing stops in water of the given temperature and the organiser has not let the angler fish on that
// day.
func (w Warmth) Stops(p Protocol, water *Measure) error {
	if p.WelfareIn(water) != WelfareStop {
		return nil
	}
	day := w.Outing.StartedAt.Format(time.DateOnly)
	if slices.ContainsFunc(w.Overrides, func(o WelfareOverride) bool { return o.EnrolmentID == w.Outing.EnrolmentID && o.Day == day }) {
		return nil
	}
	return Fail(Conflict, "welfare.stop", "the water of outing %s was last measured at %s and this trial stops at %g C: stop fishing, for the fish's sake, and end the outing. "+
		"A wrong reading is put right by another; only the organiser can let you fish on today, with a reason that the report prints", w.Outing.ID, water, p.Welfare.StopC)
}
