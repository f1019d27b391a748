package conduct

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"slices"

	"evenrig/service/exchange"
	"evenrig/service/trial"
)

// ImportView says what a catch table holds and what became of it. Faults are the first of its bad rows, FaultsTotal
// counts all; with any, nothing is saved.
type ImportView struct {
	File            trial.Digest
	Rows            int
	Anglers         int
	Saved           bool
	AlreadyImported bool
	Faults          []exchange.RowFault
	FaultsTotal     int
}

// importsAtOnce is how many tables may be on their way in: each keeps its file on the disk and then holds a connection to the database.
const importsAtOnce = 4

// ImportTable takes a catch table into an open trial whose source is recorded, all or nothing; a dry run only reads it.
// Each angler of the table gets a pseudonym, and names for anglers are kept only as keyed digests, by which the same
// angler is known again in another file. Every column is kept, the table's further ones too. The same file again changes
// nothing.
//
// The table waits in a temporary file without a name, so that it may be long: it is read once to find its faults and once more to
// write its rows, of which a chunk is in memory at a time.
//
// Errors: TooMany while too many tables are on their way.
func (s *Service) ImportTable(ctx context.Context, actor trial.Actor, id trial.ID, body io.Reader, dryRun bool) (view ImportView, err error) {
	var p *trial.Protocol
	var taken []string
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		t, err := inTrial(ctx, tx, actor, id, trial.ImportTable)
		if err != nil {
			return err
		}
		if err := imports(t); err != nil {
			return err
		}
		if taken, err = tx.PseudonymsOf(ctx, id); err != nil {
			return err
		}
		p, err = s.rulesOf(ctx, tx, t)
		return err
	})
	if err != nil {
		return view, err
	}
	select {
	case s.importing <- struct{}{}:
		defer func() { <-s.importing }()
	default:
		return view, trial.Fail(trial.TooMany, "import.busy", "other tables are being taken in; send yours again in a moment")
	}
	file, err := unnamedFile()
	if err != nil {
		return view, err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	hash := sha256.New()
	size, err := io.Copy(io.MultiWriter(file, hash), body)
	if err != nil {
		return view, fmt.Errorf("read catch table: %w", err)
	}
	table, faults, err := exchange.ReadCatchTable(io.NewSectionReader(file, 0, size), exchange.ReadOptions{
		Test: p.Code(trial.Test), Control: p.Code(trial.Control), Rule: withoutZeroPeriods,
	})
	if err != nil {
		return view, err
	}
	if err := keeps(table); err != nil {
		return view, err
	}
	view = ImportView{File: trial.Digest(hash.Sum(nil)), Rows: table.Count, Anglers: table.Anglers, Faults: faults, FaultsTotal: table.Faults}
	if dryRun || table.Faults > 0 {
		view.AlreadyImported, err = s.imported(ctx, id, view.File)
		return view, err
	}
	return s.saveTable(ctx, actor, id, p, table, taken, view)
}

// imported reports whether the file was imported before.
func (s *Service) imported(ctx context.Context, id trial.ID, file trial.Digest) (before bool, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		_, err := tx.ImportBy(ctx, id, file)
		if trial.KindOf(err) == trial.NotFound {
			return nil
		}
		before = err == nil
		return err
	})
	return before, err
}

func imports(t trial.Trial) error {
	switch {
	case t.Source != trial.Recorded:
		return trial.Fail(trial.Conflict, "trial.drawn", "the trial's source is drawn: its catches come from its anglers; a table is imported into a trial whose source is recorded")
	case t.State != trial.Open:
		return trial.Fail(trial.Conflict, "trial.state", "the trial is %s; a table is imported while it is open", t.State)
	}
	return nil
}

// keeps returns nil when every further column of the table can be told from the others by its name, under which it is kept.
func keeps(t exchange.Table) error {
	for i, name := range t.Further {
		if slices.Contains(t.Further[:i], name) {
			return trial.Fail(trial.Invalid, "table.columns", "the column %s stands twice in the header; a trial keeps each under its name: give one of them another", name)
		}
	}
	return nil
}

// withoutZeroPeriods refuses a period with the number 0, by which a trial's records say that a period has none.
func withoutZeroPeriods(row *exchange.Row) []exchange.RowFault {
	if row.Period == nil || *row.Period != 0 {
		return nil
	}
	return []exchange.RowFault{{Line: row.Line, Column: "period", Value: "0", Reason: "accepted in a trial: a whole number from 1, or none"}}
}

func (s *Service) saveTable(ctx context.Context, actor trial.Actor, id trial.ID, p *trial.Protocol, table exchange.Table, taken []string, view ImportView) (ImportView, error) {
	now := s.now()
	entry, err := s.newRecord(fields{"file": view.File, "rows": view.Rows, "anglers": view.Anglers}, fields{"by": actor.AccountID, "at": at(now)})
	if err != nil {
		return view, err
	}
	pseudonyms := s.pseudonyms(view.Anglers, taken)
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		view.AlreadyImported, view.Saved = false, false
		if err := tx.LockImports(ctx, id); err != nil {
			return err
		}
		switch _, err := tx.ImportBy(ctx, id, view.File); {
		case err == nil:
			view.AlreadyImported = true
			return nil
		case trial.KindOf(err) != trial.NotFound:
			return err
		}
		i := importer{
			service: s, trial: id, protocol: p, file: view.File.String(), further: table.Further, now: now, by: actor.AccountID, pseudonyms: pseudonyms,
		}
		if err := i.write(ctx, tx, table.Rows); err != nil {
			return err
		}
		// The trial and its chain are locked last, so that nothing waits for them while rows come in.
		t, err := tx.LockTrial(ctx, id)
		if err != nil {
			return err
		}
		if err := imports(t); err != nil {
			return err
		}
		head, err := tx.LockHead(ctx, id, id)
		if err != nil {
			return err
		}
		o := own{head: head}
		if _, err := o.append(ctx, tx, trial.LedgerImport, id, entry); err != nil {
			return err
		}
		view.Saved = true
		return tx.InsertImport(ctx, trial.Import{TrialID: id, File: view.File, At: now, By: actor.AccountID, Rows: view.Rows})
	})
	return view, err
}

// pseudonyms draws n pseudonyms that differ from each other and from those taken.
func (s *Service) pseudonyms(n int, taken []string) []string {
	used := make(map[string]bool, n+len(taken))
	for _, pseudonym := range taken {
		used[pseudonym] = true
	}
	drawn := make([]string, 0, n)
	for len(drawn) < n {
		var random [6]byte
		s.fill(random[:])
		if pseudonym := trial.Pseudonym(random); !used[pseudonym] {
			used[pseudonym] = true
			drawn = append(drawn, pseudonym)
		}
	}
	return drawn
}
