package db_test

import (
	"context"
	"encoding/json"
	"io/fs"
	"strings"
	"testing"
	"time"

	"evenrig/db"
	"evenrig/db/dbtest"
	"evenrig/db/migrations"
	"evenrig/service/trial"
)

func TestRecords(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.enrol(t)
	id := w.trial.ID
	outing := trial.Outing{
		TrialID: id, ID: newID(), EnrolmentID: a.enrolment.ID, ProtocolVersion: 2, Water: "Reed, weir pool", Cell: "54.1N 2.4W", Card: 12, StartedAt: dawn.In(inland), StartedLate: true,
		WaterTemperature: &trial.Measure{Value: 52.7, Unit: "F"}, Conditions: "low, clear", Note: "first frost", ReceivedAt: server, SentDigest: digest("o"),
		Version: 1, Void: true, Disputed: true,
	}
	outingEnd := trial.OutingEnd{EndedAt: dawn.Add(5 * time.Hour).In(time.FixedZone("", -(9*3600 + 1800))), Reason: "weather", NotLogged: 2, ReceivedAt: server, SentDigest: digest("oe")}
	unit := trial.Unit{TrialID: id, ID: newID(), EnrolmentID: a.enrolment.ID, N: 2, First: trial.ControlLower, SameFlyCheck: true, FetchedAt: server, DrawnBy: trial.BySlip, Slip: 17, DrawnAt: pointer(dawn.In(inland))}
	served := trial.Unit{TrialID: id, ID: newID(), EnrolmentID: a.enrolment.ID, N: 3, First: trial.TestLower, FetchedAt: server, DrawnBy: trial.ByService, DrawN: 2}
	period := trial.Period{
		TrialID: id, ID: newID(), EnrolmentID: a.enrolment.ID, OutingID: outing.ID, UnitID: unit.ID, Block: "2", Half: 2, Drawn: trial.TestLower, Fished: trial.ControlLower,
		Confirmed: true, TestFly: 2, ControlFly: 5, StartedAt: dawn.Add(time.Hour), ReceivedAt: server, SentDigest: digest("p"), Version: 1,
	}
	periodEnd := trial.PeriodEnd{EndedAt: dawn.Add(2 * time.Hour), SwapNowAt: pointer(dawn.Add(115 * time.Minute).In(inland)), Reason: trial.EndedByRule, ReceivedAt: server, SentDigest: digest("pe")}
	deviation := trial.Deviation{
		TrialID: id, ID: newID(), EnrolmentID: a.enrolment.ID, OutingID: outing.ID, PeriodID: period.ID, Kind: trial.Moved, Water: "Reed, long glide", Fly: 3, FromAt: dawn.Add(time.Hour),
		UntilAt: pointer(dawn.Add(90 * time.Minute).In(inland)), Note: "cattle", ReceivedAt: server, SentDigest: digest("d"),
	}
	open := trial.Deviation{TrialID: id, ID: newID(), EnrolmentID: a.enrolment.ID, OutingID: outing.ID, Kind: trial.OffTrial, FromAt: dawn, ReceivedAt: server}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.InsertOuting(ctx, outing), tx.InsertUnit(ctx, unit), tx.InsertUnit(ctx, served), tx.LoseUnit(ctx, id, served.ID, dawn.In(inland)), tx.InsertPeriod(ctx, period), tx.InsertDeviation(ctx, deviation), tx.InsertDeviation(ctx, open))
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
	served.LostAt = pointer(dawn.In(inland))
	corrected := period
	corrected.Fished, corrected.Confirmed, corrected.StartedAt, corrected.Version = trial.TestLower, false, dawn.Add(61*time.Minute).In(inland), 2
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.EndOuting(ctx, id, outing.ID, outingEnd), tx.OpenUnit(ctx, id, unit.ID, dawn.In(inland)), tx.EndPeriod(ctx, id, period.ID, periodEnd), tx.UpdatePeriod(ctx, corrected))
	})
	outing.End, unit.OpenedAt, corrected.End = &outingEnd, pointer(dawn.In(inland)), &periodEnd
	period.End = &periodEnd
	every := unit // what only a unit of the service's or one that was never fished has
	every.DrawN, every.LostAt = served.DrawN, served.LostAt
	for _, record := range []any{outing, every, period, deviation} {
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
		same(t, "units", units, []trial.Unit{a.unit, unit, served})
		periods, err4 := tx.PeriodsOf(ctx, id, outing.ID)
		same(t, "periods of outing", periods, []trial.Period{corrected})
		periods, err5 := tx.PeriodsOfUnit(ctx, id, a.unit.ID)
		same(t, "periods of unit", periods, []trial.Period{a.period})
		reports, err6 := tx.DeviationsOf(ctx, id, outing.ID)
		same(t, "deviations", reports, []trial.Deviation{open, deviation})
		records, err7 := tx.RecordsOf(ctx, id, a.enrolment.ID)
		same(t, "records", records, trial.Records{
			Enrolment: a.enrolment, Outings: []trial.Outing{a.outing, outing}, Units: []trial.Unit{a.unit, unit, served},
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
	err := w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error { return tx.LoseUnit(ctx, id, unit.ID, dawn) })
	if trial.KindOf(err) != trial.NotFound {
		t.Errorf("losing a unit that was opened gives %v", err)
	}
}

func TestFlies(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.enrol(t)
	id := w.trial.ID
	b := trial.FlyBatch{TrialID: id, N: 1, Batch: "September", TiedBy: "the tyer", HookLot: "2231", Materials: "wool", MadeBy: w.admin.ID, MadeAt: server}
	envelopes := []trial.FlyEnvelope{{TrialID: id, Code: "AAAA-AAAA", Batch: 1, PerPattern: 3}, {TrialID: id, Code: "BBBB-BBBB", Batch: 1, PerPattern: 3}}
	move := trial.FlyMove{TrialID: id, N: 1, Code: "BBBB-BBBB", Kind: trial.Issued, EnrolmentID: a.enrolment.ID, Flies: 2, At: server, By: w.admin.ID, Note: "at the clubhouse"}
	d := trial.Deviation{TrialID: id, ID: newID(), EnrolmentID: a.enrolment.ID, OutingID: a.outing.ID, PeriodID: a.period.ID, Kind: trial.FlyLost, Fly: 3, FromAt: dawn, ReceivedAt: server}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.InsertFlyBatch(ctx, b, envelopes), tx.InsertFlyMove(ctx, move), tx.InsertDeviation(ctx, d))
	})
	b.InspectedBy, b.InspectedAt, b.Remarks = a.account.ID, &server, "all alike"
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error { return tx.InspectFlyBatch(ctx, b) })
	filled(t, b)
	filled(t, move)
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		stock, err := tx.FlyStockOf(ctx, id)
		same(t, "stock", stock, trial.FlyStock{
			Batches: []trial.FlyBatch{b}, Envelopes: envelopes, Moves: []trial.FlyMove{move},
			Losses: []trial.FlyLoss{{EnrolmentID: a.enrolment.ID, At: dawn.UTC(), Fly: 3}},
		})
		return err
	})
	again := b
	again.N = 2
	if err := w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error { return tx.InsertFlyBatch(ctx, again, envelopes) }); trial.KindOf(err) != trial.Conflict {
		t.Errorf("a code drawn twice gives %v", err)
	}
	// Erasing forgets to whom the envelope went, and who looked the flies over; the envelope and its moves stay counted.
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return tx.EraseEnrolment(ctx, id, a.enrolment.ID, server)
	})
	b.InspectedBy, move.EnrolmentID, move.Note = trial.ID{}, trial.ID{}, ""
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		stock, err := tx.FlyStockOf(ctx, id)
		same(t, "stock after erasing", stock, trial.FlyStock{Batches: []trial.FlyBatch{b}, Envelopes: envelopes, Moves: []trial.FlyMove{move}, Losses: []trial.FlyLoss{}})
		return err
	})
}

func TestCards(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.enrol(t)
	card := trial.Card{TrialID: w.trial.ID, Number: 12, EnrolmentID: a.enrolment.ID, OutingID: a.outing.ID, Content: []byte("{}"), WrittenAt: server, TypedBy: w.admin.ID, TypedAt: server}
	paper := func() (out bool) {
		read(t, w.store, func(ctx context.Context, tx trial.ReadTx) (err error) {
			out, err = tx.PaperOut(ctx, w.trial.ID)
			return err
		})
		return out
	}
	if paper() {
		t.Error("paper is out before there is any")
	}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error { return tx.InsertCard(ctx, card) })
	if !paper() {
		t.Error("a card is no paper")
	}
	card.AgainBy, card.AgainAt, card.Differs = a.account.ID, &server, []string{"outing.not_logged", "rounds[0].halves"}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error { return tx.CheckCard(ctx, card) })
	filled(t, card)
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		one, err := tx.CardBy(ctx, w.trial.ID, 12)
		same(t, "card", one, card)
		all, err2 := tx.CardsOf(ctx, w.trial.ID)
		same(t, "cards", all, []trial.Card{card})
		return first(err, err2)
	})
	if err := w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error { return tx.InsertCard(ctx, card) }); trial.KindOf(err) != trial.Conflict {
		t.Errorf("a card under a taken number gives %v", err)
	}
	one := a.fish().Catch
	one.EnrolmentID, one.Version = a.enrolment.ID, 1
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error { return tx.InsertCatch(ctx, one, 1) })
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		mine, err := tx.CatchesNotedBy(ctx, w.trial.ID, a.enrolment.ID, a.account.ID, trial.Page{Limit: 5})
		same(t, "fish typed by the angler", mine, []trial.Catch{one})
		none, err2 := tx.CatchesNotedBy(ctx, w.trial.ID, a.enrolment.ID, w.admin.ID, trial.Page{Limit: 5})
		same(t, "fish typed by another", none, []trial.Catch{})
		return first(err, err2)
	})
}

func TestSlips(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.enrol(t)
	sheet := trial.SlipSheet{TrialID: w.trial.ID, N: 1, EnrolmentID: a.enrolment.ID, First: 1, Last: 8, PrintedBy: w.admin.ID, PrintedAt: server}
	filled(t, sheet)
	slip := trial.Unit{TrialID: w.trial.ID, ID: newID(), EnrolmentID: a.enrolment.ID, N: 2, First: trial.TestLower, DrawnBy: trial.BySlip, Slip: 8, DrawnAt: &dawn, FetchedAt: server}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.InsertSlipSheet(ctx, sheet), tx.InsertUnit(ctx, slip))
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		sheets, err := tx.SlipSheetsOf(ctx, w.trial.ID)
		same(t, "sheets", sheets, []trial.SlipSheet{sheet})
		return err
	})
	again, elsewhere := slip, w.enrolIn(t, w.newTrial(t).ID)
	again.ID, again.N = newID(), 3
	if err := w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error { return tx.InsertUnit(ctx, again) }); trial.KindOf(err) != trial.Conflict {
		t.Errorf("a slip opened twice gives %v", err)
	}
	again.TrialID, again.EnrolmentID, again.N = elsewhere.enrolment.TrialID, elsewhere.enrolment.ID, 2
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error { return tx.InsertUnit(ctx, again) })
	sheet.EnrolmentID, sheet.N = newID(), 2
	if err := w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error { return tx.InsertSlipSheet(ctx, sheet) }); trial.KindOf(err) != trial.NotFound {
		t.Errorf("slips for nobody give %v", err)
	}
}

func TestCatches(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.enrol(t)
	sent := a.fish()
	sent.Catch.DoubleID, sent.Catch.Note, sent.Catch.CaughtAt, sent.Catch.NotedAt = newID(), "took on the swing", dawn.In(inland), dawn.Add(time.Hour)
	sent.Catch.TakenPosition, sent.Catch.FoulHooked, sent.Catch.Welfare = trial.Lower, true, "bleeding+dead"
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
	corrected.Welfare = "deep_hooked"
	corrected.Version, corrected.Void, corrected.Reason = 2, true, trial.TooShort
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error { return tx.UpdateCatch(ctx, corrected) })
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		got, err := tx.CatchBy(ctx, w.trial.ID, want.ID)
		same(t, "corrected catch", got, corrected)
		return err
	})
	want.Void, want.AfterLock, want.Disputed, want.Reason = true, true, true, trial.TooShort // tested above and with locking
	want.WaterType, want.Fly, want.Further = "river", "orange tag", `{"hatch":"olives"}`     // a table's, tested with it
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
	outing := trial.Outing{TrialID: id, ID: newID(), EnrolmentID: enrolment.ID, ProtocolVersion: 1, ReceivedAt: server, Version: 1}
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
	second.WaterType, second.Fly = "weir pool, below", "tag"
	second.Further = trial.NewFurther(map[string]string{"hatch": "olives, \"some\"", "notes": "two\nlines \\ 1 µm"})
	records := trial.Records{Enrolment: enrolment, Outings: []trial.Outing{outing}, Periods: []trial.Period{period, nowhere}, Catches: []trial.Catch{first1}}
	brought := trial.TableRecords{Enrolments: []trial.Enrolment{enrolment}, Outings: records.Outings, Periods: records.Periods, Catches: records.Catches}
	again := brought
	again.Catches = []trial.Catch{second}
	imported := trial.Import{TrialID: id, File: digest("file"), At: server, By: w.admin.ID, Rows: 2}
	filled(t, imported)
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.InsertRecorded(ctx, brought), tx.InsertRecorded(ctx, again), tx.InsertImport(ctx, imported))
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
	err := w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error { return tx.InsertRecorded(ctx, again) })
	if trial.KindOf(err) != trial.Conflict {
		t.Errorf("the same fish again gives %v", err)
	}
	// A correction keeps what the table said, unless it changes that.
	for _, further := range []trial.Further{second.Further, `{"hatch":"none"}`, ""} {
		second.Further, second.Version = further, second.Version+1
		write(t, w.store, func(ctx context.Context, tx trial.Tx) error { return tx.UpdateCatch(ctx, second) })
		read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
			got, err := tx.CatchBy(ctx, id, second.ID)
			same(t, "corrected fish of a table", got, second)
			return err
		})
	}
	for what, spoil := range map[string]func(c *trial.Catch){
		"no object":     func(c *trial.Catch) { c.Further = `["hatch"]` },
		"no JSON":       func(c *trial.Catch) { c.Further = `hatch` },
		"a long text":   func(c *trial.Catch) { c.Fly = strings.Repeat("x", 201) },
		"a long text 2": func(c *trial.Catch) { c.WaterType = strings.Repeat("x", 201) },
	} {
		bad := second
		spoil(&bad)
		if err := w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error { return tx.UpdateCatch(ctx, bad) }); err == nil {
			t.Errorf("%s was taken", what)
		}
	}
}

// Going back before the step that keeps a table's own columns and up again leaves the fish and takes those columns; either
// way the cached counts are emptied, since fish are counted by more than before.
func TestKeepColumnsStep(t *testing.T) {
	t.Parallel()
	url := dbtest.URL(t)
	conn := connect(t, url)
	exec := func(sql string) {
		t.Helper()
		if _, err := conn.Exec(t.Context(), sql); err != nil {
			t.Fatalf("%s: %v", sql, err)
		}
	}
	exec(`SET session_replication_role = replica`) // a fish and a count without what they refer to
	const count = `INSERT INTO counts SELECT gen_random_uuid(), gen_random_uuid(), 1, '[]', '{}'`
	exec(count)
	exec(`
INSERT INTO catches (trial_id, id, enrolment_id, period_id, taken_pattern, taken_position, outcome, foul_hooked, rig_intact, species, origin, note,
                     received_at, version, void, after_lock, reason, water_type, fly, further)
SELECT gen_random_uuid(), gen_random_uuid(), gen_random_uuid(), gen_random_uuid(), 'C', '', 'landed', false, true, '', 'wild', '',
       '2026-09-01', 1, false, false, '', 'river', 'tag', '{"hatch":"olives"}'`)
	const left = `SELECT format('%s counts, %s fish', (SELECT count(*) FROM counts), (SELECT count(*) FROM catches WHERE outcome = 'landed'))`
	steps, err := fs.Glob(migrations.FS, "*.up.sql")
	if err != nil {
		t.Fatal(err)
	}
	for _, step := range []func() error{
		func() error { return db.MigrateDown(t.Context(), url, len(steps)-5) },
		func() error { return db.MigrateUp(t.Context(), url) },
	} {
		if err := step(); err != nil {
			t.Fatal(err)
		}
		if got := texts(t, conn, left); got[0] != "0 counts, 1 fish" {
			t.Errorf("left: %s", got)
		}
		exec(count)
	}
	if got := texts(t, conn, `SELECT concat(water_type, fly, further) FROM catches`); len(got) != 1 || got[0] != "" {
		t.Errorf("the step back and up again left %q", got)
	}
}
