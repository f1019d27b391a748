package db_test

import (
	"bytes"
	"context"
	"errors"
	"sync/atomic"
	"testing"
	"time"

	"evenrig/db"
	"evenrig/service/trial"
)

func (w *world) publish(t *testing.T) (queued trial.Publication) {
	t.Helper()
	write(t, w.store, func(ctx context.Context, tx trial.Tx) (err error) {
		queued, err = tx.EnqueuePublication(ctx, trial.Publication{
			TrialID: w.trial.ID, State: trial.EditionQueued, Licence: "CC0-1.0", NameClub: true, Remarks: "a wet season", AskedAt: server, AskedBy: w.admin.ID,
		})
		return err
	})
	return queued
}

func (w *world) editions(t *testing.T) (all []trial.Publication) {
	t.Helper()
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) (err error) {
		all, err = tx.PublicationsOf(ctx, w.trial.ID)
		return err
	})
	return all
}

func TestPublications(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	one := w.publish(t)
	err := w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error {
		_, err := tx.EnqueuePublication(ctx, one)
		return err
	})
	if err == nil {
		t.Error("two editions are being made at once")
	}
	whole := bytes.Repeat([]byte("a grayling of 31 cm\n"), 2*trial.PackageChunk/20+7)
	one.State, one.MadeAt, one.ProgramVersion = trial.EditionStanding, pointer(server.Add(time.Minute)), "test"
	one.Title, one.Question, one.Club, one.Sentence = "Collar", "Does it?", "Tarnholt", "It does."
	one.Package, one.Size, one.Anglers, one.Fish = digest("package"), int64(len(whole)), 12, 190
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.UpdatePublication(ctx, one), tx.SavePackage(ctx, w.trial.ID, 1, bytes.NewReader(whole)))
	})
	same(t, "editions", w.editions(t), []trial.Publication{one})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		var got []byte
		for n := range 3 {
			chunk, err := tx.PackageBytes(ctx, w.trial.ID, 1, n)
			if err != nil {
				return err
			}
			if n < 2 && len(chunk) != trial.PackageChunk {
				t.Errorf("chunk %d has %d bytes", n, len(chunk))
			}
			got = append(got, chunk...)
		}
		if !bytes.Equal(got, whole) {
			t.Error("the package came back as something else")
		}
		return nil
	})
	one.State, one.WithdrawnAt, one.Why, one.Failure = trial.EditionWithdrawn, pointer(server.Add(time.Hour)), trial.WithdrawnForErasure, "-"
	filled(t, one)
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.UpdatePublication(ctx, one), tx.DropPackage(ctx, w.trial.ID, 1))
	})
	if two := w.publish(t); two.Edition != 2 {
		t.Errorf("the next edition is %d", two.Edition)
	}
	same(t, "the withdrawn edition", w.editions(t)[0], one)
	err = w.store.InReadTx(t.Context(), func(ctx context.Context, tx trial.ReadTx) error {
		_, err := tx.PackageBytes(ctx, w.trial.ID, 1, 0)
		return err
	})
	if trial.KindOf(err) != trial.NotFound {
		t.Errorf("a withdrawn package's bytes: %v", err)
	}
}

func TestOrigins(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	o := trial.CopyOrigin{
		TrialID: w.trial.ID, Trial: newID(), Edition: 2, Package: digest("package"), Licence: "CC-BY-4.0", Club: "Tarnholt", ReadAt: server, ReadBy: w.admin.ID, Findings: []byte("{}"),
	}
	filled(t, o)
	repeat := newID()
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.InsertOrigin(ctx, o), tx.InsertRepeat(ctx, w.trial.ID, repeat))
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		got, err := tx.OriginOf(ctx, w.trial.ID)
		same(t, "origin", got, o)
		repeats, err2 := tx.RepeatsOf(ctx, w.trial.ID)
		same(t, "repeats", repeats, []trial.ID{repeat})
		_, err3 := tx.OriginOf(ctx, newID())
		if trial.KindOf(err3) != trial.NotFound {
			t.Errorf("the origin of no copy: %v", err3)
		}
		return first(err, err2)
	})
}

// TestHandedOut lists units with whose they are, and when their second half ended: by itself or with its outing.
func TestHandedOut(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a, b := w.enrol(t), w.enrol(t)
	second := a.period
	second.ID, second.Half, second.StartedAt = newID(), 2, dawn.Add(time.Hour)
	over := trial.OutingEnd{EndedAt: dawn.Add(2 * time.Hour), Reason: "planned", ReceivedAt: server, SentDigest: digest("end")}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.InsertPeriod(ctx, second), tx.EndOuting(ctx, w.trial.ID, a.outing.ID, over))
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		units, err := tx.HandedOutOf(ctx, w.trial.ID)
		same(t, "units", units, []trial.HandedOut{
			{Unit: a.unit, Pseudonym: a.enrolment.Pseudonym, FishedAt: &over.EndedAt}, {Unit: b.unit, Pseudonym: b.enrolment.Pseudonym},
		})
		return err
	})
}

// TestPublicationJobs: an edition that has to wait is asked for again without counting as tried, one that cannot be made is
// marked as failed in the end.
func TestPublicationJobs(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	var calls atomic.Int32
	w.publish(t)
	// The queue waits longer after each failure; two attempts are enough here.
	if _, err := connect(t, w.store.URL()).Exec(t.Context(), `UPDATE jobs.river_job SET max_attempts = 2 WHERE kind = 'publication'`); err != nil {
		t.Fatal(err)
	}
	jobs, err := db.NewJobs(w.store, db.Work{EachMinute: minute(none), Publish: func(_ context.Context, id trial.ID, n int) error {
		if n == 2 {
			return nil // asked for at the end, to see that it may be
		}
		if id != w.trial.ID || n != 1 {
			t.Errorf("edition %d of %s is made", n, id)
		}
		if calls.Add(1) == 1 {
			return trial.ErrNotYet
		}
		return errors.New("the disk is full")
	}})
	if err != nil {
		t.Fatal(err)
	}
	if err := jobs.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
		defer cancel()
		if err := jobs.Stop(ctx); err != nil {
			t.Errorf("stop: %v", err)
		}
	})
	eventually(t, "the failure", func() bool { return w.editions(t)[0].State == trial.EditionFailed })
	if n := calls.Load(); n != 3 {
		t.Errorf("the edition was tried %d times; one waited, two may fail", n)
	}
	if w.publish(t).Edition != 2 {
		t.Error("a failed edition stands in the way of the next")
	}
}
