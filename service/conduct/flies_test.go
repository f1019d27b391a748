package conduct_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

var septemberFlies = trial.FlyBatch{Batch: "September", TiedBy: "the club's tyer", HookLot: "2231", Materials: "orange wool, four turns"}

// Flies are packed, looked over, issued, lost, topped up and returned; members see what is theirs to see.
func TestFlies(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 3).opened(ruleSheet())
	r, outing, _, period := e.inAPeriod(e.anglers[0])
	stock := must(w.s.AddFlies(w.ctx, e.organiser, e.trial, septemberFlies, 3, 3))(t)
	if len(stock.Batches) != 1 || len(stock.Envelopes) != 3 || stock.Envelopes[0].Envelope.Code == stock.Envelopes[1].Envelope.Code {
		t.Fatalf("stock %+v", stock)
	}
	_, err := w.s.AddFlies(w.ctx, e.anglers[0], e.trial, septemberFlies, 3, 3)
	wantKind(t, err, trial.Forbidden, "forbidden")
	wantKind(t, w.s.InspectFlies(w.ctx, e.organiser, e.trial, 1, true, ""), trial.Conflict, "flies.own")
	wantKind(t, w.s.InspectFlies(w.ctx, e.anglers[1], e.trial, 2, true, ""), trial.NotFound, "not_found")
	w.ok(w.s.InspectFlies(w.ctx, e.anglers[1], e.trial, 1, true, "all alike but for the collar"))
	code := stock.Envelopes[1].Envelope.Code
	issue := trial.FlyMove{Code: code, Kind: trial.Issued, EnrolmentID: r.enrolment}
	_, err = w.s.MoveFlies(w.ctx, e.anglers[0], e.trial, issue)
	wantKind(t, err, trial.Forbidden, "forbidden")
	_, err = w.s.MoveFlies(w.ctx, e.organiser, e.trial, trial.FlyMove{Code: "0000-0000", Kind: trial.LostAll})
	wantKind(t, err, trial.NotFound, "not_found")
	must(w.s.MoveFlies(w.ctx, e.organiser, e.trial, issue))(t)

	w.clock.move(time.Minute)
	for fly := range 2 { // the second loss names no number
		d := trial.Deviation{ID: w.id(), OutingID: outing, PeriodID: period, Kind: trial.FlyLost, FromAt: w.clock.read(), Fly: fly * 2}
		view := must(w.s.ReportDeviation(w.ctx, r.actor, e.trial, d))(t)
		if again := must(w.s.ReportDeviation(w.ctx, r.actor, e.trial, d))(t); again.Created || view.Deviation.Fly != fly*2 {
			t.Errorf("reported %+v, again %+v", view, again)
		}
	}
	must(w.s.MoveFlies(w.ctx, e.organiser, e.trial, trial.FlyMove{Code: code, Kind: trial.ToppedUp, Flies: 1}))(t)
	mine := must(w.s.Flies(w.ctx, r.actor, e.trial))(t)
	if len(mine.Envelopes) != 1 || mine.Envelopes[0].Envelope.Code != code || mine.Envelopes[0].State.Lost != 2 || mine.Envelopes[0].State.Retied != 1 || mine.Envelopes[0].State.PerPattern != 4 {
		t.Errorf("the angler sees %+v", mine)
	}
	if theirs := must(w.s.Flies(w.ctx, e.anglers[2], e.trial))(t); len(theirs.Envelopes) != 0 || len(theirs.Batches) != 1 || theirs.Batches[0].InspectedBy == "" {
		t.Errorf("another member sees %+v", theirs)
	}
	if all := must(w.s.Flies(w.ctx, e.eyes, e.trial))(t); len(all.Envelopes) != 3 {
		t.Errorf("the auditor sees %+v", all)
	}

	// The numbers of the flies fished stand in the period, and come back.
	unit := r.unit()
	p := trial.Period{ID: w.id(), OutingID: outing, UnitID: unit, Half: 1, Confirmed: true, StartedAt: w.clock.read(), TestFly: 1, ControlFly: 3}
	begun := must(w.s.BeginPeriod(w.ctx, r.actor, e.trial, p))(t)
	if begun.Period.TestFly != 1 || begun.Period.ControlFly != 3 {
		t.Errorf("begun %+v", begun.Period)
	}
	p.ControlFly = 2
	_, err = w.s.BeginPeriod(w.ctx, r.actor, e.trial, p)
	wantKind(t, err, trial.Conflict, "record.conflict")

	must(w.s.MoveFlies(w.ctx, e.organiser, e.trial, trial.FlyMove{Code: code, Kind: trial.Returned, Flies: 5, Note: "one hook bent"}))(t)
	if faults := must(w.s.Check(w.ctx))(t).Faults; len(faults) > 0 {
		t.Error(strings.Join(faults, "\n"))
	}
	e.lock()
	_, err = w.s.MoveFlies(w.ctx, e.organiser, e.trial, trial.FlyMove{Code: code, Kind: trial.LostAll})
	wantKind(t, err, trial.Conflict, "trial.state")
}

// What is known of the flies is the same whichever flies the fish took and whichever were lost: envelopes and losses tell no
// pattern.
func TestFliesTellNoPattern(t *testing.T) {
	t.Parallel()
	seen := func(pattern string) string {
		w := newWorld(t)
		e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
		r, outing, _, period := e.inAPeriod(e.anglers[0])
		stock := must(w.s.AddFlies(w.ctx, e.organiser, e.trial, septemberFlies, 2, 3))(t)
		must(w.s.MoveFlies(w.ctx, e.organiser, e.trial, trial.FlyMove{Code: stock.Envelopes[0].Envelope.Code, Kind: trial.Issued, EnrolmentID: r.enrolment}))(t)
		for n := range 3 {
			r.land(period, pattern)
			w.clock.move(time.Minute)
			d := trial.Deviation{ID: w.id(), OutingID: outing, PeriodID: period, Kind: trial.FlyLost, FromAt: w.clock.read(), Fly: n, Note: "off with " + pattern}
			must(w.s.ReportDeviation(w.ctx, r.actor, e.trial, d))(t)
		}
		text, err := json.Marshal(must(w.s.Flies(w.ctx, e.organiser, e.trial))(t).Envelopes)
		w.ok(err)
		return serverMade.ReplaceAllString(string(text), "an id")
	}
	if one, two := seen("C"), seen("N"); one != two {
		t.Errorf("the stock depends on the flies taken:\n%s\n%s", one, two)
	}
}
