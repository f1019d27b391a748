package db_test

import (
	"context"
	"testing"
	"time"

	"evenrig/service/trial"
)

// Versions of a rule sheet, corrected outings, readings, overrides and disputes come back as they were saved.
func TestCare(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.enrol(t)
	id := w.trial.ID
	version := trial.ProtocolVersion{TrialID: id, Version: 2, Protocol: trial.Template(), Canonical: []byte(`{"made":"up"}`), At: server, By: a.account.ID, Reason: "a flood"}
	reading := trial.Temperature{
		TrialID: id, ID: newID(), EnrolmentID: a.enrolment.ID, OutingID: a.outing.ID, At: dawn.Add(time.Hour).In(inland), Water: trial.Measure{Value: 61.5, Unit: "F"},
		ReceivedAt: server, SentDigest: digest("t"),
	}
	earlier := reading
	earlier.ID, earlier.At = newID(), dawn
	override := trial.WelfareOverride{TrialID: id, N: 1, EnrolmentID: a.enrolment.ID, Day: "2026-09-12", Reason: "spring-fed", At: server, By: a.account.ID}
	dispute := trial.Dispute{
		TrialID: id, ID: newID(), EnrolmentID: a.enrolment.ID, Kind: trial.LedgerOuting, Subject: a.outing.ID, Words: "a third fly", FiledBy: a.account.ID,
		FiledAs: trial.Auditor, FiledAt: server,
	}
	decision := trial.DisputeDecision{N: 1, Decision: trial.Exclude, Reason: "seen by two", By: a.account.ID, As: trial.Organiser, At: server}
	filled(t, reading)
	filled(t, override)
	filled(t, decision)
	corrected := a.outing
	corrected.Water, corrected.StartedAt, corrected.StartedLate, corrected.Conditions, corrected.Note = "Reed, weir pool", dawn.Add(time.Minute).In(inland), true, "high", "late"
	corrected.WaterTemperature, corrected.Version, corrected.Void = &trial.Measure{Value: 12, Unit: "C"}, 2, true
	corrected.End = &trial.OutingEnd{EndedAt: dawn.Add(time.Hour), Reason: "planned", NotLogged: 1, ReceivedAt: server, SentDigest: digest("e")}
	sentEnd := *corrected.End
	sentEnd.EndedAt, sentEnd.Reason, sentEnd.NotLogged = dawn.Add(3*time.Hour).In(inland), "weather", 0
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		n, err := tx.InsertWelfareOverride(ctx, override)
		if n != 1 {
			t.Errorf("the first override has number %d", n)
		}
		again := override
		if n, err := tx.InsertWelfareOverride(ctx, again); n != 2 || err != nil {
			t.Errorf("the second override has number %d, %v", n, err)
		}
		return first(err, tx.SaveProtocol(ctx, id, 1, trial.Template(), []byte(`{}`)), tx.InsertVersion(ctx, version), tx.InsertTemperature(ctx, reading), tx.InsertTemperature(ctx, earlier), tx.InsertDispute(ctx, dispute),
			tx.InsertDecision(ctx, id, dispute.ID, decision), tx.ExcludeDisputed(ctx, dispute), tx.EndOuting(ctx, id, a.outing.ID, sentEnd), tx.UpdateOuting(ctx, corrected))
	})
	dispute.Decisions = []trial.DisputeDecision{decision}
	filled(t, dispute)
	corrected.Disputed = true
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		versions, err := tx.ProtocolsOf(ctx, id)
		if len(versions) != 2 || versions[0].Version != 1 || versions[0].Reason != "" {
			t.Errorf("versions %+v", versions)
		}
		same(t, "second version", versions[len(versions)-1], version)
		readings, err2 := tx.TemperaturesOf(ctx, id, a.enrolment.ID)
		same(t, "readings", readings, []trial.Temperature{earlier, reading})
		one, err3 := tx.TemperatureBy(ctx, id, reading.ID)
		same(t, "reading", one, reading)
		overrides, err4 := tx.WelfareOverridesOf(ctx, id)
		same(t, "override", overrides[0], override)
		disputes, err5 := tx.DisputesOf(ctx, id)
		same(t, "disputes", disputes, []trial.Dispute{dispute})
		about, err6 := tx.DisputeAbout(ctx, id, a.outing.ID)
		same(t, "dispute about the outing", about, dispute)
		o, err7 := tx.OutingBy(ctx, id, a.outing.ID)
		same(t, "corrected outing", o, corrected)
		if _, err := tx.DisputeBy(ctx, id, newID()); trial.KindOf(err) != trial.NotFound {
			t.Errorf("no dispute: %v", err)
		}
		return first(err, err2, err3, err4, err5, err6, err7)
	})
	for what, do := range map[string]func(ctx context.Context, tx trial.Tx) error{
		"disputed twice": func(ctx context.Context, tx trial.Tx) error {
			twice := dispute
			twice.ID = newID()
			return tx.InsertDispute(ctx, twice)
		},
		"decided under one number": func(ctx context.Context, tx trial.Tx) error { return tx.InsertDecision(ctx, id, dispute.ID, decision) },
		"one reading twice":        func(ctx context.Context, tx trial.Tx) error { return tx.InsertTemperature(ctx, reading) },
	} {
		if err := w.store.InTx(t.Context(), do); trial.KindOf(err) != trial.Conflict {
			t.Errorf("%s: %v", what, err)
		}
	}
	if err := w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error { return tx.InsertVersion(ctx, version) }); trial.KindOf(err) != trial.Stale {
		t.Errorf("the same version twice: %v", err)
	}
}

// TestPlansOfAsking: who asks how far the swap is has the fish of the one period read, and never more of them than any rule needs,
// however many the trial has.
func TestPlansOfAsking(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a, other := w.enrol(t), w.enrol(t)
	asking := func() trial.CatchSubmission {
		s := a.fish()
		s.Swap, s.Protocol = true, &trial.Protocol{Species: []string{s.Catch.Species}}
		return s
	}
	for n := range 40 {
		o := w.store.SubmitCatches(t.Context(), []trial.CatchSubmission{other.fish(), other.fish(), other.fish(), other.fish(), other.fish(), asking()})[5]
		if o.Err != nil || o.Swap == nil || o.Swap.Fish != n+1 {
			t.Fatalf("fish %d: %+v, %v", n+1, o.Swap, o.Err)
		}
	}
	conn := connect(t, w.store.URL())
	w.store.Close() // a session reports what it scanned when it ends
	type scans struct{ Whole, Found int64 }
	const scanned = `SELECT sum(seq_scan)::bigint, sum(coalesce(idx_tup_fetch, 0))::bigint FROM pg_stat_user_tables WHERE relname = 'catches'`
	eventually(t, "the report", func() bool { return rows[scans](t, conn, scanned)[0].Found > 0 })
	// Its own 0 to 39 fish each time are 780; the others' 200 would be thousands.
	if s := rows[scans](t, conn, scanned)[0]; s.Whole > 0 || s.Found > 1000 {
		t.Errorf("catches: read whole %d times, %d rows by index", s.Whole, s.Found)
	}
}
