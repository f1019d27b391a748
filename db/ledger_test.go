package db_test

import (
	"context"
	"encoding/json"
	"testing"
	"time"

	"evenrig/service/trial"
)

func TestCounts(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a, b := w.enrol(t), w.enrol(t)
	tally := trial.Tally{
		Angler: a.enrolment.Pseudonym, Outing: "o", Block: "b", Period: "1", Arrangement: trial.TestLower, Taken: trial.TookTest,
		Species: "Thymallus thymallus", Origin: trial.Wild, Month: "2026-09", Week: "2026-W36", Exclusion: trial.Double, N: 3,
		Half: 2, Drawn: trial.ControlLower, Finished: true, OpenedLate: true, Late: true, Deviated: true, DisputedOnly: true, WaterType: "river", Fly: "tag", Columns: `{"hatch":"olives"}`, Welfare: "dead",
	}
	count := trial.EnrolmentCount{
		EnrolmentID: a.enrolment.ID, Pseudonym: a.enrolment.Pseudonym, HeadN: 1, CountedAt: 1, Tallies: []trial.Tally{tally},
		Effort: trial.Effort{Enrolled: 1, Outings: 2, BlankOutings: 3, Blocks: 4, FinishedBlocks: 5, NotLogged: 6, Deviations: 7, LateNoted: 8, ErasedAnglers: 9, ErasedFish: 10, PhoneBlocks: 11, SlipBlocks: 12, CoinBlocks: 13, LostUnits: 14, Guests: 15, TypedFish: 16, Cards: 17},
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

	// A count by other rules than these, of another release's program beside this one, is never taken for one of these. Of two that of
	// the newer rules stays.
	conn := connect(t, w.store.URL())
	for _, c := range []struct {
		rules int64
		keeps bool // what is counted by these rules
	}{{0, true}, {trial.CountingRules + 1, false}} {
		if _, err := conn.Exec(t.Context(), `UPDATE counts SET counted_at = $1, tallies = '[]'`, c.rules<<40+1); err != nil {
			t.Fatal(err)
		}
		current := func() (is bool) {
			read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
				all, err := tx.CountsOf(ctx, w.trial.ID)
				is = all[0].CountedAt == all[0].HeadN
				return err
			})
			return is
		}
		if current() {
			t.Errorf("a count by rules %d is taken for one by rules %d", c.rules, trial.CountingRules)
		}
		write(t, w.store, func(ctx context.Context, tx trial.Tx) error { return tx.SaveCount(ctx, w.trial.ID, count) })
		if current() != c.keeps {
			t.Errorf("beside one by rules %d a new count is kept: %v", c.rules, !c.keeps)
		}
	}
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
			return first(err, err2, tx.InsertCheckpoint(ctx, taken, heads))
		})
		return taken
	}
	movedBut := func(settled time.Time, want ...trial.ID) {
		t.Helper()
		read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
			got, err := tx.TrialsMoved(ctx, settled)
			same(t, "trials that moved", got, append([]trial.ID{}, want...))
			return err
		})
	}
	moved := func(want ...trial.ID) {
		t.Helper()
		movedBut(time.Time{}, want...)
	}
	moved(w.trial.ID, quiet.ID)
	if _, err := connect(t, w.store.URL()).Exec(t.Context(), `UPDATE trials SET state = 'locked', closed_at = $2, locked_at = $2 WHERE id = $1`, quiet.ID, server); err != nil {
		t.Fatal(err)
	}
	moved(w.trial.ID, quiet.ID)
	movedBut(server, w.trial.ID, quiet.ID)
	movedBut(server.Add(time.Second), w.trial.ID)
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
		moves, err4 := tx.CheckpointMovesOf(ctx, w.trial.ID)
		chain := a.enrolment.ChainID
		same(t, "moves", moves, []trial.CheckpointMove{{Checkpoint: 1, ChainID: w.trial.ID, N: 0}, {Checkpoint: 1, ChainID: chain, N: 0}, {Checkpoint: 2, ChainID: chain, N: 1}, {Checkpoint: 3, ChainID: chain, N: 2}})
		none, err3 := tx.LastCheckpoint(ctx, newID())
		if none != nil {
			t.Errorf("a trial that is not there has the checkpoint %+v", none)
		}
		return first(err, err2, err3, err4)
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
	withdrawn := done
	withdrawn.WithdrawnAt = pointer(server.Add(time.Hour))
	filled(t, withdrawn) // one that is withdrawn has no input any more, so that no row has them all
	failed := other
	failed.State, failed.Failure = trial.Failed, "too few anglers"
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		late := done
		late.Result = []byte("another")
		for _, end := range []struct {
			a    trial.Analysis
			want bool
		}{{done, true}, {late, false}, {failed, true}} {
			if finished, err := tx.FinishAnalysis(ctx, end.a); err != nil || finished != end.want {
				t.Errorf("analysis %d finished as %s: %t, %v", end.a.N, end.a.State, finished, err)
			}
		}
		return nil
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		got, err := tx.AnalysisBy(ctx, w.trial.ID, 1)
		same(t, "finished analysis", got, done)
		all, err2 := tx.AnalysesOf(ctx, w.trial.ID)
		stateOf := func(a trial.Analysis) trial.Analysis {
			a.Input, a.Result = nil, nil
			return a
		}
		same(t, "analyses", all, []trial.Analysis{stateOf(done), stateOf(failed)})
		state, err3 := tx.AnalysisStateBy(ctx, w.trial.ID, 1)
		same(t, "an analysis's state", state, stateOf(done))
		return first(err, err2, err3)
	})
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		next, err := tx.EnqueueAnalysis(ctx, trial.Analysis{TrialID: w.trial.ID, State: trial.Queued, Checkpoint: 8, RequestedAt: server, ProtocolVersion: 1})
		if next.N != 3 {
			t.Errorf("after a failed analysis another got number %d, want 3", next.N)
		}
		return err
	})
	err := w.store.InTx(t.Context(), func(ctx context.Context, tx trial.Tx) error {
		_, err := tx.FinishAnalysis(ctx, trial.Analysis{TrialID: w.trial.ID, N: 9, State: trial.Done})
		return err
	})
	if trial.KindOf(err) != trial.NotFound {
		t.Errorf("finishing an analysis that is not there gives %v", err)
	}
}

// TestWithdrawAnalyses withdraws what was asked for since an angler joined, whatever became of it, and what holds the
// pseudonym. A look keeps its decision alone; a job that is under way ends without a word.
func TestWithdrawAnalyses(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a := w.enrol(t)
	ask := func(checkpoint int64, at time.Time, input string) (asked trial.Analysis) {
		write(t, w.store, func(ctx context.Context, tx trial.Tx) (err error) {
			asked, err = tx.EnqueueAnalysis(ctx, trial.Analysis{
				TrialID: w.trial.ID, State: trial.Queued, Checkpoint: checkpoint, RequestedAt: at, ProtocolVersion: 1, Settings: json.RawMessage("{}"), Input: []byte(input),
			})
			return err
		})
		return asked
	}
	before := a.enrolment.EnrolledAt.Add(-time.Second)
	after := a.enrolment.EnrolledAt.Add(time.Second)
	untouched := ask(1, before, `{"angler":"else"}`)
	slow := ask(2, before, `{"angler":"`+a.enrolment.Pseudonym+`"}`) // asked for by a process whose clock is behind
	judged, queued := ask(3, after, "{}"), ask(4, after, "{}")
	number := .25
	look := func(of trial.Analysis, n int) trial.Look {
		return trial.Look{TrialID: w.trial.ID, N: n, Analysis: of.N, Checkpoint: of.Checkpoint, At: after, Fish: 24, Anglers: 6}
	}
	decided := look(judged, 1)
	decided.Decision, decided.LogOdds, decided.Information, decided.P = trial.GoOn, &number, &number, &number
	at := after.Add(time.Hour)
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		done := judged
		done.State, done.FinishedAt, done.Result, done.Fingerprint = trial.Done, &after, []byte("{}"), digest("input")
		_, err := tx.FinishAnalysis(ctx, done)
		return first(err, tx.InsertLook(ctx, look(judged, 1)), tx.DecideLook(ctx, decided), tx.InsertLook(ctx, look(queued, 2)),
			tx.WithdrawAnalyses(ctx, a.enrolment, at), tx.WithdrawAnalyses(ctx, a.enrolment, at.Add(time.Hour)))
	})
	read(t, w.store, func(ctx context.Context, tx trial.ReadTx) error {
		all, err := tx.AnalysesOf(ctx, w.trial.ID)
		for i, withdrawn := range []bool{false, true, true, true} {
			got, err := tx.AnalysisBy(ctx, w.trial.ID, i+1)
			if err != nil {
				return err
			}
			all[i] = got
			if (got.State == trial.Withdrawn) != withdrawn || (len(got.Input)+len(got.Result) == 0) != withdrawn || withdrawn && !got.WithdrawnAt.Equal(at) {
				t.Errorf("analysis %d stands as %+v", got.N, got)
			}
		}
		if all[0].State != trial.Queued || string(all[0].Input) != string(untouched.Input) || all[2].Fingerprint != digest("input") {
			t.Errorf("analyses %+v", all)
		}
		looks, err2 := tx.LooksOf(ctx, w.trial.ID)
		decided.LogOdds, decided.Information, decided.P, decided.Withdrawn = nil, nil, nil, true
		undecided := look(queued, 2)
		undecided.Decision, undecided.Withdrawn = trial.NoDecision, true
		same(t, "looks", looks, []trial.Look{decided, undecided})
		return first(err, err2)
	})
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		late := slow
		late.State, late.Result = trial.Done, []byte("{}")
		if finished, err := tx.FinishAnalysis(ctx, late); finished || err != nil {
			t.Errorf("a withdrawn analysis was finished: %t, %v", finished, err)
		}
		next, err := tx.EnqueueAnalysis(ctx, trial.Analysis{TrialID: w.trial.ID, State: trial.Queued, Checkpoint: 4, RequestedAt: at, ProtocolVersion: 1})
		if next.N != 5 {
			t.Errorf("on a withdrawn analysis's checkpoint another got number %d, want 5", next.N)
		}
		return err
	})
}
