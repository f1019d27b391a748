package db_test

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"reflect"
	"testing"
	"time"

	"github.com/google/uuid"

	"evenrig/db"
	"evenrig/db/dbtest"
	"evenrig/service/trial"
)

// In these tests the bank is two hours and, for a second angler, five and a half hours ahead of UTC.
var (
	bank   = time.FixedZone("", 2*3600)
	inland = time.FixedZone("", 5*3600+30*60)
	dawn   = time.Date(2026, 9, 5, 6, 0, 0, 123_456_000, bank)
	server = time.Date(2026, 9, 5, 4, 0, 1, 0, time.UTC)
)

func newID() trial.ID { return trial.ID(uuid.Must(uuid.NewV7())) }

func digest(text string) trial.Digest { return sha256.Sum256([]byte(text)) }

func pointer[T any](v T) *T { return &v }

// write runs do in a transaction and fails the test when it fails.
func write(t testing.TB, s *db.Store, do func(ctx context.Context, tx trial.Tx) error) {
	t.Helper()
	if err := s.InTx(t.Context(), do); err != nil {
		t.Fatal(err)
	}
}

// read runs do on a snapshot and fails the test when it fails.
func read(t testing.TB, s *db.Store, do func(ctx context.Context, tx trial.ReadTx) error) {
	t.Helper()
	if err := s.InReadTx(t.Context(), do); err != nil {
		t.Fatal(err)
	}
}

// same fails the test unless got and want read alike: times with their offsets, pointers by what they point to.
func same(t testing.TB, what string, got, want any) {
	t.Helper()
	g, w := text(t, got), text(t, want)
	if g != w {
		t.Errorf("%s came back as\n%s\nwant\n%s", what, g, w)
	}
}

func text(t testing.TB, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// filled fails the test when a field of the record is zero, so that a field without a column cannot be overlooked.
func filled(t testing.TB, record any) {
	t.Helper()
	v := reflect.Indirect(reflect.ValueOf(record))
	for i := range v.NumField() {
		field := v.Type().Field(i)
		if v.Field(i).IsZero() {
			t.Errorf("%s.%s is zero in the test", v.Type(), field.Name)
		}
		inner := reflect.Indirect(v.Field(i))
		if inner.Kind() == reflect.Struct && inner.Type() != reflect.TypeFor[time.Time]() {
			filled(t, inner.Interface())
		}
	}
}

// world is a club with an open trial.
type world struct {
	store  *db.Store
	club   trial.Club
	admin  trial.Account
	trial  trial.Trial
	rules  trial.Protocol
	joined int
}

func newWorld(t testing.TB) *world {
	t.Helper()
	return newWorldOn(t, dbtest.New(t))
}

func newWorldOn(t testing.TB, store *db.Store) *world {
	t.Helper()
	w := &world{store: store}
	w.admin = trial.Account{ID: newID(), Name: "Ada Brook", Admin: true, CreatedAt: server}
	w.club = trial.Club{ID: newID(), Name: "Upper Reed Grayling Club", CreatedAt: server}
	w.rules = trial.Template()
	w.rules.Patterns = []trial.Pattern{{Code: "A", Name: "collared", Part: trial.Test}, {Code: "B", Name: "plain", Part: trial.Control}}
	w.rules.Species = []string{"Thymallus thymallus"}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.InsertAccount(ctx, w.admin), tx.InsertClub(ctx, w.club))
	})
	w.trial = w.newTrial(t)
	return w
}

// newTrial opens another trial of the club.
func (w *world) newTrial(t testing.TB) trial.Trial {
	t.Helper()
	opened := trial.Trial{
		ID: newID(), ClubID: w.club.ID, Title: "Collar on a nymph", State: trial.Open, Design: trial.Paired, Source: trial.Drawn,
		Revision: 1, ProtocolVersion: 1, CreatedAt: server, RegisteredAt: pointer(server.AddDate(0, -1, 0)),
	}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(tx.InsertTrial(ctx, opened), tx.InsertHead(ctx, trial.Head{TrialID: opened.ID, ChainID: opened.ID}))
	})
	return opened
}

// first returns the first error of several that stand in the order of their calls.
func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// angler is somebody with an enrolment, an outing and a period in which to catch fish.
type angler struct {
	world     *world
	account   trial.Account
	enrolment trial.Enrolment
	outing    trial.Outing
	unit      trial.Unit
	period    trial.Period
}

func (w *world) enrol(t testing.TB) *angler { return w.enrolIn(t, w.trial.ID) }

func (w *world) enrolIn(t testing.TB, id trial.ID) *angler {
	t.Helper()
	w.joined++
	a := &angler{world: w}
	a.account = trial.Account{ID: newID(), Name: fmt.Sprintf("Angler %d", w.joined), CreatedAt: server}
	a.enrolment = trial.Enrolment{
		TrialID: id, ID: newID(), AccountID: a.account.ID, Name: a.account.Name, Pseudonym: fmt.Sprintf("%06d", w.joined),
		Code: digest(fmt.Sprint("code", w.joined)), Consent: trial.Consent{TakePart: true, Store: true, PublishOpen: true}, EnrolledAt: server.Add(time.Duration(w.joined) * time.Second),
		SentDigest: digest("enrolment"),
	}
	a.enrolment.ChainID = a.enrolment.ID
	a.outing = trial.Outing{TrialID: id, ID: newID(), EnrolmentID: a.enrolment.ID, ProtocolVersion: 1, Water: "Reed, long glide", StartedAt: dawn, ReceivedAt: server, SentDigest: digest("outing"), Version: 1}
	a.unit = trial.Unit{TrialID: id, ID: newID(), EnrolmentID: a.enrolment.ID, N: 1, First: trial.TestLower, DrawnBy: trial.ByService, DrawN: 1, FetchedAt: server, OpenedAt: &dawn}
	a.period = trial.Period{
		TrialID: id, ID: newID(), EnrolmentID: a.enrolment.ID, OutingID: a.outing.ID, UnitID: a.unit.ID, Block: "1", Half: 1,
		Drawn: trial.TestLower, Fished: trial.TestLower, Confirmed: true, StartedAt: dawn, ReceivedAt: server, SentDigest: digest("period"), Version: 1,
	}
	write(t, w.store, func(ctx context.Context, tx trial.Tx) error {
		return first(
			tx.InsertAccount(ctx, a.account), tx.InsertEnrolment(ctx, a.enrolment), tx.InsertHead(ctx, trial.Head{TrialID: id, ChainID: a.enrolment.ChainID}),
			tx.InsertOuting(ctx, a.outing), tx.InsertUnit(ctx, a.unit), tx.InsertPeriod(ctx, a.period),
		)
	})
	return a
}

// fish is a submission of a new fish of the angler's.
func (a *angler) fish() trial.CatchSubmission {
	id := newID()
	c := trial.Catch{
		TrialID: a.period.TrialID, ID: id, PeriodID: a.period.ID, TakenPattern: "A", Outcome: trial.Landed, RigIntact: true,
		Species: "Thymallus thymallus", Origin: trial.Wild, CaughtAt: dawn.Add(time.Hour), NotedAt: dawn.Add(time.Hour + time.Minute),
		Length: &trial.Measure{Value: 31.5, Unit: "cm"}, NotedBy: a.account.ID, ReceivedAt: server, SentDigest: digest(id.String()),
	}
	return trial.CatchSubmission{Account: a.account.ID, Protocol: &a.world.rules, Catch: c, Parts: newParts(id.String())}
}

func newParts(what string) trial.Parts {
	p := trial.Parts{Public: []byte(`{"public":"` + what + `"}`), Private: []byte(`{"private":"` + what + `"}`)}
	rand.Read(p.PublicSalt[:])
	rand.Read(p.PrivateSalt[:])
	return p
}

// checkChain fails the test unless the chain has n entries, 1 to n, each following from the one before, the last its
// head, and every part the one that was entered.
func checkChain(t testing.TB, s *db.Store, id, chain trial.ID, n int64) (entries []trial.LedgerEntry) {
	t.Helper()
	read(t, s, func(ctx context.Context, tx trial.ReadTx) (err error) {
		if entries, err = tx.EntriesOf(ctx, id, chain); err != nil {
			return err
		}
		parts, err := tx.PartsOf(ctx, id, chain)
		if err != nil {
			return err
		}
		heads, err := tx.HeadsOf(ctx, id)
		if err != nil {
			return err
		}
		last := trial.Head{TrialID: id, ChainID: chain}
		for _, e := range entries {
			p := parts[e.N]
			if want := last.Next(e.Kind, e.Subject, p); e != want {
				t.Errorf("entry %d is %+v, want %+v", e.N, e, want)
			}
			last = e.Head()
		}
		if last.N != n {
			t.Errorf("the chain has %d entries, want %d", last.N, n)
		}
		for _, h := range heads {
			if h.ChainID == chain && h != last {
				t.Errorf("the head is %+v, the last entry's is %+v", h, last)
			}
		}
		return nil
	})
	return entries
}
