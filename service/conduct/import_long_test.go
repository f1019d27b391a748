package conduct_test

import (
	"context"
	"crypto/rand"
	"fmt"
	"io"
	"strings"
	"sync"
	"testing"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// longTable is an invented table of so many fish by 30 anglers, no two fish of an outing beside each other.
func longTable(fish int) string {
	var file strings.Builder
	file.WriteString("angler,outing,block,period,lower_pattern,taken_position\n")
	for i := range fish {
		fmt.Fprintf(&file, "rod %d,%d,%d,%d,%s,%s\n", i%30, i/30%7, i/30%7, 1+i%2, []string{"C", "N"}[i%2], []string{"lower", "upper", "lower"}[i%3])
	}
	return file.String()
}

// beside is a store whose transactions do something of their own before they write the second chunk of a table.
type beside struct {
	trial.Store
	do func() error
}

// InTx implements trial.Store.
func (b *beside) InTx(ctx context.Context, do func(context.Context, trial.Tx) error) error {
	return b.Store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error { return do(ctx, &besideTx{Tx: tx, do: b.do}) })
}

type besideTx struct {
	trial.Tx
	do     func() error
	chunks int
}

// InsertRecorded implements trial.Tx.
func (b *besideTx) InsertRecorded(ctx context.Context, r trial.TableRecords) error {
	if b.chunks++; b.chunks == 2 {
		if err := b.do(); err != nil {
			return err
		}
	}
	return b.Tx.InsertRecorded(ctx, r)
}

// A long table is taken in whole or not at all, whatever happens while its rows are written; and while they are, nothing of the trial
// or of another waits for them.
func TestLongTables(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := w.newClub("Wend Grayling Club", 1)
	e := c.opened(recordedSheet())
	drawn := c.opened(ruleSheet())
	r, _, _, period := drawn.inAPeriod(drawn.anglers[0])
	const fish = 2500
	file := longTable(fish)
	importBeside := func(ctx context.Context, do func() error) (conduct.ImportView, error) {
		s := conduct.New(&beside{Store: w.store, do: do}, conduct.Options{Clock: w.clock.read, Random: rand.Reader, Key: conduct.SealKey{1, 2, 3}, Program: "test"})
		defer s.Close()
		return s.ImportTable(ctx, e.organiser, e.trial, strings.NewReader(file), false)
	}
	empty := func(what string) {
		t.Helper()
		if n, anglers := must(w.s.Progress(w.ctx, e.organiser, e.trial))(t).Catches, must(w.s.Enrolments(w.ctx, e.organiser, e.trial))(t); n != 0 || len(anglers) != 0 {
			t.Errorf("%s left %d fish of %d anglers", what, n, len(anglers))
		}
	}

	ctx, hangUp := context.WithCancel(w.ctx)
	if _, err := importBeside(ctx, func() error { hangUp(); return nil }); err == nil {
		t.Error("a table whose sender hung up was taken in")
	}
	empty("a sender who hung up")
	if _, err := importBeside(w.ctx, func() error { return io.ErrClosedPipe }); err == nil {
		t.Error("a table was taken in without its second chunk")
	}
	empty("a chunk that was not written")
	_, err := importBeside(w.ctx, func() error {
		e.move(trial.Paused)
		return nil
	})
	wantKind(t, err, trial.Conflict, "trial.state")
	empty("a trial that was paused")
	e.move(trial.Open)

	view := must(importBeside(w.ctx, func() error {
		r.land(period, "C")
		return w.s.Checkpoint(w.ctx)
	}))(t)
	if !view.Saved || view.Rows != fish || view.Anglers != 30 {
		t.Errorf("import: %+v", view)
	}
	if again := must(e.importTable(file, false))(t); again.Saved || !again.AlreadyImported {
		t.Errorf("the same table again: %+v", again)
	}
	progress := must(w.s.Progress(w.ctx, e.organiser, e.trial))(t)
	if outings := progress.Effort.Outings; progress.Catches != fish || outings != 30*7 {
		t.Errorf("%d fish of %d outings, want %d of %d", progress.Catches, outings, fish, 30*7)
	}
	var table strings.Builder
	w.ok(w.s.ExportCatches(w.ctx, e.organiser, e.trial, &table))
	if lines := strings.Count(table.String(), "\n"); lines != fish+1 {
		t.Errorf("%d lines of %d fish come out again", lines, fish)
	}
	if checked := must(w.s.Check(w.ctx))(t); len(checked.Faults) > 0 {
		t.Errorf("check: %+v", checked)
	}
}

// Tables that come at once are taken in one after another: one of two alike is known again, and two that name the same anglers give each
// of them one pseudonym.
func TestTablesAtOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 0).opened(recordedSheet())
	other := w.service(2)
	alike, turned := longTable(1200), "angler,outing,lower_pattern,taken_position\nrod 29,1,C,lower\nrod 0,1,N,lower\n"
	views := make([]conduct.ImportView, 4)
	var all sync.WaitGroup
	for i := range views {
		all.Go(func() {
			s, file := []*conduct.Service{w.s, other}[i%2], alike
			if i == 3 {
				file = turned
			}
			view, err := s.ImportTable(w.ctx, e.organiser, e.trial, strings.NewReader(file), false)
			if err != nil {
				t.Errorf("table %d: %v", i, err)
			}
			views[i] = view
		})
	}
	all.Wait()
	saved := 0
	for _, view := range views[:3] {
		if view.Saved == view.AlreadyImported {
			t.Errorf("one of three alike: %+v", view)
		}
		if view.Saved {
			saved++
		}
	}
	if saved != 1 || !views[3].Saved {
		t.Errorf("%d of three alike are saved, want 1; the other: %+v", saved, views[3])
	}
	if fish, anglers := must(w.s.Progress(w.ctx, e.organiser, e.trial))(t).Catches, must(w.s.Enrolments(w.ctx, e.organiser, e.trial))(t); fish != 1202 || len(anglers) != 30 {
		t.Errorf("%d fish of %d anglers, want 1202 of 30", fish, len(anglers))
	}
}

// A few tables may be on their way at a time; who comes then is asked to come again.
func TestTablesOnTheirWay(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 0).opened(recordedSheet())
	const atOnce = 4
	var senders []*io.PipeWriter
	answers := make(chan error, atOnce)
	for range atOnce {
		body, sender := io.Pipe()
		senders = append(senders, sender)
		go func() {
			_, err := w.s.ImportTable(w.ctx, e.organiser, e.trial, body, true)
			answers <- err
		}()
		if _, err := io.WriteString(sender, "lower_pattern,taken_position\nC,lower\n"); err != nil { // it is read: the table has its place
			t.Fatal(err)
		}
	}
	_, err := e.importTable("lower_pattern,taken_position\nC,lower\n", true)
	wantKind(t, err, trial.TooMany, "import.busy")
	for _, sender := range senders {
		sender.Close()
		if err := <-answers; err != nil {
			t.Error(err)
		}
	}
	must(e.importTable("lower_pattern,taken_position\nC,lower\n", true))(t)
}
