package trial

import (
	"cmp"
	"time"
)

// DrawnBy says what drew a unit's order.
type DrawnBy string

// A unit is drawn by the service, from the seed; by a phone that tosses a coin when the units it carried have run out; by a
// sealed paper slip; or by the angler's own coin, written down before the first cast. Only the service's can be worked out
// again from the opened seed.
const (
	ByService DrawnBy = "service"
	ByPhone   DrawnBy = "phone"
	BySlip    DrawnBy = "slip"
	ByCoin    DrawnBy = "coin"
)

// LedgerUnitLost is the kind of entry that says that a unit was lost.
const LedgerUnitLost = "unit_lost"

// drawNumber is the number of a unit that the service drew in the angler's draw.
func (u Unit) drawNumber() int { return cmp.Or(u.DrawN, u.N) }

// Own reports whether the unit was drawn by something other than the service.
func (u Unit) Own() bool { return u.DrawnBy == ByPhone || u.onPaper() }

// onPaper reports whether the unit was drawn without any phone.
func (u Unit) onPaper() bool { return u.DrawnBy == BySlip || u.DrawnBy == ByCoin }

// waits reports whether the unit is still to be fished, in the order of the numbers. Paper has an order of its own.
func (u Unit) waits() bool { return u.OpenedAt == nil && u.LostAt == nil && !u.onPaper() }

// fetched counts the units that the service drew, and those of them that wait.
func fetched(units []Unit) (all, waiting int) {
	for _, u := range units {
		if u.Own() {
			continue
		}
		all++
		if u.waits() {
			waiting++
		}
	}
	return all, waiting
}

// Next returns the unit that the service hands out after those given.
func (d Draw) Next(key [32]byte, units []Unit) Unit {
	drawn, _ := fetched(units)
	n := len(units) + 1
	return Unit{N: n, DrawnBy: ByService, DrawN: drawn + 1, First: d.UnitArrangement(key, drawn+1), SameFlyCheck: n <= d.SameFlyCheck}
}

// CheckOwn returns the faults of a unit that the service did not draw, as an angler sends it. sheets are the slips that were
// printed for the angler.
func (u Unit) CheckOwn(sheets []SlipSheet, now time.Time) error {
	var f Faults
	checkSentID(&f, "unit", u.ID)
	OneOf(&f, "drawn_by", u.DrawnBy, ByService, ByPhone, BySlip, ByCoin)
	OneOf(&f, "first", u.First, TestLower, ControlLower)
	if u.DrawnAt == nil {
		f.Add("drawn_at", "is missing; accepted: when the coin fell or the slip was opened")
	} else {
		checkTime(&f, "drawn_at", *u.DrawnAt, now)
	}
	switch {
	case u.DrawnBy != BySlip && u.Slip != 0:
		f.Add("slip", "is %d with drawn_by %s; accepted: none, a number goes with slip alone", u.Slip, u.DrawnBy)
	case u.DrawnBy == BySlip && !holdsSlip(sheets, u.Slip):
		f.Add("slip", "is %d; accepted: the number of a slip that was printed for this angler: %s", u.Slip, slipNumbers(sheets))
	}
	return f.Err("unit.invalid", "the unit has faults")
}

// MayToss returns nil when a phone may toss a coin for an angler who has the given units: it had carried some, and none of
// them waits. Paper needs no leave: a phone may be dead.
func (u Unit) MayToss(units []Unit) error {
	if u.DrawnBy != ByPhone {
		return nil
	}
	switch all, waiting := fetched(units); {
	case all == 0:
		return Fail(Conflict, "unit.not_carried", "no unit was ever fetched; a phone tosses a coin only when the units that it carried have run out: fetch the next one")
	case waiting > 0:
		return Fail(Conflict, "unit.waiting", "%d units are fetched and not yet fished; a phone tosses a coin only when they have run out: fish the next of them, or close them as lost with their phone", waiting)
	}
	return nil
}

// Lose returns nil when the unit may be closed as lost with its phone at the given time: it was handed out and never fished. It
// is not dealt again.
func (u Unit) Lose(at, now time.Time) error {
	if u.Own() || u.OpenedAt != nil {
		return Fail(Conflict, "unit.fished", "unit %d is not carried any more: one that was fished, or was not drawn by the service, cannot be lost", u.N)
	}
	var f Faults
	checkTime(&f, "lost_at", at, now)
	return f.Err("unit.invalid", "the unit has faults")
}

// lost returns nil unless the unit was lost with its phone before t. What was fished before is taken, whenever it arrives.
func (u Unit) lost(t time.Time) error {
	if u.LostAt == nil || t.Before(*u.LostAt) {
		return nil
	}
	return Fail(Conflict, "unit.lost", "unit %d was closed at %s as lost with its phone and is not dealt again: fetch the next one", u.N, u.LostAt.Format(time.RFC3339))
}
