package trial_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"evenrig/service/trial"
)

var (
	angler   = madeUp(801)
	stranger = madeUp(802)
)

// submission is the good fish on its way in, and what the store knows when nothing is wrong with it.
func submission() (trial.CatchSubmission, trial.Standing) {
	f := goodFish()
	f.catch.EnrolmentID, f.catch.Version = trial.ID{}, 0
	f.catch.SentDigest = trial.Digest{1}
	s := trial.CatchSubmission{Account: angler, Protocol: &f.protocol, Catch: f.catch}
	open := inState(trial.Open)
	open.RegisteredAt = ptr(noon.AddDate(0, 0, -10))
	return s, trial.Standing{Trial: open, Enrolment: trial.Enrolment{ID: madeUp(3), AccountID: angler}, Period: &f.period}
}

func TestSettle(t *testing.T) {
	stored := func(change func(c *trial.Catch)) func(s *trial.CatchSubmission, now *trial.Standing) {
		return func(s *trial.CatchSubmission, now *trial.Standing) {
			c := s.Catch
			c.EnrolmentID, c.Version = madeUp(3), 1
			change(&c)
			now.Stored, now.StoredAccount = &c, angler
		}
	}
	same := func(*trial.Catch) {}
	for _, c := range []struct {
		name   string
		change func(s *trial.CatchSubmission, now *trial.Standing)
		insert bool
		replay bool
		kind   trial.Kind
		code   string
	}{
		{name: "a new fish", change: func(*trial.CatchSubmission, *trial.Standing) {}, insert: true},
		{name: "the same record again", change: stored(same), replay: true},
		{name: "again after a correction", change: stored(func(c *trial.Catch) { c.Version, c.TakenPattern = 3, "N" }), replay: true},
		{name: "again after it was voided", change: stored(func(c *trial.Catch) { c.Version, c.Void = 2, true }), replay: true},
		{name: "again after the trial closed", change: func(s *trial.CatchSubmission, now *trial.Standing) {
			stored(same)(s, now)
			now.Trial = inState(trial.Closed)
			now.Trial.ClosedAt = ptr(noon.Add(-time.Hour))
		}, replay: true},
		{name: "again after it was locked", change: func(s *trial.CatchSubmission, now *trial.Standing) {
			stored(same)(s, now)
			now.Trial = inState(trial.Locked)
		}, replay: true},
		{name: "again after the angler left", change: func(s *trial.CatchSubmission, now *trial.Standing) {
			stored(same)(s, now)
			now.Enrolment.LeftAt = &noon
		}, replay: true},
		{name: "other content under its id", change: stored(func(c *trial.Catch) { c.SentDigest = trial.Digest{2} }), kind: trial.Conflict, code: "record.conflict"},
		{name: "a stranger's id", change: func(s *trial.CatchSubmission, now *trial.Standing) {
			stored(same)(s, now)
			now.StoredAccount = stranger
		}, kind: trial.Conflict, code: "record.conflict"},
		{name: "a stranger's id, in his period", change: func(s *trial.CatchSubmission, now *trial.Standing) {
			stored(same)(s, now)
			now.StoredAccount, now.Enrolment.AccountID = stranger, stranger
		}, kind: trial.Conflict, code: "record.conflict"},
		{name: "erased", change: func(s *trial.CatchSubmission, now *trial.Standing) { now.Erased = true }, kind: trial.Gone, code: "record.erased"},
		{name: "erased, its row still there", change: func(s *trial.CatchSubmission, now *trial.Standing) {
			stored(same)(s, now)
			now.StoredAccount, now.Erased = trial.ID{}, true
		}, kind: trial.Gone, code: "record.erased"},
		{name: "no such period", change: func(s *trial.CatchSubmission, now *trial.Standing) { now.Period = nil }, kind: trial.NotFound, code: "not_found"},
		{name: "another angler's period", change: func(s *trial.CatchSubmission, now *trial.Standing) { now.Enrolment.AccountID = stranger }, kind: trial.NotFound, code: "not_found"},
		{name: "into an erased enrolment", change: func(s *trial.CatchSubmission, now *trial.Standing) { now.Enrolment.ErasedAt = &noon }, kind: trial.Gone, code: "record.erased"},
		{name: "before registration", change: func(s *trial.CatchSubmission, now *trial.Standing) {
			s.Catch.CaughtAt = noon.AddDate(0, 0, -12)
		}, kind: trial.Conflict, code: "trial.before"},
		{name: "in a trial not yet open", change: func(s *trial.CatchSubmission, now *trial.Standing) { now.Trial.State = trial.Registered }, kind: trial.Conflict, code: "trial.state"},
		{name: "in an abandoned trial", change: func(s *trial.CatchSubmission, now *trial.Standing) { now.Trial.State = trial.Abandoned }, kind: trial.Conflict, code: "trial.state"},
		{name: "after closing", change: func(s *trial.CatchSubmission, now *trial.Standing) {
			now.Trial = inState(trial.Closed)
		}, kind: trial.Conflict, code: "trial.closed"},
		{name: "before closing, arriving after it", change: func(s *trial.CatchSubmission, now *trial.Standing) {
			now.Trial = inState(trial.Closed)
			now.Trial.ClosedAt = ptr(noon.Add(time.Hour))
		}, insert: true},
		{name: "in a pause", change: func(s *trial.CatchSubmission, now *trial.Standing) { now.Trial = inState(trial.Paused) }, insert: true},
		{name: "pattern and position that do not fit", change: func(s *trial.CatchSubmission, now *trial.Standing) {
			s.Catch.TakenPosition = trial.Upper
		}, kind: trial.Invalid, code: "catch.disagrees"},
		{name: "pattern and position that fit the rig the wrong way round", change: func(s *trial.CatchSubmission, now *trial.Standing) {
			s.Catch.TakenPosition = trial.Upper
			now.Deviations = []trial.Deviation{{Kind: trial.WrongWayRound, PeriodID: s.Catch.PeriodID, FromAt: noon}}
		}, insert: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, now := submission()
			c.change(&s, &now)
			insert, replay, err := s.Settle(now)
			if replay != c.replay {
				t.Errorf("replay %t, want %t", replay, c.replay)
			}
			if c.code != "" {
				wantKind(t, err, c.kind, c.code)
			} else if err != nil {
				t.Fatal(err)
			}
			if !c.insert {
				if insert != (trial.Catch{}) {
					t.Errorf("something to insert: %+v", insert)
				}
				return
			}
			want := s.Catch
			want.EnrolmentID, want.Version = madeUp(3), 1
			if insert != want {
				t.Errorf("insert %+v, want %+v", insert, want)
			}
		})
	}
}

// What arrives after locking is kept, counted and marked, never analysed.
func TestSettleAfterLock(t *testing.T) {
	for _, state := range []trial.State{trial.Locked, trial.Published} {
		s, now := submission()
		now.Trial = inState(state)
		now.Trial.ClosedAt = ptr(noon.Add(time.Hour))
		insert, replay, err := s.Settle(now)
		if err != nil || replay || !insert.AfterLock {
			t.Fatalf("%s: %+v, replay %t, %v", state, insert, replay, err)
		}
		f := goodFish()
		f.catch = insert
		if got := f.excluded(); got != trial.AfterLock {
			t.Errorf("%s: excluded %q, want after_lock", state, got)
		}
	}
}

// A conflict says nothing of the record that stands: whatever it holds and whoever's it is, the answer is the same.
func TestConflictTellsNothing(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s, now := submission()
		theirs := goodFish().catch
		theirs.TakenPattern = rapid.SampledFrom([]string{"C", "N", "unknown", "other"}).Draw(rt, "pattern")
		theirs.Note = rapid.StringN(0, 20, -1).Draw(rt, "note")
		theirs.Void = rapid.Bool().Draw(rt, "void")
		theirs.SentDigest = trial.Digest{2}
		now.Stored, now.StoredAccount = &theirs, rapid.SampledFrom([]trial.ID{angler, stranger}).Draw(rt, "whose")
		_, _, err := s.Settle(now)
		plain, at := submission()
		fixed := goodFish().catch
		at.Stored, at.StoredAccount = &fixed, stranger
		_, _, want := plain.Settle(at)
		if err == nil || want == nil || err.Error() != want.Error() {
			rt.Errorf("%v, where a stranger's gives %v", err, want)
		}
	})
}
