package conduct_test

import (
	"strings"
	"testing"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

func (e *contest) joinWith(a trial.Actor, consent trial.Consent) *rod {
	e.w.t.Helper()
	r := &rod{e: e, actor: a, enrolment: e.w.randomID()}
	r.code = [32]byte{1}
	_, err := e.w.s.Enrol(e.w.ctx, a, e.trial, trial.Enrolment{ID: r.enrolment, Code: r.code, Consent: consent})
	e.w.ok(err)
	return r
}

// What is kept of a place is the protocol's cell, with the angler's tick; else nothing, and the answer says why.
func TestPlacesAreCoarse(t *testing.T) {
	t.Parallel()
	ticked := allTicks
	ticked.PlaceCoarse = true
	spot := trial.PlaceAt(54.187654, -2.312345)
	for _, c := range []struct {
		grid    string
		consent trial.Consent
		cell    string
		dropped conduct.PlaceDropped
	}{
		{trial.NoGrid, ticked, "", conduct.DroppedByGrid},
		{trial.Grid10Kilo, ticked, "54.1N 2.4W", ""},
		{trial.Grid1Kilo, ticked, "54.18N 2.32W", ""},
		{trial.Grid1Kilo, allTicks, "", conduct.DroppedByConsent},
	} {
		w := newWorld(t)
		p := ruleSheet()
		p.PlaceGrid = c.grid
		e := w.newClub("Wend Grayling Club", 1).opened(p)
		r := e.joinWith(e.anglers[0], c.consent)
		o := trial.Outing{ID: w.id(), Water: "Upper Wend", StartedAt: w.clock.read(), Cell: spot}
		view := must(w.s.OpenOuting(w.ctx, r.actor, e.trial, o))(t)
		if view.Outing.Cell != c.cell || view.PlaceDropped != c.dropped || !view.Created {
			t.Errorf("%s, tick %v: kept %q, dropped %q, want %q, %q", c.grid, c.consent.PlaceCoarse, view.Outing.Cell, view.PlaceDropped, c.cell, c.dropped)
		}
		// The same outing again, the phone now being elsewhere in the cell.
		o.Cell = trial.PlaceAt(54.183, -2.319)
		again := must(w.s.OpenOuting(w.ctx, r.actor, e.trial, o))(t)
		if again.Created || again.Outing.Cell != c.cell || again.PlaceDropped != c.dropped {
			t.Errorf("%s, sent again: %+v", c.grid, again)
		}
		o.Cell = trial.PlaceAt(55.1, -2.31)
		if _, err := w.s.OpenOuting(w.ctx, r.actor, e.trial, o); c.cell != "" {
			wantKind(t, err, trial.Conflict, "record.conflict")
		} else {
			w.ok(err)
		}
		o.Cell = "54N 2W"
		_, err := w.s.OpenOuting(w.ctx, r.actor, e.trial, o)
		wantFields(t, err, "place")
		if checked := must(w.s.Check(w.ctx))(t); len(checked.Faults) > 0 {
			t.Error(strings.Join(checked.Faults, "\n"))
		}
	}
}
