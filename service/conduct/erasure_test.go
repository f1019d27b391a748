package conduct_test

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/db"
	"evenrig/db/dbtest"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// newOpenWorld is newWorld with a connection of the test's own into its database.
func newOpenWorld(t testing.TB) (*world, *pgx.Conn) {
	t.Helper()
	url := dbtest.URL(t)
	store := must(db.Open(t.Context(), url, slog.New(slog.DiscardHandler)))(t)
	t.Cleanup(store.Close)
	w := &world{t: t, ctx: context.Background(), store: store, clock: &clock{now: morning}}
	w.s = w.service(1)
	config := must(pgx.ParseConfig(strings.Replace(url, "pool_max_conns=8", "", 1)))(t)
	conn := must(pgx.ConnectConfig(t.Context(), config))(t)
	t.Cleanup(func() { _ = conn.Close(context.Background()) })
	return w, conn
}

func texts(t *testing.T, conn *pgx.Conn, sql string, args ...any) []string {
	t.Helper()
	rows := must(conn.Query(t.Context(), sql, args...))(t)
	return must(pgx.CollectRows(rows, pgx.RowTo[string]))(t)
}

// holding lists the rows of the database's tables that hold one of the words, as text or as bytes.
func holding(t *testing.T, conn *pgx.Conn, words ...string) (found []string) {
	t.Helper()
	var wanted []string
	for _, word := range words {
		wanted = append(wanted, word, hex.EncodeToString([]byte(word)))
	}
	for _, table := range texts(t, conn, `SELECT format('%I.%I', schemaname, tablename) FROM pg_tables WHERE schemaname IN ('public', 'jobs')`) {
		for _, row := range texts(t, conn, `SELECT t::text FROM `+table+` t`) {
			if slices.ContainsFunc(wanted, func(word string) bool { return strings.Contains(row, word) }) {
				found = append(found, table+": "+row)
			}
		}
	}
	return found
}

// everythingTold is what people in each role can get out of the server about the trial, one line an answer.
func everythingTold(w *world, e *contest, at target) (lines []string) {
	for _, who := range []trial.Actor{e.organiser, e.eyes, e.anglers[1]} {
		for name, call := range calls {
			if slices.Contains([]string{"MoveTrial", "Withdraw", "RemoveMember", "Members", "Enrol", "BringGuest", "PrintSlips", "TypeCard", "KeepUnit", "OpenOuting"}, name) {
				continue
			}
			answer, err := call(w, who, at)
			text := must(json.Marshal(answer))(w.t)
			lines = append(lines, fmt.Sprintf("%s: %s %v", name, text, err))
		}
	}
	return lines
}

// An angler who has the records erased is found nowhere any more: in no table, in no bytes, in no answer. The looks that
// counted the angler keep what they decided, and are not made again; what is counted at the end holds the others alone.
func TestErasedIsNowhere(t *testing.T) {
	t.Parallel()
	w, conn := newOpenWorld(t)
	e := w.newClub("Wend Grayling Club", 7).opened(lookSheet())
	gone := e.anglers[0]
	word, _, err := w.s.GiveWord(w.ctx, gone, e.trial, "Schleienzopf")
	w.ok(err)
	rods := e.joinAll()
	r := rods[0]
	pseudonym := must(w.s.Enrolment(w.ctx, gone, e.trial))(t).Pseudonym
	e.day(rods, 1, inTurn)
	fish := must(w.s.Catches(w.ctx, gone, e.trial, everything))(t)
	must(w.s.AmendCatch(w.ctx, gone, e.trial, fish[0].Catch.ID, patchOf(t, 1, map[string]any{"note": "under the third alder"})))(t)
	outings := must(w.s.Outings(w.ctx, gone, e.trial, everything))(t)
	d := trial.Deviation{ID: w.id(), OutingID: outings[0].Outing.ID, Kind: trial.OffTrial, FromAt: w.clock.read().Add(-time.Minute), Note: "in the alder again"}
	must(w.s.ReportDeviation(w.ctx, gone, e.trial, d))(t)
	must(w.s.MeasureWater(w.ctx, gone, e.trial, trial.Temperature{ID: w.id(), OutingID: outings[0].Outing.ID, At: outings[0].Outing.StartedAt.Add(time.Minute), Water: trial.Measure{Value: 11.125, Unit: "C"}}))(t)
	theirs := must(w.s.Catches(w.ctx, e.anglers[1], e.trial, everything))(t)[0].Catch
	must(w.s.FileDispute(w.ctx, gone, e.trial, theirs.ID, "I saw it foul hooked, by the alder"))(t)
	must(w.s.FileDispute(w.ctx, e.eyes, e.trial, fish[1].Catch.ID, "nobody saw that one landed"))(t)
	must(w.s.Ask(w.ctx, gone, e.trial, "Why was the long glide left out?"))(t)
	w.ok(w.s.SetNoters(w.ctx, gone, e.trial, []trial.ID{e.anglers[1].AccountID}))
	w.ok(w.s.SetNoters(w.ctx, e.anglers[1], e.trial, []trial.ID{gone.AccountID, e.anglers[2].AccountID}))
	w.ok(w.s.LookWhenDue(w.ctx))
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	e.day(rods, 1, inTurn)
	w.ok(w.s.LookWhenDue(w.ctx)) // queued when the angler goes
	before := e.looks()
	if len(before) != 2 || before[0].Decision != trial.GoOn || before[1].Decision != "" {
		t.Fatalf("looks %+v", before)
	}
	secrets := []string{pseudonym, hex.EncodeToString(r.code[:]), r.enrolment.String() + "\",\"private", "under the third alder", "in the alder again", "11.125", "nobody saw that one landed"}
	for _, f := range must(w.s.Catches(w.ctx, gone, e.trial, everything))(t) {
		secrets = append(secrets, f.Catch.ID.String(), hex.EncodeToString(f.Catch.ID[:]))
	}
	for _, o := range must(w.s.Outings(w.ctx, gone, e.trial, everything))(t) {
		secrets = append(secrets, o.Outing.ID.String())
	}
	for _, u := range must(w.s.Units(w.ctx, gone, e.trial))(t) {
		secrets = append(secrets, u.Unit.ID.String())
	}
	if len(holding(t, conn, secrets...)) < 40 {
		t.Fatal("the test does not find what is there")
	}
	progress := must(w.s.Progress(w.ctx, e.organiser, e.trial))(t)

	w.ok(w.s.Withdraw(w.ctx, gone, e.trial, true))
	wantNowhere := func(when string) {
		t.Helper()
		for _, row := range holding(t, conn, secrets...) {
			t.Errorf("%s there is still %.200s", when, row)
		}
		for _, table := range texts(t, conn, `
SELECT DISTINCT table_name::text FROM information_schema.columns c WHERE table_schema = 'public' AND column_name = 'trial_id'`) {
			for _, row := range texts(t, conn, `SELECT t::text FROM `+table+` t`) {
				if strings.Contains(row, gone.AccountID.String()) || strings.Contains(row, hex.EncodeToString(gone.AccountID[:])) {
					t.Errorf("%s table %s knows the account: %.200s", when, table, row)
				}
				if strings.Contains(row, r.enrolment.String()) && !slices.Contains([]string{"enrolments", "tombstones", "ledger_heads", "ledger_entries", "checkpoint_moves"}, table) {
					t.Errorf("%s table %s knows the enrolment: %.200s", when, table, row)
				}
			}
		}
		if c := must(w.s.Check(w.ctx))(t); len(c.Faults) > 0 {
			t.Errorf("%s the records do not agree: %q", when, c.Faults)
		}
		for _, line := range everythingTold(w, e, target{club: e.id, trial: e.trial, catch: fish[0].Catch.ID, outing: outings[0].Outing.ID, analysis: 1}) {
			for _, secret := range secrets[:2] {
				if strings.Contains(line, secret) {
					t.Errorf("%s somebody is told %.300s", when, line)
				}
			}
		}
	}
	wantNowhere("once erased")
	if words := texts(t, conn, `SELECT word FROM draw_words WHERE account_id IS NULL`); len(words) != 1 || len(word.Words) != 1 {
		t.Errorf("the word stays in the draw without its giver: %q", words)
	}
	after := must(w.s.Progress(w.ctx, e.organiser, e.trial))(t)
	if after.Effort.ErasedAnglers != 1 || after.Effort.ErasedFish != 8 || after.Catches != progress.Catches-8 || after.Effort.Enrolled != progress.Effort.Enrolled-1 {
		t.Errorf("progress %+v, before %+v", after, progress)
	}

	// The look that was queued decides nothing; its job ends without a word; nothing is looked at again.
	w.ok(w.s.Analyse(w.ctx, e.trial, 2))
	w.ok(w.s.LookWhenDue(w.ctx))
	looks := e.looks()
	if len(looks) != 2 || looks[0].Decision != trial.GoOn || looks[1].Decision != trial.NoDecision || !looks[0].Withdrawn || !looks[1].Withdrawn || looks[0].Fish != before[0].Fish {
		t.Errorf("looks after erasing %+v", looks)
	}
	_, err = w.s.SubmitCatch(w.ctx, gone, e.trial, fish[0].Catch)
	wantKind(t, err, trial.Gone, "record.erased")

	// The closing analysis counts who remains.
	e.day(rods[1:], 2, inTurn)
	e.lock()
	closing := must(w.s.Trial(w.ctx, e.organiser, e.trial))(t).Closing
	w.ok(w.s.Analyse(w.ctx, e.trial, closing))
	result := e.result(closing)
	if result.Counts.Anglers != 6 || result.Counts.Analysed != 96 || result.Monitoring == nil || result.Monitoring.Adjusted == nil {
		t.Errorf("the closing analysis counts %+v, monitoring %+v", result.Counts, result.Monitoring)
	}
	for _, l := range result.Monitoring.Looks[:2] {
		if l.LogOdds != nil || l.P != nil || l.Information != nil {
			t.Errorf("a withdrawn look still has numbers: %+v", l)
		}
	}
	for _, n := range []int{1, 2} {
		_, err = w.s.Analysis(w.ctx, e.organiser, e.trial, n)
		wantKind(t, err, trial.Gone, "analysis.withdrawn")
		if err == nil || !strings.Contains(err.Error(), fmt.Sprintf("analysis %d counts what remains", closing)) {
			t.Errorf("what stands in its place is not named: %v", err)
		}
	}
	wantNowhere("after locking")
}

// Who has the records erased after locking is counted no more in a closing analysis of its own, and the one before is gone
// with every byte: no two that stand differ by one angler.
func TestErasedAfterLocking(t *testing.T) {
	t.Parallel()
	w, conn := newOpenWorld(t)
	e := w.newClub("Wend Grayling Club", 4).opened(ruleSheet())
	rods, _ := e.season(func(n int) string { return []string{"C", "N", "C"}[n%3] })
	pseudonyms := map[*rod]string{}
	for _, r := range rods {
		pseudonyms[r] = must(w.s.Enrolment(w.ctx, r.actor, e.trial))(t).Pseudonym
	}
	e.lock()
	view := func() conduct.TrialView { return must(w.s.Trial(w.ctx, e.organiser, e.trial))(t) }
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	first := must(w.s.Analysis(w.ctx, e.organiser, e.trial, 1))(t)
	for i, r := range rods[:2] {
		w.clock.move(time.Hour)
		w.ok(w.s.Withdraw(w.ctx, r.actor, e.trial, true))
		if n := view().Closing; n != i+2 {
			t.Fatalf("after %d erasures the closing analysis is number %d", i+1, n)
		}
	}
	w.ok(w.s.Analyse(w.ctx, e.trial, 2)) // withdrawn while it was queued
	w.ok(w.s.Analyse(w.ctx, e.trial, 3))
	for n := 1; n <= 2; n++ {
		_, err := w.s.Analysis(w.ctx, e.organiser, e.trial, n)
		wantKind(t, err, trial.Gone, "analysis.withdrawn")
		err = w.s.Report(w.ctx, e.organiser, e.trial, n, conduct.ReportPage, &strings.Builder{})
		wantKind(t, err, trial.Gone, "analysis.withdrawn")
	}
	if result := e.result(3); result.Counts.Anglers != 2 || len(result.Anglers) != 2 || result.Counts.Analysed != 32 {
		t.Errorf("the closing analysis counts %+v", result.Counts)
	}
	list := must(w.s.Analyses(w.ctx, e.eyes, e.trial))(t)
	points := must(w.s.Checkpoints(w.ctx, e.eyes, e.trial))(t)
	checkpoints := map[int64]bool{}
	for _, c := range points {
		checkpoints[c.N] = true
	}
	for i, a := range list {
		withdrawn := i < 2
		a = w.stored(e.trial, a.N)
		if (a.State == trial.Withdrawn) != withdrawn || (len(a.Input)+len(a.Result) == 0) != withdrawn || !checkpoints[a.Checkpoint] || i > 0 && a.Checkpoint == list[i-1].Checkpoint {
			t.Errorf("analysis %d stands as %s at checkpoint %d with %d bytes", a.N, a.State, a.Checkpoint, len(a.Input)+len(a.Result))
		}
	}
	if list[0].Fingerprint != first.Fingerprint {
		t.Error("the withdrawn analysis lost its fingerprint")
	}
	if found := holding(t, conn, pseudonyms[rods[0]], pseudonyms[rods[1]]); len(found) > 0 {
		t.Errorf("the erased anglers are still in %.300s", found)
	}
	if found := holding(t, conn, pseudonyms[rods[2]]); len(found) == 0 {
		t.Error("the test does not find who remains")
	}
	var table strings.Builder
	w.ok(w.s.ExportCatches(w.ctx, e.organiser, e.trial, &table))
	if strings.Count(table.String(), "\n") != 33 {
		t.Errorf("the catch table has %d lines, want 33", strings.Count(table.String(), "\n"))
	}
	w.wantSound()
}

// A look whose count holds an angler who goes at the moment it is computed is decided once, one way or the other, and nothing
// of it is left.
func TestErasedWhileALookIsComputed(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 6).opened(lookSheet())
	rods := e.joinAll()
	e.day(rods, 1, inTurn)
	w.ok(w.s.LookWhenDue(w.ctx))
	errs := w.together(func(n int, s *conduct.Service) error {
		switch n {
		case 0:
			return s.Withdraw(w.ctx, rods[0].actor, e.trial, true)
		case 1:
			return s.Analyse(w.ctx, e.trial, 1)
		}
		return nil
	})
	wantWon(t, "erase and look", errs, 4, trial.Internal)
	look := e.looks()[0]
	if !look.Withdrawn || look.Decision != trial.NoDecision && look.Decision != trial.GoOn {
		t.Errorf("the look stands as %+v", look)
	}
	w.ok(w.store.InReadTx(w.ctx, func(ctx context.Context, tx trial.ReadTx) error {
		a, err := tx.AnalysisBy(ctx, e.trial, 1)
		if a.State != trial.Withdrawn || len(a.Input)+len(a.Result) > 0 {
			t.Errorf("the look's analysis stands as %+v", a)
		}
		return err
	}))
	w.wantSound()
}

// Who erases the account is known to the server by nothing any more, and cannot sign in; the last things to leave are the clubs.
func TestErasedAccount(t *testing.T) {
	t.Parallel()
	w, conn := newOpenWorld(t)
	c := w.newClub("Wend Grayling Club", 1)
	e := c.opened(ruleSheet())
	_, secret, err := w.s.Invite(w.ctx, c.founder, c.id, trial.Angler, 1, "Quirin Heron")
	w.ok(err)
	joined := must(w.s.AcceptInvitation(w.ctx, nil, secret, "Quirin Heron", false))(t)
	gone := must(w.s.Authenticate(w.ctx, joined.Secret))(t)
	w.setSignIn(gone, "quirin@example.org", "four slow herons wading")
	session := w.session("quirin@example.org", "four slow herons wading")
	r, _, _, period := e.inAPeriod(gone)
	r.land(period, "C")
	erase := func(password string, keep bool) error { return w.s.EraseAccount(w.ctx, gone, password, keep) }
	wantKind(t, erase("another", false), trial.Forbidden, "password.wrong")
	wantKind(t, erase("four slow herons wading", true), trial.Conflict, "account.member")
	wantKind(t, w.s.EraseAccount(w.ctx, c.founder, "", false), trial.Conflict, "account.admin")
	w.ok(w.s.RemoveMember(w.ctx, gone, c.id, gone.AccountID))
	wantKind(t, erase("four slow herons wading", false), trial.Conflict, "account.records")
	if len(holding(t, conn, "Quirin Heron", "quirin@example.org")) < 2 {
		t.Fatal("the test does not find what is there")
	}
	w.ok(erase("four slow herons wading", true))
	if found := holding(t, conn, "Quirin Heron", "quirin@example.org"); len(found) > 0 {
		t.Errorf("there is still %.300s", found)
	}
	_, err = w.s.Authenticate(w.ctx, joined.Secret)
	wantKind(t, err, trial.Unauthenticated, "token.invalid")
	_, err = w.s.Me(w.ctx, session)
	if err == nil {
		me := must(w.s.Me(w.ctx, session))(t)
		if me.Account.Name != "" || len(me.Clubs) > 0 {
			t.Errorf("the account still says %+v", me)
		}
	}
	if p := must(w.s.Progress(w.ctx, e.organiser, e.trial))(t); p.Catches != 1 || p.Effort.Enrolled != 1 {
		t.Errorf("the records that stay are counted: %+v", p)
	}
	for _, x := range must(w.s.Enrolments(w.ctx, e.organiser, e.trial))(t) {
		if !x.AccountID.IsZero() || x.Name != "" {
			t.Errorf("an enrolment still says whose it is: %+v", x)
		}
	}
	w.wantSound()
}
