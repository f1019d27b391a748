package conduct_test

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"io"
	"strings"
	"sync"
	"testing"
	"time"

	"evenrig/service/conduct"
	"evenrig/service/exchange"
	"evenrig/service/trial"
)

// openTicks lets the records be published.
func openTicks() trial.Consent {
	c := allTicks
	c.PublishOpen = true
	return c
}

// fished is a locked trial with its closing analysis, in which seven anglers fished two days and the last closed of them do not
// let their records be published.
func (w *world) fished(name string, closed int) (e *contest, rods []*rod) {
	w.t.Helper()
	e = w.newClub(name, 7).opened(ruleSheet())
	for i, a := range e.anglers {
		consent := allTicks
		if i < len(e.anglers)-closed {
			consent = openTicks()
		}
		rods = append(rods, e.joinWith(a, consent))
	}
	e.day(rods, 2, mostlyTest)
	e.day(rods, 1, inTurn)
	e.lock()
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	return e, rods
}

func (e *contest) publish() trial.Publication {
	e.w.t.Helper()
	queued := must(e.w.s.PublishTrial(e.w.ctx, e.organiser, e.trial, conduct.NewPublication{Licence: exchange.CCBY4, NameClub: true, Remarks: "A wet season."}))(e.w.t)
	e.w.ok(e.w.s.MakePackage(e.w.ctx, e.trial, queued.Edition))
	return must(e.w.s.Published(e.w.ctx, e.trial))(e.w.t).Current
}

// downloaded returns a package's bytes.
func (w *world) downloaded(id trial.ID) []byte {
	w.t.Helper()
	_, r, err := w.s.OpenPackage(w.ctx, id, 0)
	w.ok(err)
	return must(io.ReadAll(r))(w.t)
}

// unpacked returns a package's files, one after another.
func unpacked(t *testing.T, b []byte) string {
	t.Helper()
	archive := must(zip.NewReader(bytes.NewReader(b), int64(len(b))))(t)
	var all strings.Builder
	for _, f := range archive.File {
		r := must(f.Open())(t)
		if _, err := io.Copy(&all, r); err != nil {
			t.Fatal(err)
		}
	}
	return all.String()
}

// A trial is published once it is locked and has its result, by its organiser, and for good. Its package has the same bytes
// whenever it is read, names nobody and no water, and everybody may read it.
func TestPublish(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 7).opened(ruleSheet())
	var rods []*rod
	for _, a := range e.anglers {
		rods = append(rods, e.joinWith(a, openTicks()))
	}
	e.day(rods, 2, mostlyTest)
	e.day(rods, 1, inTurn)
	ask := conduct.NewPublication{Licence: exchange.CCBY4, NameClub: true, Remarks: "Thanks to angler 1 of Wend Grayling Club, who knows Upper Wend."}
	_, err := w.s.PublishTrial(w.ctx, e.organiser, e.trial, ask)
	wantKind(t, err, trial.Conflict, "trial.state")
	e.lock()
	_, err = w.s.PublishTrial(w.ctx, e.organiser, e.trial, ask)
	wantKind(t, err, trial.Conflict, "analysis.queued")
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	_, err = w.s.MoveTrial(w.ctx, e.organiser, e.trial, trial.Published, "")
	wantKind(t, err, trial.Conflict, "trial.publication")
	for _, who := range []trial.Actor{e.eyes, e.anglers[0]} {
		_, err = w.s.PublishTrial(w.ctx, who, e.trial, ask)
		wantKind(t, err, trial.Forbidden, "forbidden")
	}
	_, err = w.s.PublishTrial(w.ctx, e.organiser, e.trial, conduct.NewPublication{Licence: "all rights reserved"})
	wantFields(t, err, "licence")
	_, err = w.s.Published(w.ctx, e.trial)
	wantKind(t, err, trial.NotFound, "")

	queued := must(w.s.PublishTrial(w.ctx, e.organiser, e.trial, ask))(t)
	_, err = w.s.PublishTrial(w.ctx, e.organiser, e.trial, ask)
	wantKind(t, err, trial.Conflict, "publication.queued")
	_, err = w.s.Published(w.ctx, e.trial)
	wantKind(t, err, trial.NotFound, "")
	_, _, err = w.s.OpenPackage(w.ctx, e.trial, 0)
	wantKind(t, err, trial.NotFound, "")
	w.ok(w.s.MakePackage(w.ctx, e.trial, queued.Edition))
	w.ok(w.s.MakePackage(w.ctx, e.trial, queued.Edition)) // the queue may call again

	view := must(w.s.Published(w.ctx, e.trial))(t)
	current := view.Current
	if len(view.Editions) != 1 || current.Edition != 1 || current.Licence != exchange.CCBY4 || current.Club != "Wend Grayling Club" || current.Anglers != 7 || current.Fish != 84 {
		t.Errorf("published as %+v", view)
	}
	if result := e.result(1); current.Sentence != result.Verdict.Sentence {
		t.Errorf("the result is told as %q", current.Sentence)
	}
	if current.Remarks != "Thanks to (name withheld), who knows (water 1)." {
		t.Errorf("the remarks are %q", current.Remarks)
	}
	if trial := must(w.s.Trial(w.ctx, e.anglers[1], e.trial))(t).Trial; trial.State != "published" {
		t.Errorf("the trial is %s", trial.State)
	}
	_, err = w.s.PublishTrial(w.ctx, e.organiser, e.trial, ask)
	wantKind(t, err, trial.Conflict, "publication.stands")

	first, again := w.downloaded(e.trial), w.downloaded(e.trial)
	if sum := trial.Digest(sha256.Sum256(first)); !bytes.Equal(first, again) || sum != current.Package || int64(len(first)) != current.Size {
		t.Errorf("the package is %s and %d bytes, said to be %s and %d", sum, len(first), current.Package, current.Size)
	}
	text := unpacked(t, first)
	for _, name := range []string{"angler 1", "angler 7", "secretary", "scrutineer", "Upper Wend", "Mill Reach"} {
		if strings.Contains(text, name) {
			t.Errorf("the package holds %q", name)
		}
	}
	entries := must(w.s.Register(w.ctx, everything))(t)
	if len(entries) != 1 || entries[0].Published == nil || entries[0].Published.Package != current.Package {
		t.Errorf("the register says %+v", entries)
	}
	if checked := must(w.s.Check(w.ctx))(t); len(checked.Faults) > 0 {
		t.Error(checked.Faults)
	}
}

// After an erasure the package that stood is gone and another edition is made from what remains; the list says why.
func TestEditionAfterErasure(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e, rods := w.fished("Wend Grayling Club", 0)
	one := e.publish()
	w.clock.move(time.Hour)
	w.ok(w.s.Withdraw(w.ctx, rods[2].actor, e.trial, true))

	_, _, err := w.s.OpenPackage(w.ctx, e.trial, 0)
	wantKind(t, err, trial.Gone, "publication.withdrawn")
	err = w.s.MakePackage(w.ctx, e.trial, 2)
	if err == nil || err.Error() != trial.ErrNotYet.Error() {
		t.Errorf("before the new analysis is done, the edition is made: %v", err)
	}
	w.ok(w.s.Analyse(w.ctx, e.trial, 2))
	w.ok(w.s.MakePackage(w.ctx, e.trial, 2))
	view := must(w.s.Published(w.ctx, e.trial))(t)
	if view.Current.Edition != 2 || len(view.Editions) != 2 || view.Current.Anglers != 6 {
		t.Errorf("published as %+v", view)
	}
	if gone := view.Editions[0]; gone.State != trial.EditionWithdrawn || gone.Package != one.Package || gone.Why != trial.WithdrawnForErasure || gone.Sentence != "" {
		t.Errorf("the first edition is %+v", gone)
	}
	_, _, err = w.s.OpenPackage(w.ctx, e.trial, 1)
	wantKind(t, err, trial.Gone, "publication.withdrawn")
	if _, _, err := w.s.OpenPackage(w.ctx, e.trial, 2); err != nil {
		t.Error(err)
	}
	_, _, err = w.s.OpenPackage(w.ctx, e.trial, 3)
	wantKind(t, err, trial.NotFound, "")
}

// An edition that is being made while somebody erases his records never comes to stand.
func TestErasureWhilePublishing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e, rods := w.fished("Wend Grayling Club", 0)
	queued := must(w.s.PublishTrial(w.ctx, e.organiser, e.trial, conduct.NewPublication{Licence: exchange.CC0}))(t)
	w.ok(w.s.Withdraw(w.ctx, rods[0].actor, e.trial, true))
	w.ok(w.s.MakePackage(w.ctx, e.trial, queued.Edition))
	if _, err := w.s.Published(w.ctx, e.trial); trial.KindOf(err) != trial.NotFound {
		t.Errorf("it stands: %v", err)
	}
	w.ok(w.s.Analyse(w.ctx, e.trial, 2))
	w.ok(w.s.MakePackage(w.ctx, e.trial, queued.Edition+1))
	if view := must(w.s.Published(w.ctx, e.trial))(t); view.Current.Edition != 2 || len(view.Editions) != 1 {
		t.Errorf("published as %+v", view)
	}
}

// Where too few would be left out, the trial is not published; the organiser reads why.
func TestTooFewToLeaveOut(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	rods := []*rod{e.joinWith(e.anglers[0], openTicks()), e.joinWith(e.anglers[1], allTicks)}
	e.day(rods, 2, mostlyTest)
	e.lock()
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	queued := must(w.s.PublishTrial(w.ctx, e.organiser, e.trial, conduct.NewPublication{Licence: exchange.CC0}))(t)
	w.ok(w.s.MakePackage(w.ctx, e.trial, queued.Edition))
	editions := must(w.s.Publications(w.ctx, e.organiser, e.trial))(t)
	if len(editions) != 1 || editions[0].State != trial.EditionFailed || !strings.Contains(editions[0].Failure, "consent") {
		t.Errorf("the editions are %+v", editions)
	}
	if view := must(w.s.Trial(w.ctx, e.organiser, e.trial))(t); view.Trial.State != trial.Locked {
		t.Errorf("the trial is %s", view.Trial.State)
	}
}

// The organiser and the scrutineer see who has which unit, and no order before the trial is locked.
func TestHandedOutUnits(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	rods := e.joinAll()
	e.day(rods, 1, mostlyTest)
	rods[0].unit()
	for _, who := range []trial.Actor{e.organiser, e.eyes} {
		units := must(w.s.HandedOut(w.ctx, who, e.trial))(t)
		fished := 0
		for _, u := range units {
			if u.First != "" {
				t.Errorf("the order of unit %d of %s shows", u.N, u.Pseudonym)
			}
			if u.FishedAt != nil && u.OpenedAt != nil {
				fished++
			}
		}
		if len(units) != 3 || fished != 2 {
			t.Errorf("%d units, %d fished: %+v", len(units), fished, units)
		}
	}
	_, err := w.s.HandedOut(w.ctx, e.anglers[0], e.trial)
	wantKind(t, err, trial.Forbidden, "forbidden")
	e.lock()
	for _, u := range must(w.s.HandedOut(w.ctx, e.eyes, e.trial))(t) {
		if (u.First == "") != (u.OpenedAt == nil) {
			t.Errorf("locked: unit %d of %s, opened at %v, is %q", u.N, u.Pseudonym, u.OpenedAt, u.First)
		}
	}
}

// A published trial can be repeated by another club, as its own draft without waters and dates; the register says so of both.
func TestRepeat(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e, _ := w.fished("Wend Grayling Club", 0)
	other := w.newClub("Sillet Anglers", 1)
	_, err := w.s.CreateRepeat(w.ctx, other.organiser, other.id, e.trial)
	wantKind(t, err, trial.NotFound, "")
	e.publish()
	_, err = w.s.CreateRepeat(w.ctx, other.anglers[0], other.id, e.trial)
	wantKind(t, err, trial.Forbidden, "forbidden")
	draft := must(w.s.CreateRepeat(w.ctx, other.organiser, other.id, e.trial))(t)
	id := draft.Trial.ID
	view := must(w.s.Protocol(w.ctx, other.organiser, id))(t)
	p := view.Protocol
	if p.RepeatOf != e.trial || len(p.Waters) != 0 || p.SeasonStart != "" || p.SeasonEnd != "" || p.Rig.HookModel != ruleSheet().Rig.HookModel {
		t.Errorf("the draft is %+v", p)
	}
	_, err = w.s.MoveTrial(w.ctx, other.organiser, id, trial.Registered, "")
	wantFields(t, err, "waters", "season_start", "season_end")
	p.Waters, p.SeasonStart, p.SeasonEnd = []trial.Water{{Name: "Sillet Beck", WaterType: "stream"}}, "2027-09-01", "2027-10-31"
	must(w.s.WriteProtocol(w.ctx, other.organiser, id, view.Revision, p))(t)
	must(w.s.MoveTrial(w.ctx, other.organiser, id, trial.Registered, ""))(t)
	for _, entry := range must(w.s.Register(w.ctx, everything))(t) {
		switch entry.Trial.ID {
		case e.trial:
			if len(entry.Repeats) != 1 || entry.Repeats[0] != id || !entry.RepeatOf.IsZero() {
				t.Errorf("the repeated trial: %+v", entry)
			}
		case id:
			if entry.RepeatOf != e.trial || len(entry.Repeats) != 0 {
				t.Errorf("the repeat: %+v", entry)
			}
		}
	}
}

// Whoever holds a receipt finds the fish in the package: as it was received, corrected with the reason, or not there.
func TestFindFish(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 7).opened(ruleSheet())
	var rods []*rod
	for _, a := range e.anglers {
		rods = append(rods, e.joinWith(a, openTicks()))
	}
	e.day(rods, 1, mostlyTest)
	r := rods[1]
	outing, unit := r.outing(), r.unit()
	period := r.begin(outing, unit, 1)
	w.clock.move(7 * time.Minute)
	kept := must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, r.fish(period, "C")))(t)
	corrected := must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, r.fish(period, "C")))(t)
	must(w.s.AmendCatch(w.ctx, r.actor, e.trial, corrected.Catch.ID, patchOf(t, 1, map[string]any{"taken_pattern": "N"})))(t)
	e.lock()
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	_, err := w.s.FindFish(w.ctx, e.trial, kept.Receipt.Hash.String())
	wantKind(t, err, trial.NotFound, "")
	e.publish()
	find := func(text string) conduct.FoundFish {
		t.Helper()
		found := must(w.s.FindFish(w.ctx, e.trial, text))(t)
		if len(found) != 1 {
			t.Fatalf("%s: %+v", text, found)
		}
		return found[0]
	}
	if f := find(kept.Receipt.Hash.String()[:16]); !f.Found || f.Entry != kept.Receipt.N || strings.Contains(f.Text, "corrected") {
		t.Errorf("as it was received: %+v", f)
	}
	if f := find(corrected.Receipt.Hash.String()); !f.Found || !strings.Contains(f.Text, "corrected") || !strings.Contains(f.Text, "tapped the wrong fly") {
		t.Errorf("corrected: %+v", f)
	}
	if f := find(strings.Repeat("ab", 32)); f.Found || !strings.Contains(f.Text, "missing") {
		t.Errorf("nobody's: %+v", f)
	}
	_, err = w.s.FindFish(w.ctx, e.trial, "my grayling")
	wantKind(t, err, trial.Invalid, "receipt.invalid")
}

// meanwhile is a store in which something happens as soon as the first snapshot is closed.
type meanwhile struct {
	trial.Store
	then func()
}

// InReadTx implements trial.Store.
func (m *meanwhile) InReadTx(ctx context.Context, do func(context.Context, trial.ReadTx) error) error {
	err := m.Store.InReadTx(ctx, do)
	if then := m.then; then != nil {
		m.then = nil
		then()
	}
	return err
}

// A package whose records were read before an angler erased his never comes to stand, however late in its making that was.
func TestErasureBetweenReadingAndKeeping(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e, rods := w.fished("Wend Grayling Club", 0)
	queued := must(w.s.PublishTrial(w.ctx, e.organiser, e.trial, conduct.NewPublication{Licence: exchange.CC0}))(t)
	store := &meanwhile{Store: w.store, then: func() { w.ok(w.s.Withdraw(w.ctx, rods[0].actor, e.trial, true)) }}
	other := conduct.New(store, conduct.Options{Clock: w.clock.read, Random: rand.Reader, Key: conduct.SealKey{1}, Program: "test"})
	defer other.Close()
	w.ok(other.MakePackage(w.ctx, e.trial, queued.Edition))
	if store.then != nil {
		t.Fatal("nothing was erased meanwhile")
	}
	_, _, err := w.s.OpenPackage(w.ctx, e.trial, 0)
	wantKind(t, err, trial.NotFound, "")
	editions := must(w.s.Publications(w.ctx, e.organiser, e.trial))(t)
	if len(editions) != 2 || editions[0].State != trial.EditionWithdrawn || editions[0].MadeAt != nil || editions[1].State != trial.EditionQueued {
		t.Errorf("the editions are %+v", editions)
	}
}

// Two processes that make the same edition at once make one.
func TestMadeTwiceAtOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e, _ := w.fished("Wend Grayling Club", 0)
	queued := must(w.s.PublishTrial(w.ctx, e.organiser, e.trial, conduct.NewPublication{Licence: exchange.CC0}))(t)
	var all sync.WaitGroup
	errs := make([]error, 2)
	for i := range errs {
		all.Go(func() { errs[i] = w.s.MakePackage(w.ctx, e.trial, queued.Edition) })
	}
	all.Wait()
	for _, err := range errs {
		w.ok(err)
	}
	if view := must(w.s.Published(w.ctx, e.trial))(t); len(view.Editions) != 1 || trial.Digest(sha256.Sum256(w.downloaded(e.trial))) != view.Current.Package {
		t.Errorf("published as %+v", view)
	}
	if checked := must(w.s.Check(w.ctx))(t); len(checked.Faults) > 0 {
		t.Error(checked.Faults)
	}
}

// A trial that repeats one which is not published is not registered.
func TestRepeatOfWhatIsNotPublished(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := w.newClub("Wend Grayling Club", 1)
	running := c.opened(ruleSheet())
	p := ruleSheet()
	p.RepeatOf = running.trial
	draft := must(w.s.CreateTrial(w.ctx, c.organiser, c.id, p))(t)
	_, err := w.s.MoveTrial(w.ctx, c.organiser, draft.Trial.ID, trial.Registered, "")
	wantKind(t, err, trial.Conflict, "trial.repeat")
	// A draft, perhaps another club's, is answered like one of another server, which is taken at the club's word.
	hidden := must(w.s.CreateTrial(w.ctx, c.organiser, c.id, ruleSheet()))(t)
	p.RepeatOf = hidden.Trial.ID
	unseen := must(w.s.CreateTrial(w.ctx, c.organiser, c.id, p))(t)
	must(w.s.MoveTrial(w.ctx, c.organiser, unseen.Trial.ID, trial.Registered, ""))(t)
	p.RepeatOf = w.randomID()
	other := must(w.s.CreateTrial(w.ctx, c.organiser, c.id, p))(t)
	must(w.s.MoveTrial(w.ctx, c.organiser, other.Trial.ID, trial.Registered, ""))(t)
}

// An angler who no longer lets the records be published takes the package back; the next one comes without them.
func TestEditionAfterConsentIsTakenBack(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e, rods := w.fished("Wend Grayling Club", 3)
	e.publish()
	no := false
	must(w.s.ChangeConsent(w.ctx, rods[0].actor, e.trial, conduct.ConsentChange{PublishOpen: &no}))(t)
	_, _, err := w.s.OpenPackage(w.ctx, e.trial, 0)
	wantKind(t, err, trial.Gone, "publication.withdrawn")
	w.ok(w.s.MakePackage(w.ctx, e.trial, 2))
	pack := w.downloaded(e.trial)
	p := must(exchange.ReadPackage(bytes.NewReader(pack), int64(len(pack))))(t)
	if len(p.Anglers) != 3 || p.Facts.Withheld != 4 || p.Facts.Edition != 2 {
		t.Errorf("edition %d has the rows of %d anglers and withholds %d", p.Facts.Edition, len(p.Anglers), p.Facts.Withheld)
	}
	must(w.s.ChangeConsent(w.ctx, rods[1].actor, e.trial, conduct.ConsentChange{ContactAgain: &no}))(t)
	if view := must(w.s.Published(w.ctx, e.trial))(t); view.Current.Edition != 2 {
		t.Errorf("what no package shows withdraws it: %+v", view)
	}
}
