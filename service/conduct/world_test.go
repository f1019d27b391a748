package conduct_test

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"evenrig/db/dbtest"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// morning is the first day of the invented season.
var morning = time.Date(2026, 9, 1, 8, 0, 0, 0, time.UTC)

// world is a server with its own database, a clock that only moves when told and random bytes that can be had again.
type world struct {
	t     testing.TB
	ctx   context.Context
	store trial.Store
	s     *conduct.Service
	clock *clock
	made  int
}

type clock struct {
	mu  sync.Mutex
	now time.Time
}

func (c *clock) read() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *clock) move(d time.Duration) time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
	return c.now
}

// stream is SHA-256 of a running number, over and over: bytes without a pattern, the same in each run.
type stream struct {
	mu      sync.Mutex
	seed    byte
	counter uint64
	rest    []byte
}

func (s *stream) Read(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i := range p {
		if len(s.rest) == 0 {
			sum := sha256.Sum256(binary.BigEndian.AppendUint64([]byte{s.seed}, s.counter))
			s.rest, s.counter = sum[:], s.counter+1
		}
		p[i], s.rest = s.rest[0], s.rest[1:]
	}
	return len(p), nil
}

func newWorld(t testing.TB) *world {
	t.Helper()
	w := &world{t: t, ctx: context.Background(), store: dbtest.New(t), clock: &clock{now: morning}}
	w.s = w.service(1)
	return w
}

// service is one more process on the world's database; seed makes its random bytes its own.
func (w *world) service(seed byte) *conduct.Service {
	s := conduct.New(w.store, conduct.Options{
		Clock: w.clock.read, Random: &stream{seed: seed}, Key: conduct.SealKey{1, 2, 3}, Program: "test",
	})
	w.t.Cleanup(s.Close)
	return s
}

// id makes a UUID of version 7, as a phone would; the same one in each run.
func (w *world) id() trial.ID {
	w.made++
	id := trial.ID{0x01, 0x90, 0, 0, 0, 0, 0x70, 0, 0x80}
	binary.BigEndian.PutUint32(id[12:], uint32(w.made))
	return id
}

// randomID returns the next of a row of version 4 ids, as enrolments carry them.
func (w *world) randomID() trial.ID {
	id := w.id()
	id[6] = 0x40
	return id
}

// must fails the test at once when something that has to work does not.
func must[T any](v T, err error) func(t testing.TB) T {
	return func(t testing.TB) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// stored is an analysis as it is kept, with the counts that no answer carries.
func (w *world) stored(id trial.ID, n int) (a trial.Analysis) {
	w.t.Helper()
	w.ok(w.store.InReadTx(w.ctx, func(ctx context.Context, tx trial.ReadTx) (err error) {
		a, err = tx.AnalysisBy(ctx, id, n)
		return err
	}))
	return a
}

func (w *world) ok(err error) {
	w.t.Helper()
	if err != nil {
		w.t.Fatal(err)
	}
}

func (w *world) newAdmin(name string) trial.Actor {
	w.t.Helper()
	secret := must(w.s.FirstAdmin(w.ctx, name))(w.t)
	return must(w.s.Authenticate(w.ctx, secret))(w.t)
}

// club is a club with people in each role; its anglers are members, not yet in any trial.
type club struct {
	w                        *world
	id                       trial.ID
	founder, organiser, eyes trial.Actor
	anglers                  []trial.Actor
}

func (w *world) newClub(name string, anglers int) *club {
	w.t.Helper()
	c := &club{w: w, founder: w.newAdmin("founder of " + name)}
	c.id = must(w.s.CreateClub(w.ctx, c.founder, name))(w.t).ID
	c.organiser = c.invited(trial.Organiser, "secretary of "+name)
	c.eyes = c.invited(trial.Auditor, "scrutineer of "+name)
	for i := range anglers {
		c.anglers = append(c.anglers, c.invited(trial.Angler, fmt.Sprintf("angler %d of %s", i+1, name)))
	}
	return c
}

func (c *club) invited(role trial.Role, name string) trial.Actor {
	c.w.t.Helper()
	_, secret, err := c.w.s.Invite(c.w.ctx, c.founder, c.id, role, 1, "")
	c.w.ok(err)
	joined := must(c.w.s.AcceptInvitation(c.w.ctx, nil, secret, name, false))(c.w.t)
	return must(c.w.s.Authenticate(c.w.ctx, joined.Secret))(c.w.t)
}

// ruleSheet is an invented grayling trial. Fish are late after an hour, so that it can be locked an hour after closing.
func ruleSheet() trial.Protocol {
	p := trial.Template()
	p.Title = "Collar on the weighted nymph"
	p.Question = "Does a collar on the weighted nymph change the share of takes?"
	p.FeatureChanged = "an orange collar behind the bead"
	p.SeasonStart, p.SeasonEnd = "2026-09-01", "2026-11-30"
	p.Patterns = []trial.Pattern{{Code: "C", Name: "collared nymph", Part: trial.Test}, {Code: "N", Name: "plain nymph", Part: trial.Control}}
	p.Species = []string{"Thymallus thymallus"}
	p.Waters = []trial.Water{{Name: "Upper Wend", WaterType: "river"}, {Name: "Mill Reach", WaterType: "river"}}
	p.Rig.TippetMM, p.Rig.HookModel, p.Rig.HookSize = .14, "straight shank", "14"
	p.OutingLimits.LateLimitH = 1
	return p
}

func recordedSheet() trial.Protocol {
	p := ruleSheet()
	p.Source = trial.Recorded
	return p
}

// contest is an open trial of a club.
type contest struct {
	*club
	trial trial.ID
}

func (c *club) opened(p trial.Protocol) *contest {
	c.w.t.Helper()
	view := must(c.w.s.CreateTrial(c.w.ctx, c.organiser, c.id, p))(c.w.t)
	e := &contest{c, view.Trial.ID}
	e.move(trial.Registered)
	e.move(trial.Open)
	return e
}

func (e *contest) move(to trial.State) {
	e.w.t.Helper()
	_, err := e.w.s.MoveTrial(e.w.ctx, e.organiser, e.trial, to, "as planned")
	e.w.ok(err)
}

// lock closes the trial, lets the limit for late fish pass and locks it.
func (e *contest) lock() {
	e.w.t.Helper()
	e.move(trial.Closed)
	e.w.clock.move(2 * time.Hour)
	e.move(trial.Locked)
}

// rod is an angler who has joined a trial.
type rod struct {
	e         *contest
	actor     trial.Actor
	enrolment trial.ID
	code      [32]byte
}

var allTicks = trial.Consent{TakePart: true, Store: true, SharePseudonymous: true, LicenceConfirmed: true, AdultOrGuardian: true}

func (e *contest) join(a trial.Actor) *rod {
	e.w.t.Helper()
	r := &rod{e: e, actor: a, enrolment: e.w.randomID()}
	r.code = sha256.Sum256(r.enrolment[:])
	_, err := e.w.s.Enrol(e.w.ctx, a, e.trial, trial.Enrolment{ID: r.enrolment, Code: r.code, Consent: allTicks})
	e.w.ok(err)
	return r
}

// outing opens an outing now.
func (r *rod) outing() trial.ID {
	r.e.w.t.Helper()
	o := trial.Outing{ID: r.e.w.id(), Water: "Upper Wend", StartedAt: r.e.w.clock.read()}
	_, err := r.e.w.s.OpenOuting(r.e.w.ctx, r.actor, r.e.trial, o)
	r.e.w.ok(err)
	return o.ID
}

func (r *rod) unit() trial.ID {
	r.e.w.t.Helper()
	return must(r.e.w.s.FetchUnit(r.e.w.ctx, r.actor, r.e.trial, r.e.w.id()))(r.e.w.t).Unit.ID
}

// begin begins a half, rigged as drawn.
func (r *rod) begin(outing, unit trial.ID, half int) trial.ID {
	r.e.w.t.Helper()
	p := trial.Period{ID: r.e.w.id(), OutingID: outing, UnitID: unit, Half: half, Confirmed: true, StartedAt: r.e.w.clock.read()}
	_, err := r.e.w.s.BeginPeriod(r.e.w.ctx, r.actor, r.e.trial, p)
	r.e.w.ok(err)
	return p.ID
}

func (r *rod) swap(period trial.ID) {
	r.e.w.t.Helper()
	now := r.e.w.clock.read()
	_, err := r.e.w.s.EndPeriod(r.e.w.ctx, r.actor, r.e.trial, period, trial.PeriodEnd{SwapNowAt: &now, EndedAt: r.e.w.clock.move(3 * time.Minute), Reason: trial.EndedByRule})
	r.e.w.ok(err)
}

// fish is a grayling landed now, on the pattern with the given code.
func (r *rod) fish(period trial.ID, pattern string) trial.Catch {
	now := r.e.w.clock.read()
	return trial.Catch{
		ID: r.e.w.id(), PeriodID: period, TakenPattern: pattern, Outcome: trial.Landed, RigIntact: true, Species: "Thymallus thymallus", Origin: trial.Wild,
		CaughtAt: now, NotedAt: now,
	}
}

func (r *rod) land(period trial.ID, pattern string) trial.Catch {
	r.e.w.t.Helper()
	c := r.fish(period, pattern)
	_, err := r.e.w.s.SubmitCatch(r.e.w.ctx, r.actor, r.e.trial, c)
	r.e.w.ok(err)
	return c
}

// inAPeriod is an angler with an outing, a unit and its first half begun, ten minutes ago.
func (e *contest) inAPeriod(a trial.Actor) (r *rod, outing, unit, period trial.ID) {
	e.w.t.Helper()
	r = e.join(a)
	outing, unit = r.outing(), r.unit()
	period = r.begin(outing, unit, 1)
	e.w.clock.move(10 * time.Minute)
	return r, outing, unit, period
}

// season plays a whole season: every angler joins and fishes two outings of two blocks each; flies gives the pattern
// that the n-th fish of the season took. It returns the anglers and all fish.
func (e *contest) season(flies func(n int) string) (rods []*rod, fish []trial.Catch) {
	e.w.t.Helper()
	for _, a := range e.anglers {
		rods = append(rods, e.join(a))
	}
	for range 2 {
		e.w.clock.move(24 * time.Hour)
		for _, r := range rods {
			outing := r.outing()
			for range 2 {
				unit := r.unit()
				for half := 1; half <= 2; half++ {
					period := r.begin(outing, unit, half)
					for range 2 {
						e.w.clock.move(7 * time.Minute)
						fish = append(fish, r.land(period, flies(len(fish))))
					}
					r.swap(period)
				}
			}
			_, err := e.w.s.EndOuting(e.w.ctx, r.actor, e.trial, outing, trial.OutingEnd{EndedAt: e.w.clock.read(), Reason: "planned"})
			e.w.ok(err)
		}
	}
	return rods, fish
}

func wantKind(t testing.TB, err error, kind trial.Kind, code string) {
	t.Helper()
	var e *trial.Error
	if !errors.As(err, &e) {
		t.Errorf("got error %v, want kind %d, code %s", err, kind, code)
		return
	}
	if e.Kind != kind || code != "" && e.Code != code {
		t.Errorf("got kind %d, code %s (%v), want kind %d, code %s", e.Kind, e.Code, err, kind, code)
	}
}

func wantFields(t testing.TB, err error, want ...string) {
	t.Helper()
	var e *trial.Error
	if !errors.As(err, &e) || e.Kind != trial.Invalid {
		t.Errorf("got error %v, want faults in %q", err, want)
		return
	}
	var got []string
	for _, f := range e.Fields {
		got = append(got, f.Field)
	}
	slices.Sort(got)
	got = slices.Compact(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("faults in %q, want %q", got, want)
	}
}

func patchOf(t testing.TB, seen int, changes map[string]any) conduct.Correction {
	t.Helper()
	patch, err := json.Marshal(changes)
	if err != nil {
		t.Fatal(err)
	}
	return conduct.Correction{Seen: seen, Reason: "tapped the wrong fly", Patch: patch}
}

// everything is a page that holds all.
var everything = trial.Page{Limit: 1000}
