package db_test

import (
	"context"
	"encoding/json"
	"testing"
	"time"

	"evenrig/service/trial"
)

func TestPeople(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	account := trial.Account{ID: newID(), Name: "Bo Sedge", Admin: true, CreatedAt: server}
	token := trial.Token{ID: newID(), AccountID: account.ID, Name: "phone", Hash: digest("secret"), CreatedAt: server}
	revoked := token
	revoked.ID, revoked.Hash, revoked.RevokedAt = newID(), digest("other"), &server
	member := trial.Membership{ClubID: w.club.ID, AccountID: account.ID, Name: account.Name, Role: trial.Auditor, JoinedAt: server}
	inv := trial.Invitation{
		ID: newID(), ClubID: w.club.ID, Role: trial.Angler, Hash: digest("join"), Uses: 2, Used: 1, CreatedBy: w.admin.ID,
		CreatedAt: server, ExpiresAt: server.Add(trial.InvitationLife), RevokedAt: pointer(server.Add(time.Hour)),
	}
	for _, record := range []any{account, revoked, member, inv, w.club} {
		filled(t, record)
	}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.InsertAccount(ctx, account), tx.InsertToken(ctx, token), tx.InsertToken(ctx, revoked),
			tx.InsertMembership(ctx, member), tx.InsertInvitation(ctx, inv))
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		a, err := tx.AccountBy(ctx, account.ID)
		same(t, "account", a, account)
		n, err2 := tx.AccountCount(ctx)
		same(t, "number of accounts", n, 2)
		tok, owner, err3 := tx.TokenByHash(ctx, token.Hash)
		same(t, "token", tok, token)
		same(t, "token's account", owner, account)
		if _, _, err := tx.TokenByHash(ctx, revoked.Hash); trial.KindOf(err) != trial.NotFound {
			t.Errorf("a revoked token gives %v", err)
		}
		tokens, err4 := tx.TokensOf(ctx, account.ID)
		same(t, "tokens", tokens, []trial.Token{token})
		club, err5 := tx.ClubBy(ctx, w.club.ID)
		same(t, "club", club, w.club)
		clubs, err6 := tx.ClubsOf(ctx, account.ID)
		same(t, "clubs", clubs, []trial.Club{w.club})
		m, err7 := tx.MembershipBy(ctx, w.club.ID, account.ID)
		same(t, "membership", m, member)
		members, err8 := tx.MembersOf(ctx, w.club.ID, trial.Page{Limit: 10})
		same(t, "members", members, []trial.Membership{member})
		after, err9 := tx.MembersOf(ctx, w.club.ID, trial.Page{After: account.ID, Limit: 10})
		same(t, "members after the last", after, []trial.Membership{})
		i, err10 := tx.InvitationByHash(ctx, inv.Hash)
		same(t, "invitation", i, inv)
		all, err11 := tx.InvitationsOf(ctx, w.club.ID)
		same(t, "invitations", all, []trial.Invitation{inv})
		return first(err, err2, err3, err4, err5, err6, err7, err8, err9, err10, err11)
	})
}

func TestInvitationUses(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	inv := trial.Invitation{
		ID: newID(), ClubID: w.club.ID, Role: trial.Angler, Hash: digest("join"), Uses: 2, CreatedBy: w.admin.ID,
		CreatedAt: server, ExpiresAt: server.Add(trial.InvitationLife),
	}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error { return tx.InsertInvitation(ctx, inv) })
	for used, usable := range []bool{true, true, false, false} {
		write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
			before, err := tx.UseInvitation(ctx, inv.Hash)
			if before.Used != min(used, 2) || (before.Usable(server) == nil) != usable {
				t.Errorf("use %d found %d used, usable %v", used+1, before.Used, before.Usable(server))
			}
			return err
		})
	}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		if err := tx.RevokeInvitation(ctx, newID(), inv.ID, server); trial.KindOf(err) != trial.NotFound {
			t.Errorf("another club revoked the invitation: %v", err)
		}
		return first(tx.RevokeInvitation(ctx, w.club.ID, inv.ID, server), tx.RevokeInvitation(ctx, w.club.ID, inv.ID, server.Add(time.Hour)))
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		i, err := tx.InvitationByHash(ctx, inv.Hash)
		same(t, "time of revoking", i.RevokedAt, server)
		return err
	})
}

func TestRevokeToken(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	token := trial.Token{ID: newID(), AccountID: w.admin.ID, Name: "phone", Hash: digest("secret"), CreatedAt: server}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		if err := tx.InsertToken(ctx, token); err != nil {
			return err
		}
		if err := tx.RevokeToken(ctx, newID(), token.ID, server); trial.KindOf(err) != trial.NotFound {
			t.Errorf("another account revoked the token: %v", err)
		}
		return tx.RevokeToken(ctx, w.admin.ID, token.ID, server)
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		if _, _, err := tx.TokenByHash(ctx, token.Hash); trial.KindOf(err) != trial.NotFound {
			t.Errorf("a revoked token gives %v", err)
		}
		return nil
	})
}

func TestTrials(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	full := trial.Trial{
		ID: newID(), ClubID: w.club.ID, Title: "Collar on a nymph", State: trial.Locked, Design: trial.PairedByOuting, Source: trial.Drawn,
		Revision: 3, ProtocolVersion: 2, Fingerprint: digest("p"), Commitment: digest("c"), Scheme: 1, SealedSeed: []byte("sealed"), Seed: pointer(digest("seed")),
		CreatedAt: server, RegisteredAt: pointer(server.Add(time.Minute)), ClosedAt: pointer(server.Add(time.Hour)), LockedAt: pointer(server.Add(2 * time.Hour)),
	}
	filled(t, full)
	draft := trial.Trial{ID: newID(), ClubID: w.club.ID, State: trial.Draft, Design: trial.Paired, Source: trial.Recorded, CreatedAt: server}
	change := trial.StateChange{TrialID: full.ID, N: 4, At: server, By: w.admin.ID, From: trial.Open, To: trial.Closed, Reason: "season over"}
	filled(t, change)
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		numbered := change
		numbered.N = 0
		return first(tx.InsertTrial(ctx, full), tx.InsertTrial(ctx, draft), tx.InsertStateChange(ctx, change), tx.InsertStateChange(ctx, numbered))
	})
	next := change
	next.N = 5
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		got, err := tx.TrialBy(ctx, full.ID)
		same(t, "trial", got, full)
		got, err2 := tx.TrialBy(ctx, draft.ID)
		same(t, "draft", got, draft)
		all, err3 := tx.TrialsOf(ctx, w.club.ID, trial.Page{After: w.trial.ID, Limit: 1})
		same(t, "page of trials", all, []trial.Trial{full})
		registered, err4 := tx.RegisteredTrials(ctx)
		same(t, "registered trials", registered, []trial.ID{w.trial.ID, full.ID})
		changes, err5 := tx.StateChangesOf(ctx, full.ID)
		same(t, "state changes", changes, []trial.StateChange{change, next})
		return first(err, err2, err3, err4, err5)
	})

	changed := full
	changed.ID, changed.CreatedAt = draft.ID, draft.CreatedAt
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		locked, err := tx.LockTrial(ctx, draft.ID)
		same(t, "locked trial", locked, draft)
		if err := tx.UpdateTrial(ctx, trial.Trial{ID: newID(), State: trial.Draft, Design: trial.Paired, Source: trial.Drawn}); trial.KindOf(err) != trial.NotFound {
			t.Errorf("updating what is not there gives %v", err)
		}
		return first(err, tx.UpdateTrial(ctx, changed))
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		got, err := tx.TrialBy(ctx, draft.ID)
		same(t, "changed trial", got, changed)
		return err
	})
}

func TestProtocol(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	draft := w.trial
	draft.ID, draft.State = newID(), trial.Draft
	p := w.rules
	// RFC 8785 has its own bytes; what is stored is what is handed over.
	canonical := []byte(`{"title":"é"}`)
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.InsertTrial(ctx, draft), tx.SaveProtocol(ctx, draft.ID, 1, trial.Protocol{}, []byte("{}")), tx.SaveProtocol(ctx, draft.ID, 1, p, canonical))
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		got, bytes, err := tx.ProtocolBy(ctx, draft.ID, 1)
		same(t, "protocol", got, p)
		same(t, "canonical protocol", bytes, canonical)
		return err
	})
	draft.State = trial.Registered
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error { return tx.UpdateTrial(ctx, draft) })
	err := w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error {
		return tx.SaveProtocol(ctx, draft.ID, 1, trial.Protocol{}, []byte("{}"))
	})
	if trial.KindOf(err) != trial.Conflict {
		t.Errorf("replacing a registered protocol gives %v", err)
	}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error { return tx.SaveProtocol(ctx, draft.ID, 2, p, canonical) })
}

func TestEnrolments(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	one, two := w.enrol(t), w.enrol(t)
	left := one.enrolment
	left.Consent = trial.Consent{TakePart: true, Store: true, SharePseudonymous: true, LicenceConfirmed: true, AdultOrGuardian: true, PublishOpen: true, ContactAgain: true}
	left.ID, left.ChainID, left.AccountID, left.Name, left.Pseudonym = newID(), newID(), w.admin.ID, w.admin.Name, "ZZZZZZ"
	left.EnrolledAt, left.LeftAt = server.Add(time.Hour), pointer(server.Add(2*time.Hour))
	imported := trial.Enrolment{TrialID: w.trial.ID, ID: newID(), ChainID: w.trial.ID, Pseudonym: "111111", EnrolledAt: server.Add(3 * time.Hour)}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.InsertEnrolment(ctx, left), tx.InsertEnrolment(ctx, imported), tx.LeaveEnrolment(ctx, w.trial.ID, two.enrolment.ID, server))
	})
	two.enrolment.LeftAt = &server
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		all, err := tx.EnrolmentsOf(ctx, w.trial.ID)
		same(t, "enrolments", all, []trial.Enrolment{one.enrolment, two.enrolment, left, imported})
		got, err2 := tx.EnrolmentBy(ctx, w.trial.ID, left.ID)
		same(t, "enrolment", got, left)
		got, err3 := tx.EnrolmentOf(ctx, w.trial.ID, one.account.ID)
		same(t, "enrolment by account", got, one.enrolment)
		if _, err := tx.EnrolmentBy(ctx, newID(), left.ID); trial.KindOf(err) != trial.NotFound {
			t.Errorf("an enrolment shows in another trial: %v", err)
		}
		return first(err, err2, err3)
	})
	left.ErasedAt = &server // the one field that is not tested above
	filled(t, left)
}

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

func TestCounts(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a, b := w.enrol(t), w.enrol(t)
	tally := trial.Tally{
		Angler: a.enrolment.Pseudonym, Outing: "o", Block: "b", Period: "1", Arrangement: trial.TestLower, Taken: trial.TookTest,
		Species: "Thymallus thymallus", Origin: trial.Wild, Month: "2026-09", Week: "2026-W36", Exclusion: trial.Double, N: 3,
	}
	count := trial.EnrolmentCount{
		EnrolmentID: a.enrolment.ID, Pseudonym: a.enrolment.Pseudonym, HeadN: 1, CountedAt: 1, Tallies: []trial.Tally{tally},
		Effort: trial.Effort{Enrolled: 1, Outings: 2, BlankOutings: 3, Blocks: 4, FinishedBlocks: 5, NotLogged: 6, Deviations: 7, LateNoted: 8},
	}
	filled(t, tally)
	filled(t, count.Effort)
	w.store.SubmitCatches(t.Context(), []trial.CatchSubmission{a.fish()})
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		older := count
		older.CountedAt, older.Tallies = 0, nil
		return first(tx.SaveCount(ctx, w.trial.ID, older), tx.SaveCount(ctx, w.trial.ID, count), tx.SaveCount(ctx, w.trial.ID, older))
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		all, err := tx.CountsOf(ctx, w.trial.ID)
		same(t, "counts", all, []trial.EnrolmentCount{
			count, {EnrolmentID: b.enrolment.ID, Pseudonym: b.enrolment.Pseudonym, CountedAt: -1, Tallies: []trial.Tally{}},
		})
		return err
	})
}

func TestLedger(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.enrol(t)
	subject := newID()
	parts := newParts("one")
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		heads, err := tx.LockHeads(ctx, w.trial.ID)
		same(t, "heads", heads, []trial.Head{{TrialID: w.trial.ID, ChainID: w.trial.ID}, {TrialID: w.trial.ID, ChainID: a.enrolment.ID}})
		head, err2 := tx.LockHead(ctx, w.trial.ID, a.enrolment.ID)
		entry := head.Next(trial.LedgerOuting, subject, parts)
		return first(err, err2, tx.Append(ctx, entry, parts), tx.Append(ctx, entry.Head().Next(trial.LedgerOutingEnd, subject, parts), parts))
	})
	entries := checkChain(t, w.store, w.trial.ID, a.enrolment.ID, 2)
	filled(t, entries[0])
	err := w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error {
		return tx.Append(ctx, trial.Head{TrialID: w.trial.ID, ChainID: a.enrolment.ID, N: 4}.Next(trial.LedgerOuting, subject, parts), parts)
	})
	if err == nil {
		t.Error("an entry that leaves a gap was taken")
	}
	err = w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error {
		_, err := tx.LockHead(ctx, w.trial.ID, newID())
		return err
	})
	if trial.KindOf(err) != trial.NotFound {
		t.Errorf("locking a chain that is not there gives %v", err)
	}
	err = w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error {
		return tx.InsertHead(ctx, trial.Head{TrialID: newID(), ChainID: newID()})
	})
	if trial.KindOf(err) != trial.NotFound {
		t.Errorf("starting a chain of a trial that is not there gives %v", err)
	}
}

func TestCheckpoints(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.enrol(t)
	quiet := w.newTrial(t)
	take := func(id trial.ID, meanwhile func()) (taken trial.Checkpoint) {
		write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
			last, err := tx.LastCheckpoint(ctx, id)
			heads, err2 := tx.HeadsOf(ctx, id)
			meanwhile()
			taken = trial.NextCheckpoint(id, last, heads, server)
			return first(err, err2, tx.InsertCheckpoint(ctx, taken))
		})
		return taken
	}
	moved := func(want ...trial.ID) {
		t.Helper()
		read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
			got, err := tx.TrialsMoved(ctx)
			same(t, "trials that moved", got, append([]trial.ID{}, want...))
			return err
		})
	}
	moved(w.trial.ID, quiet.ID)
	one := take(w.trial.ID, func() {})
	filled(t, one)
	take(quiet.ID, func() {})
	moved()
	w.store.SubmitCatches(t.Context(), []trial.CatchSubmission{a.fish()})
	moved(w.trial.ID)
	// A fish that arrives between the reading of the heads and the saving of the checkpoint is not covered by it.
	two := take(w.trial.ID, func() { w.store.SubmitCatches(t.Context(), []trial.CatchSubmission{a.fish()}) })
	moved(w.trial.ID)
	three := take(w.trial.ID, func() {})
	moved()
	w.enrol(t)
	moved(w.trial.ID)
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		last, err := tx.LastCheckpoint(ctx, w.trial.ID)
		same(t, "last checkpoint", last, three)
		all, err2 := tx.CheckpointsOf(ctx, w.trial.ID)
		same(t, "checkpoints", all, []trial.Checkpoint{one, two, three})
		none, err3 := tx.LastCheckpoint(ctx, newID())
		if none != nil {
			t.Errorf("a trial that is not there has the checkpoint %+v", none)
		}
		return first(err, err2, err3)
	})
}

func TestAnalyses(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	wanted := trial.Analysis{
		TrialID: w.trial.ID, State: trial.Queued, Checkpoint: 7, RequestedAt: server, RequestedBy: w.admin.ID, ProtocolVersion: 1,
		ProgramVersion: "1.0", Settings: json.RawMessage(`{"points": 15}`),
	}
	var queued, again, other trial.Analysis
	write(t, w.store, func(ctx context.Context, tx trial.Tx) (err error) {
		queued, err = tx.EnqueueAnalysis(ctx, wanted)
		if err != nil {
			return err
		}
		again, err = tx.EnqueueAnalysis(ctx, wanted)
		if err != nil {
			return err
		}
		automatic := trial.Analysis{TrialID: w.trial.ID, State: trial.Queued, Checkpoint: 8, RequestedAt: server, ProtocolVersion: 1}
		other, err = tx.EnqueueAnalysis(ctx, automatic)
		return err
	})
	wanted.N = 1
	same(t, "queued analysis", queued, wanted)
	same(t, "the one that stands", again, wanted)
	if other.N != 2 {
		t.Errorf("the second analysis has number %d", other.N)
	}
	done := queued
	done.State, done.FinishedAt, done.ProgramVersion, done.Fingerprint = trial.Done, pointer(server.Add(time.Minute)), "1.1", digest("input")
	done.Input, done.Result, done.Failure = []byte("{ }"), []byte("{ \"a\":1 }\n"), "none"
	filled(t, done)
	failed := other
	failed.State, failed.Failure = trial.Failed, "too few anglers"
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		late := done
		late.Result = []byte("another")
		return first(tx.FinishAnalysis(ctx, done), tx.FinishAnalysis(ctx, late), tx.FinishAnalysis(ctx, failed))
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		got, err := tx.AnalysisBy(ctx, w.trial.ID, 1)
		same(t, "finished analysis", got, done)
		all, err2 := tx.AnalysesOf(ctx, w.trial.ID)
		same(t, "analyses", all, []trial.Analysis{done, failed})
		return first(err, err2)
	})
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		next, err := tx.EnqueueAnalysis(ctx, trial.Analysis{TrialID: w.trial.ID, State: trial.Queued, Checkpoint: 8, RequestedAt: server, ProtocolVersion: 1})
		if next.N != 3 {
			t.Errorf("after a failed analysis another got number %d, want 3", next.N)
		}
		return err
	})
	err := w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error {
		return tx.FinishAnalysis(ctx, trial.Analysis{TrialID: w.trial.ID, N: 9, State: trial.Done})
	})
	if trial.KindOf(err) != trial.NotFound {
		t.Errorf("finishing an analysis that is not there gives %v", err)
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
