package db_test

import (
	"context"
	"encoding/json"
	"testing"
	"time"

	"evenrig/service/trial"
)

func TestRecords(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.enrol(t)
	id := w.trial.ID
	outing := trial.Outing{
		TrialID: id, ID: newID(), EnrolmentID: a.enrolment.ID, ProtocolVersion: 2, Water: "Reed, weir pool", StartedAt: dawn.In(inland), StartedLate: true,
		WaterTemperature: &trial.Measure{Value: 52.7, Unit: "F"}, Conditions: "low, clear", Note: "first frost", ReceivedAt: server, SentDigest: digest("o"),
	}
	outingEnd := trial.OutingEnd{EndedAt: dawn.Add(5 * time.Hour).In(time.FixedZone("", -(9*3600 + 1800))), Reason: "weather", NotLogged: 2, ReceivedAt: server, SentDigest: digest("oe")}
	unit := trial.Unit{TrialID: id, ID: newID(), EnrolmentID: a.enrolment.ID, N: 2, First: trial.ControlLower, SameFlyCheck: true, FetchedAt: server}
	period := trial.Period{
		TrialID: id, ID: newID(), EnrolmentID: a.enrolment.ID, OutingID: outing.ID, UnitID: unit.ID, Block: "2", Half: 2, Drawn: trial.TestLower, Fished: trial.ControlLower,
		Confirmed: true, StartedAt: dawn.Add(time.Hour), ReceivedAt: server, SentDigest: digest("p"), Version: 1,
	}
	periodEnd := trial.PeriodEnd{EndedAt: dawn.Add(2 * time.Hour), SwapNowAt: pointer(dawn.Add(115 * time.Minute).In(inland)), Reason: trial.EndedByRule, ReceivedAt: server, SentDigest: digest("pe")}
	deviation := trial.Deviation{
		TrialID: id, ID: newID(), EnrolmentID: a.enrolment.ID, OutingID: outing.ID, PeriodID: period.ID, Kind: trial.Moved, Water: "Reed, long glide", FromAt: dawn.Add(time.Hour),
		UntilAt: pointer(dawn.Add(90 * time.Minute).In(inland)), Note: "cattle", ReceivedAt: server, SentDigest: digest("d"),
	}
	open := trial.Deviation{TrialID: id, ID: newID(), EnrolmentID: a.enrolment.ID, OutingID: outing.ID, Kind: trial.OffTrial, FromAt: dawn, ReceivedAt: server}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.InsertOuting(ctx, outing), tx.InsertUnit(ctx, unit), tx.InsertPeriod(ctx, period), tx.InsertDeviation(ctx, deviation), tx.InsertDeviation(ctx, open))
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		o, err := tx.OutingBy(ctx, id, outing.ID)
		same(t, "outing under way", o, outing)
		p, err2 := tx.PeriodBy(ctx, id, period.ID)
		same(t, "period under way", p, period)
		u, err3 := tx.UnitBy(ctx, id, unit.ID)
		same(t, "unit not opened", u, unit)
		d, err4 := tx.DeviationBy(ctx, id, deviation.ID)
		same(t, "deviation", d, deviation)
		return first(err, err2, err3, err4)
	})
	corrected := period
	corrected.Fished, corrected.Confirmed, corrected.StartedAt, corrected.Version = trial.TestLower, false, dawn.Add(61*time.Minute).In(inland), 2
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.EndOuting(ctx, id, outing.ID, outingEnd), tx.OpenUnit(ctx, id, unit.ID, dawn.In(inland)), tx.EndPeriod(ctx, id, period.ID, periodEnd), tx.UpdatePeriod(ctx, corrected))
	})
	outing.End, unit.OpenedAt, corrected.End = &outingEnd, pointer(dawn.In(inland)), &periodEnd
	period.End = &periodEnd
	for _, record := range []any{outing, unit, period, deviation} {
		filled(t, record)
	}
	swapless := trial.PeriodEnd{EndedAt: dawn.Add(time.Hour), Reason: "moved", ReceivedAt: server}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error { return tx.EndPeriod(ctx, id, a.period.ID, swapless) })
	a.period.End = &swapless
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		all, err := tx.OutingsOf(ctx, id, a.enrolment.ID, trial.Page{Limit: 10})
		same(t, "outings", all, []trial.Outing{a.outing, outing})
		all, err2 := tx.OutingsOf(ctx, id, a.enrolment.ID, trial.Page{After: a.outing.ID, Limit: 10})
		same(t, "second page of outings", all, []trial.Outing{outing})
		units, err3 := tx.UnitsOf(ctx, id, a.enrolment.ID)
		same(t, "units", units, []trial.Unit{a.unit, unit})
		periods, err4 := tx.PeriodsOf(ctx, id, outing.ID)
		same(t, "periods of outing", periods, []trial.Period{corrected})
		periods, err5 := tx.PeriodsOfUnit(ctx, id, a.unit.ID)
		same(t, "periods of unit", periods, []trial.Period{a.period})
		reports, err6 := tx.DeviationsOf(ctx, id, outing.ID)
		same(t, "deviations", reports, []trial.Deviation{open, deviation})
		records, err7 := tx.RecordsOf(ctx, id, a.enrolment.ID)
		same(t, "records", records, trial.Records{
			Enrolment: a.enrolment, Outings: []trial.Outing{a.outing, outing}, Units: []trial.Unit{a.unit, unit},
			Periods: []trial.Period{a.period, corrected}, Deviations: []trial.Deviation{open, deviation}, Catches: []trial.Catch{},
		})
		return first(err, err2, err3, err4, err5, err6, err7)
	})
	for what, do := range map[string]func(ctx context.Context, tx trial.Tx) error{
		"outing": func(ctx context.Context, tx trial.Tx) error { return tx.EndOuting(ctx, id, outing.ID, outingEnd) },
		"period": func(ctx context.Context, tx trial.Tx) error { return tx.EndPeriod(ctx, id, period.ID, periodEnd) },
	} {
		if err := w.store.InTx(t.Context(), do); trial.KindOf(err) != trial.Conflict {
			t.Errorf("ending the %s twice gives %v", what, err)
		}
	}
}

func TestCatches(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.enrol(t)
	sent := a.fish()
	sent.Catch.DoubleID, sent.Catch.Note, sent.Catch.CaughtAt, sent.Catch.NotedAt = newID(), "took on the swing", dawn.In(inland), dawn.Add(time.Hour)
	sent.Catch.TakenPosition, sent.Catch.FoulHooked = trial.Lower, true
	bare := a.fish()
	bare.Catch.Length, bare.Catch.TakenPattern, bare.Catch.TakenPosition = nil, "", trial.UnknownPosition
	outcomes := w.store.SubmitCatches(t.Context(), []trial.CatchSubmission{sent, bare})
	for i, o := range outcomes {
		if o.Err != nil || !o.Created || o.Receipt.N != int64(i+1) || o.Receipt.ChainID != a.enrolment.ChainID {
			t.Fatalf("outcome %d is %+v", i, o)
		}
	}
	want, wantBare := sent.Catch, bare.Catch
	want.EnrolmentID, want.Version, wantBare.EnrolmentID, wantBare.Version = a.enrolment.ID, 1, a.enrolment.ID, 1
	same(t, "created catch", outcomes[0].Catch, want)
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		got, err := tx.CatchBy(ctx, w.trial.ID, want.ID)
		same(t, "catch", got, want)
		all, err2 := tx.CatchesOf(ctx, w.trial.ID, a.enrolment.ID, trial.Page{Limit: 1})
		same(t, "page of catches", all, []trial.Catch{want})
		all, err3 := tx.CatchesOf(ctx, w.trial.ID, a.enrolment.ID, trial.Page{After: want.ID, Limit: 5})
		same(t, "next page of catches", all, []trial.Catch{wantBare})
		all, err4 := tx.CatchesOfPeriod(ctx, w.trial.ID, a.period.ID)
		same(t, "catches of period", all, []trial.Catch{want, wantBare})
		return first(err, err2, err3, err4)
	})
	corrected := want
	corrected.TakenPattern, corrected.TakenPosition, corrected.Outcome, corrected.FoulHooked, corrected.RigIntact = "B", trial.Upper, trial.Lost, false, false
	corrected.DoubleID, corrected.Species, corrected.Origin, corrected.CaughtAt = trial.ID{}, trial.OtherSpecies, trial.Stocked, dawn.Add(time.Minute)
	corrected.NotedAt, corrected.Length, corrected.Note = dawn.Add(2*time.Hour).In(inland), nil, ""
	corrected.Version, corrected.Void, corrected.Reason = 2, true, trial.TooShort
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error { return tx.UpdateCatch(ctx, corrected) })
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		got, err := tx.CatchBy(ctx, w.trial.ID, want.ID)
		same(t, "corrected catch", got, corrected)
		return err
	})
	want.Void, want.AfterLock, want.Reason = true, true, trial.TooShort // tested above and with locking
	filled(t, want)
}

func TestAmendments(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.enrol(t)
	one := trial.Amendment{
		TrialID: w.trial.ID, EnrolmentID: a.enrolment.ID, Kind: trial.LedgerCatch, Subject: newID(), N: 1, At: server, By: a.account.ID, Reason: "misread",
		Old: json.RawMessage(`{"z": 1,  "a":null}`), New: json.RawMessage(`{"z":2,"a":"é"}`),
	}
	filled(t, one)
	two := one
	two.N, two.Old, two.New = 2, nil, nil
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		numbered := two
		numbered.N = 0
		return first(tx.InsertAmendment(ctx, one), tx.InsertAmendment(ctx, numbered))
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		all, err := tx.AmendmentsOf(ctx, w.trial.ID, one.Subject)
		same(t, "amendments", all, []trial.Amendment{one, two})
		if len(all) == 2 && string(all[0].Old) != string(one.Old) {
			t.Errorf("the old values came back as %s", all[0].Old)
		}
		return err
	})
	err := w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error { return tx.InsertAmendment(ctx, two) })
	if trial.KindOf(err) != trial.Stale {
		t.Errorf("a second amendment of the same number gives %v", err)
	}
}

func TestRecorded(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	id := w.trial.ID
	enrolment := trial.Enrolment{TrialID: id, ID: newID(), ChainID: id, Pseudonym: "7K2M9P", EnrolledAt: server, SentDigest: digest("name")}
	// A table without times: none come back.
	outing := trial.Outing{TrialID: id, ID: newID(), EnrolmentID: enrolment.ID, ProtocolVersion: 1, ReceivedAt: server}
	period := trial.Period{TrialID: id, ID: newID(), EnrolmentID: enrolment.ID, OutingID: outing.ID, Block: "3", Half: 7, ReceivedAt: server, Version: 1}
	// Where a table does not tell one outing from another, a period has none.
	nowhere := period
	nowhere.ID, nowhere.OutingID, nowhere.Half, nowhere.Fished = newID(), trial.ID{}, 8, trial.TestLower
	fish := func() trial.Catch {
		return trial.Catch{
			TrialID: id, ID: newID(), EnrolmentID: enrolment.ID, PeriodID: period.ID, TakenPosition: trial.OtherPosition, Outcome: trial.Landed,
			Species: trial.UnknownSpecies, Origin: trial.UnknownOrigin, ReceivedAt: server, Version: 1, Reason: trial.NotConfirmed,
		}
	}
	first1, second := fish(), fish()
	second.CaughtAt, second.NotedAt, second.PeriodID = dawn, dawn, nowhere.ID
	records := trial.Records{Enrolment: enrolment, Outings: []trial.Outing{outing}, Periods: []trial.Period{period, nowhere}, Catches: []trial.Catch{first1}}
	again := records
	again.Catches = []trial.Catch{second}
	imported := trial.Import{TrialID: id, File: digest("file"), At: server, By: w.admin.ID, Rows: 2}
	filled(t, imported)
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.InsertRecorded(ctx, []trial.Records{records}), tx.InsertRecorded(ctx, []trial.Records{again}), tx.InsertImport(ctx, imported))
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		got, err := tx.RecordsOf(ctx, id, enrolment.ID)
		want := records
		want.Units, want.Deviations, want.Catches = []trial.Unit{}, []trial.Deviation{}, []trial.Catch{first1, second}
		same(t, "imported records", got, want)
		i, err2 := tx.ImportBy(ctx, id, imported.File)
		same(t, "import", i, imported)
		if _, err := tx.ImportBy(ctx, id, digest("other")); trial.KindOf(err) != trial.NotFound {
			t.Errorf("a file that was not imported gives %v", err)
		}
		return first(err, err2)
	})
	err := w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error { return tx.InsertRecorded(ctx, []trial.Records{again}) })
	if trial.KindOf(err) != trial.Conflict {
		t.Errorf("the same fish again gives %v", err)
	}
}
