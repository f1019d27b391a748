package conduct_test

import (
	"bytes"
	"context"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

// toss keeps a unit that something else than the service drew now.
func (r *rod) toss(by trial.DrawnBy, first trial.Arrangement, slip int) (trial.Unit, error) {
	now := r.e.w.clock.read()
	u := trial.Unit{ID: r.e.w.id(), DrawnBy: by, First: first, Slip: slip, DrawnAt: &now}
	view, err := r.e.w.s.KeepUnit(r.e.w.ctx, r.actor, r.e.trial, u)
	return view.Unit, err
}

// fishUnit fishes both halves of a unit, one fish each.
func (r *rod) fishUnit(outing, unit trial.ID) {
	r.e.w.t.Helper()
	for half := 1; half <= 2; half++ {
		period := r.begin(outing, unit, half)
		r.e.w.clock.move(5 * time.Minute)
		r.land(period, "C")
		r.swap(period)
	}
}

// A day on which everything happens to the draw: carried units run out and the phone tosses a coin, a phone is lost with a
// unit, slips and an own coin go on. The service's own units come out of the opened seed, the others are counted as such.
func TestOwnDraws(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	r := e.join(e.anglers[0])
	outing := r.outing()
	_, err := r.toss(trial.ByPhone, trial.TestLower, 0)
	wantKind(t, err, trial.Conflict, "unit.not_carried")
	first, second := r.unit(), r.unit()
	_, err = r.toss(trial.ByPhone, trial.TestLower, 0)
	wantKind(t, err, trial.Conflict, "unit.waiting")
	r.fishUnit(outing, first)

	// The phone is lost with the second unit; its line goes on without it, and the unit is never dealt again.
	lostAt := w.clock.read()
	lost := must(w.s.LoseUnit(w.ctx, r.actor, e.trial, second, lostAt))(t)
	if again := must(w.s.LoseUnit(w.ctx, r.actor, e.trial, second, lostAt.Add(time.Minute)))(t); !lost.Created || again.Created || !again.Unit.LostAt.Equal(lostAt) {
		t.Errorf("lost %+v, again %+v", lost, again)
	}
	w.clock.move(time.Minute)
	_, err = w.s.BeginPeriod(w.ctx, r.actor, e.trial, trial.Period{ID: w.id(), OutingID: outing, UnitID: second, Half: 1, Confirmed: true, StartedAt: w.clock.read()})
	wantKind(t, err, trial.Conflict, "unit.lost")
	_, err = w.s.LoseUnit(w.ctx, r.actor, e.trial, first, lostAt)
	wantKind(t, err, trial.Conflict, "unit.fished")
	_, err = w.s.LoseUnit(w.ctx, r.actor, e.trial, w.id(), lostAt)
	wantKind(t, err, trial.NotFound, "not_found")

	// Slips: only those printed for the angler, each once; printed by who does not fish the trial.
	_, err = r.toss(trial.BySlip, trial.ControlLower, 1)
	wantFields(t, err, "slip")
	printed := must(w.s.PrintSlips(w.ctx, e.eyes, e.trial, r.enrolment, 4))(t)
	if len(printed.Slips) != 4 || printed.Slips[3].Number != 4 || printed.Slips[0].Lower == printed.Slips[0].Upper {
		t.Errorf("printed %+v", printed)
	}
	_, err = w.s.PrintSlips(w.ctx, r.actor, e.trial, r.enrolment, 4)
	wantKind(t, err, trial.Conflict, "slips.fishes")
	_, err = w.s.PrintSlips(w.ctx, e.eyes, e.trial, w.randomID(), 4)
	wantKind(t, err, trial.NotFound, "not_found")
	slip := must(r.toss(trial.BySlip, printed.Slips[2].First, 3))(t)
	_, err = r.toss(trial.BySlip, trial.TestLower, 3)
	wantKind(t, err, trial.Conflict, "slip.used")
	other := e.join(e.anglers[1])
	_, err = other.toss(trial.BySlip, trial.TestLower, 4)
	wantFields(t, err, "slip")
	r.fishUnit(outing, slip.ID)

	coin := must(r.toss(trial.ByCoin, trial.TestLower, 0))(t)
	r.fishUnit(outing, coin.ID)
	tossed := must(r.toss(trial.ByPhone, trial.ControlLower, 0))(t) // all carried ones are fished or lost
	r.fishUnit(outing, tossed.ID)

	// The same again is the same; other content under the id is refused, another's id says nothing.
	again := tossed
	if view := must(w.s.KeepUnit(w.ctx, r.actor, e.trial, again))(t); view.Created || view.Unit.N != tossed.N {
		t.Errorf("again %+v", view)
	}
	again.First = trial.TestLower
	_, err = w.s.KeepUnit(w.ctx, r.actor, e.trial, again)
	wantKind(t, err, trial.Conflict, "record.conflict")
	_, err = w.s.KeepUnit(w.ctx, other.actor, e.trial, tossed)
	wantKind(t, err, trial.Conflict, "record.conflict")

	third := r.unit()
	r.fishUnit(outing, third)
	var by []trial.DrawnBy
	var service []trial.Unit
	for i, v := range must(w.s.Units(w.ctx, r.actor, e.trial))(t) {
		if v.Unit.N != i+1 {
			t.Errorf("unit %d has number %d", i+1, v.Unit.N)
		}
		if by = append(by, v.Unit.DrawnBy); !v.Unit.Own() {
			service = append(service, v.Unit)
		}
	}
	if want := []trial.DrawnBy{"service", "service", "slip", "coin", "phone", "service"}; strings.Join(wordsOf(by), " ") != strings.Join(wordsOf(want), " ") {
		t.Errorf("drawn by %v, want %v", by, want)
	}
	sheets := must(w.s.SlipSheets(w.ctx, e.organiser, e.trial))(t)
	if len(sheets) != 1 || sheets[0].PrintedBy != "scrutineer of Wend Grayling Club" || len(sheets[0].Opened) != 1 || sheets[0].Opened[0] != 3 {
		t.Errorf("sheets %+v", sheets)
	}
	p := must(w.s.Progress(w.ctx, e.eyes, e.trial))(t).Effort
	if p.PhoneBlocks != 1 || p.SlipBlocks != 1 || p.CoinBlocks != 1 || p.LostUnits != 1 || p.Blocks != 5 {
		t.Errorf("counted %+v", p)
	}
	e.move(trial.Closed)
	w.clock.move(trial.PaperTime) // slips are out
	e.move(trial.Locked)
	seed := must(w.s.Trial(w.ctx, e.eyes, e.trial))(t).Trial.Seed
	key := trial.AllocationKey(*seed, nil, r.enrolment, r.code)
	for i, u := range service {
		if u.DrawN != i+1 || u.First != ruleSheet().Draw.UnitArrangement(key, i+1) {
			t.Errorf("the service's unit %d is number %d, %s, which the seed does not give", i+1, u.DrawN, u.First)
		}
	}
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	var result struct {
		Randomisation *struct{ Blocks int } `json:"randomisation"`
	}
	w.ok(json.Unmarshal(must(w.s.Analysis(w.ctx, e.eyes, e.trial, 1))(t).Result, &result))
	if checked := must(w.s.Check(w.ctx))(t); len(checked.Faults) > 0 {
		t.Error(strings.Join(checked.Faults, "\n"))
	}
	_, err = r.toss(trial.ByCoin, trial.TestLower, 0)
	wantKind(t, err, trial.Conflict, "trial.closed")
}

func wordsOf[T ~string](list []T) (out []string) {
	for _, v := range list {
		out = append(out, string(v))
	}
	return out
}

// What a slip says inside is nowhere on the server: two servers that print other orders hold the same bytes.
func TestSlipsAreOnPaperAlone(t *testing.T) {
	t.Parallel()
	printed := func(seed byte) (first []trial.Arrangement, held []byte) {
		w := newWorld(t)
		e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
		r := e.join(e.anglers[0])
		sheet := must(w.service(seed).PrintSlips(w.ctx, e.eyes, e.trial, r.enrolment, 32))(t)
		for _, s := range sheet.Slips {
			first = append(first, s.First)
		}
		err := w.store.InReadTx(w.ctx, func(ctx context.Context, tx trial.ReadTx) error {
			sheets, err := tx.SlipSheetsOf(ctx, e.trial)
			w.ok(err)
			parts, err := tx.PartsOf(ctx, e.trial, e.trial)
			w.ok(err)
			entries, err := tx.EntriesOf(ctx, e.trial, e.trial)
			w.ok(err)
			for i := range sheets {
				sheets[i].TrialID, sheets[i].PrintedBy = trial.ID{}, trial.ID{}
			}
			last := parts[entries[len(entries)-1].N]
			text, err := json.Marshal(sheets)
			held = bytes.Join([][]byte{text, last.Public, last.Private}, []byte("\n"))
			return err
		})
		w.ok(err)
		return first, held
	}
	one, heldOne := printed(7)
	two, heldTwo := printed(8)
	if strings.Join(wordsOf(one), " ") == strings.Join(wordsOf(two), " ") {
		t.Fatal("the two sheets are alike, so that the comparison proves nothing")
	}
	if !bytes.Equal(heldOne, heldTwo) {
		t.Errorf("what is kept depends on what the slips say:\n%s\n%s", heldOne, heldTwo)
	}
}
