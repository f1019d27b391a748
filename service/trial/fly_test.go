package trial_test

import (
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

func TestFlyBatches(t *testing.T) {
	good := trial.FlyBatch{Batch: "September", TiedBy: "the club's tyer", HookLot: "2231", Materials: "orange wool"}
	for name, c := range map[string]struct {
		change                func(b *trial.FlyBatch)
		envelopes, perPattern int
		want                  []string
	}{
		"good":                {func(*trial.FlyBatch) {}, 6, 3, nil},
		"the most":            {func(*trial.FlyBatch) {}, 60, 20, nil},
		"no name, no tyer":    {func(b *trial.FlyBatch) { b.Batch, b.TiedBy = "", "" }, 6, 3, []string{"batch", "tied_by"}},
		"nothing in it":       {func(*trial.FlyBatch) {}, 0, 0, []string{"envelopes", "per_pattern"}},
		"too much":            {func(*trial.FlyBatch) {}, 61, 21, []string{"envelopes", "per_pattern"}},
		"a book of materials": {func(b *trial.FlyBatch) { b.Materials = strings.Repeat("w", 2001) }, 6, 3, []string{"materials"}},
		"a control character": {func(b *trial.FlyBatch) { b.HookLot = "22\x00" }, 6, 3, []string{"hook_lot"}},
	} {
		t.Run(name, func(t *testing.T) {
			b := good
			c.change(&b)
			wantFaults(t, b.Check(c.envelopes, c.perPattern), c.want...)
		})
	}
	good.MadeBy = madeUp(1)
	if err := good.Inspect(madeUp(2), true, "all alike"); err != nil {
		t.Error(err)
	}
	wantKind(t, good.Inspect(madeUp(1), true, ""), trial.Conflict, "flies.own")
	wantFaults(t, good.Inspect(madeUp(2), false, ""), "not_tyer")
	good.InspectedAt = &noon
	wantKind(t, good.Inspect(madeUp(2), true, ""), trial.Conflict, "flies.inspected")
}

// An envelope's life, step by step: what each step allows next, where it is, and which lost flies are its own.
func TestEnvelopes(t *testing.T) {
	ida, lutz := madeUp(1), madeUp(2)
	e, other := trial.FlyEnvelope{Code: "AAAA-AAAA", PerPattern: 3}, trial.FlyEnvelope{Code: "BBBB-BBBB", PerPattern: 3}
	at := func(hours int) time.Time { return noon.Add(time.Duration(hours) * time.Hour) }
	move := func(kind trial.FlyMoveKind, whom trial.ID, flies, hours int) trial.FlyMove {
		return trial.FlyMove{Code: e.Code, Kind: kind, EnrolmentID: whom, Flies: flies, At: at(hours)}
	}
	s := trial.FlyStock{Envelopes: []trial.FlyEnvelope{e, other}, Losses: []trial.FlyLoss{
		{EnrolmentID: ida, At: at(-1), Fly: 1},
		{EnrolmentID: ida, At: at(1), Fly: 2},
		{EnrolmentID: ida, At: at(2)},
		{EnrolmentID: lutz, At: at(2), Fly: 3},
		{EnrolmentID: ida, At: at(5), Fly: 3},
		{EnrolmentID: lutz, At: at(7), Fly: 1},
	}}
	now := at(24)
	step := func(m trial.FlyMove) {
		t.Helper()
		if err := s.Next(e, m, now); err != nil {
			t.Fatal(err)
		}
		s.Moves = append(s.Moves, m)
	}
	is := func(want trial.EnvelopeState) {
		t.Helper()
		got := s.Of(e)
		got.Since = nil
		if got != want {
			t.Errorf("it is %+v, want %+v", got, want)
		}
		if untouched := s.Of(other); untouched != (trial.EnvelopeState{State: "stock", PerPattern: 3}) {
			t.Errorf("the other one is %+v", untouched)
		}
	}
	wantKind(t, s.Next(e, move(trial.Returned, trial.ID{}, 1, 0), now), trial.Conflict, "flies.order")
	wantFaults(t, s.Next(e, move(trial.Issued, trial.ID{}, 0, 0), now), "enrolment")
	wantFaults(t, s.Next(e, move(trial.Issued, ida, 2, 0), now), "flies")
	wantFaults(t, s.Next(e, move(trial.ToppedUp, ida, 2, 0), now), "enrolment")
	wantFaults(t, s.Next(e, move(trial.ToppedUp, trial.ID{}, 0, 0), now), "flies")
	wantFaults(t, s.Next(e, move("given", trial.ID{}, 0, 0), now), "kind")
	wantFaults(t, s.Next(e, move(trial.Issued, ida, 0, 72), now), "at")
	step(move(trial.Issued, ida, 0, 0))
	is(trial.EnvelopeState{State: "issued", Holder: ida, PerPattern: 3, Lost: 3, Retied: 2})
	wantKind(t, s.Next(e, move(trial.Issued, lutz, 0, 1), now), trial.Conflict, "flies.order")
	step(move(trial.ToppedUp, trial.ID{}, 1, 1))
	wantKind(t, s.Next(e, move(trial.Returned, trial.ID{}, 5, 0), now), trial.Conflict, "flies.order")
	wantFaults(t, s.Next(e, move(trial.Returned, trial.ID{}, 9, 3), now), "flies")
	step(move(trial.Returned, trial.ID{}, 5, 3))
	is(trial.EnvelopeState{State: "stock", PerPattern: 4, Back: 5, Lost: 2, Retied: 1})
	step(move(trial.Issued, lutz, 0, 6))
	is(trial.EnvelopeState{State: "issued", Holder: lutz, PerPattern: 4, Back: 5, Lost: 3, Retied: 2})
	step(move(trial.LostAll, trial.ID{}, 0, 8))
	is(trial.EnvelopeState{State: "lost", PerPattern: 4, Back: 5, Lost: 3, Retied: 2})
	for _, kind := range []trial.FlyMoveKind{trial.ToppedUp, trial.LostAll} {
		m := move(kind, trial.ID{}, 0, 9)
		if kind == trial.ToppedUp {
			m.Flies = 1
		}
		wantKind(t, s.Next(e, m, now), trial.Conflict, "flies.order")
	}
}

func TestFlyNumbers(t *testing.T) {
	d := trial.Deviation{ID: madeUp(1), PeriodID: madeUp(2), Kind: trial.FlyLost, FromAt: noon, Fly: 2}
	wantFaults(t, d.Check(complete(), noon))
	d.Fly = 81
	wantFaults(t, d.Check(complete(), noon), "fly")
	d.Kind, d.Fly = trial.WrongFly, 2
	wantFaults(t, d.Check(complete(), noon), "fly")
	p := trial.Period{ID: madeUp(1), Half: 1, Fished: trial.TestLower, StartedAt: noon, TestFly: 1, ControlFly: 20}
	wantFaults(t, p.Check(noon))
	p.TestFly, p.ControlFly = -1, 81
	wantFaults(t, p.Check(noon), "test_fly", "control_fly")
	for state, keeps := range map[trial.State]bool{trial.Draft: false, trial.Registered: true, trial.Open: true, trial.Paused: true, trial.Closed: true, trial.Locked: false, trial.Abandoned: false} {
		if err := (trial.Trial{State: state, Source: trial.Drawn}).KeepsFlies(); (err == nil) != keeps {
			t.Errorf("%s: %v", state, err)
		}
	}
	if got := trial.EnvelopeCode([8]byte{0, 1, 2, 3, 4, 5, 6, 31}); got != "0123-456Z" {
		t.Errorf("code %s", got)
	}
}
