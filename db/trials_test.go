package db_test

import (
	"context"
	"testing"
	"time"

	"evenrig/service/trial"
)

func TestTrials(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	full := trial.Trial{
		ID: newID(), ClubID: w.club.ID, Title: "Collar on a nymph", State: trial.Locked, Design: trial.PairedByOuting, Source: trial.Drawn,
		Revision: 3, ProtocolVersion: 2, Fingerprint: digest("p"), Commitment: digest("c"), Scheme: 1, SealedSeed: []byte("sealed"), Seed: pointer(digest("seed")),
		CreatedAt: server, RegisteredAt: pointer(server.Add(time.Minute)), ClosedAt: pointer(server.Add(time.Hour)), LockedAt: pointer(server.Add(2 * time.Hour)),
		Original: newID(),
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
	changed.ID, changed.CreatedAt, changed.Original = draft.ID, draft.CreatedAt, draft.Original
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
	left.Consent = trial.Consent{TakePart: true, Store: true, SharePseudonymous: true, LicenceConfirmed: true, AdultOrGuardian: true, PublishOpen: true, PlaceCoarse: true, ContactAgain: true, Minor: true}
	left.ID, left.ChainID, left.AccountID, left.Name, left.Pseudonym = newID(), newID(), w.admin.ID, w.admin.Name, "ZZZZZZ"
	left.Noters = []trial.ID{one.account.ID, two.account.ID}
	left.EnrolledAt, left.LeftAt = server.Add(time.Hour), pointer(server.Add(2*time.Hour))
	imported := trial.Enrolment{TrialID: w.trial.ID, ID: newID(), ChainID: w.trial.ID, Pseudonym: "111111", EnrolledAt: server.Add(3 * time.Hour)}
	guest := trial.Enrolment{TrialID: w.trial.ID, ID: newID(), BroughtBy: one.account.ID, GuardianBy: one.account.ID, GuardianAt: &server, Pseudonym: "222222", EnrolledAt: server.Add(4 * time.Hour)}
	guest.ChainID = guest.ID
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.InsertEnrolment(ctx, left), tx.InsertEnrolment(ctx, imported), tx.InsertEnrolment(ctx, guest), tx.SetNoters(ctx, w.trial.ID, two.enrolment.ID, left.Noters[:1]), tx.LeaveEnrolment(ctx, w.trial.ID, two.enrolment.ID, server))
	})
	two.enrolment.LeftAt, two.enrolment.Noters = &server, left.Noters[:1]
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		all, err := tx.EnrolmentsOf(ctx, w.trial.ID)
		same(t, "enrolments", all, []trial.Enrolment{one.enrolment, two.enrolment, left, imported, guest})
		got, err2 := tx.EnrolmentBy(ctx, w.trial.ID, left.ID)
		same(t, "enrolment", got, left)
		got, err3 := tx.EnrolmentOf(ctx, w.trial.ID, one.account.ID)
		same(t, "enrolment by account", got, one.enrolment)
		noted, err4 := tx.EnrolmentsNotedBy(ctx, w.trial.ID, one.account.ID)
		same(t, "for whom an account may note", noted, []trial.Enrolment{two.enrolment, left, guest})
		if _, err := tx.EnrolmentBy(ctx, newID(), left.ID); trial.KindOf(err) != trial.NotFound {
			t.Errorf("an enrolment shows in another trial: %v", err)
		}
		return first(err, err2, err3, err4)
	})
	left.BroughtBy, left.GuardianBy, left.GuardianAt = guest.BroughtBy, guest.GuardianBy, guest.GuardianAt // which a guest alone has
	left.GuardianBy, left.GuardianAt = w.admin.ID, &server                                                 // saved by a change of ticks
	left.ErasedAt, left.ErasedOutings, left.ErasedFish = &server, 1, 1                                     // what erasing writes is tested there
	filled(t, left)
}
