package conduct

import (
	"cmp"
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"time"

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

// ImportTable takes a catch table into an open trial whose source is recorded, all or nothing; a dry run only reads it.
// Each angler of the table gets a pseudonym, and names for anglers are kept only as keyed digests, by which the same
// angler is known again in another file. Every column is kept, the table's further ones too. The same file again changes
// nothing.
func (s *Service) ImportTable(ctx context.Context, actor trial.Actor, id trial.ID, body io.Reader, dryRun bool) (ImportView, error) {
	var p *trial.Protocol
	err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		t, err := inTrial(ctx, tx, actor, id, trial.ImportTable)
		if err != nil {
			return err
		}
		if err := imports(t); err != nil {
			return err
		}
		p, err = s.rulesOf(ctx, tx, t)
		return err
	})
	if err != nil {
		return ImportView{}, err
	}
	hash := sha256.New()
	table, faults, err := exchange.ReadCatchTable(io.TeeReader(body, hash), exchange.ReadOptions{Test: p.Code(trial.Test), Control: p.Code(trial.Control)})
	if err != nil {
		return ImportView{}, err
	}
	if _, err := io.Copy(hash, body); err != nil {
		return ImportView{}, fmt.Errorf("read catch table: %w", err)
	}
	if err := keeps(table); err != nil {
		return ImportView{}, err
	}
	faults = withoutZeroPeriods(&table, faults)
	view := ImportView{
		File: trial.Digest(hash.Sum(nil)), Rows: len(table.Rows) + table.Faults, Faults: faults, FaultsTotal: table.Faults,
	}
	anglers := map[string]bool{}
	for _, row := range table.Rows {
		anglers[row.Angler] = true
	}
	view.Anglers = len(anglers)
	if dryRun || table.Faults > 0 {
		view.AlreadyImported, err = s.imported(ctx, id, view.File)
		return view, err
	}
	return s.saveTable(ctx, actor, id, *p, table, view)
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

// withoutZeroPeriods takes out rows whose period has the number 0, by which a trial's records say that a period has none, and
// adds them to the faults.
func withoutZeroPeriods(t *exchange.Table, faults []exchange.RowFault) []exchange.RowFault {
	t.Rows = slices.DeleteFunc(t.Rows, func(row exchange.Row) bool {
		zero := row.Period != nil && *row.Period == 0
		if zero {
			t.Faults++
			faults = append(faults, exchange.RowFault{Line: row.Line, Column: "period", Value: "0", Reason: "accepted in a trial: a whole number from 1, or none"})
		}
		return zero
	})
	slices.SortStableFunc(faults, func(a, b exchange.RowFault) int { return cmp.Compare(a.Line, b.Line) })
	return faults[:min(len(faults), exchange.MaxFaults)]
}

func (s *Service) saveTable(ctx context.Context, actor trial.Actor, id trial.ID, p trial.Protocol, table exchange.Table, view ImportView) (ImportView, error) {
	now := s.now()
	entry, err := s.newRecord(fields{"file": view.File, "rows": view.Rows, "anglers": view.Anglers}, fields{"by": actor.AccountID, "at": at(now)})
	if err != nil {
		return view, err
	}
	pseudonyms := make([]string, view.Anglers)
	for i := range pseudonyms {
		var random [6]byte
		s.fill(random[:])
		pseudonyms[i] = trial.Pseudonym(random)
	}
	importer := importer{service: s, trial: id, protocol: p, file: view.File, further: table.Further, now: now, by: actor.AccountID, pseudonyms: pseudonyms}
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
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
		switch _, err := tx.ImportBy(ctx, id, view.File); {
		case err == nil:
			view.AlreadyImported = true
			return nil
		case trial.KindOf(err) != trial.NotFound:
			return err
		}
		known, err := tx.EnrolmentsOf(ctx, id)
		if err != nil {
			return err
		}
		if err := tx.InsertRecorded(ctx, importer.records(table, known)); err != nil {
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

// importer turns a table's rows into records. Ids are derived from the server's key and what the row says, so that the
// same angler, outing and period are met again in another file, while every fish of a file is its own.
type importer struct {
	service    *Service
	trial      trial.ID
	protocol   trial.Protocol
	file       trial.Digest
	further    []string
	now        time.Time
	by         trial.ID
	pseudonyms []string
}

func (im importer) records(table exchange.Table, known []trial.Enrolment) []trial.Records {
	byAngler := map[string]*trial.Records{}
	seen := map[trial.ID]bool{}
	next := 0
	for _, row := range table.Rows {
		r := byAngler[row.Angler]
		if r == nil {
			enrolment, isKnown := im.enrolment(row.Angler, known)
			if !isKnown {
				enrolment.Pseudonym = im.pseudonyms[next]
				next++
			}
			r = &trial.Records{Enrolment: enrolment}
			byAngler[row.Angler] = r
		}
		im.add(r, row, seen)
	}
	all := make([]trial.Records, 0, len(byAngler))
	for _, angler := range slices.Sorted(maps.Keys(byAngler)) {
		all = append(all, *byAngler[angler])
	}
	return all
}

func (im importer) enrolment(angler string, known []trial.Enrolment) (trial.Enrolment, bool) {
	label := im.service.key.digest(im.trial.String(), "angler", angler)
	for _, e := range known {
		if e.SentDigest == label {
			return e, true
		}
	}
	return trial.Enrolment{TrialID: im.trial, ID: im.id("angler", angler), ChainID: im.trial, EnrolledAt: im.now, SentDigest: label}, false
}

// add puts one fish, with its outing and period where they are not seen yet, into its angler's records.
func (im importer) add(r *trial.Records, row exchange.Row, seen map[trial.ID]bool) {
	when, _, _ := row.Time()
	var outing trial.Outing // none where the table does not tell one from another
	if label := row.OutingLabel(); label != "" {
		outing = trial.Outing{
			TrialID: im.trial, ID: im.id("outing", row.Angler, label), EnrolmentID: r.Enrolment.ID, ProtocolVersion: 1, StartedAt: when, ReceivedAt: im.now,
		}
		if !seen[outing.ID] {
			seen[outing.ID] = true
			r.Outings = append(r.Outings, outing)
		}
	}
	period := trial.Period{
		TrialID: im.trial, EnrolmentID: r.Enrolment.ID, OutingID: outing.ID, Block: text(row.Block), Fished: im.arrangement(row.LowerPattern),
		Confirmed: row.LowerPattern != "", StartedAt: when, ReceivedAt: im.now, Version: 1,
	}
	if row.Period != nil {
		period.Half = *row.Period
	}
	period.ID = im.id("period", row.Angler, row.OutingLabel(), period.Block, text(row.Period), row.LowerPattern)
	if !seen[period.ID] {
		seen[period.ID] = true
		r.Periods = append(r.Periods, period)
	}
	c := trial.Catch{
		TrialID: im.trial, ID: im.id("fish", im.file.String(), strconv.Itoa(row.Line)), EnrolmentID: r.Enrolment.ID, PeriodID: period.ID,
		TakenPattern: row.TakenPattern, TakenPosition: row.TakenPosition, Outcome: row.Outcome, FoulHooked: row.FoulHooked, RigIntact: true,
		Species: row.Species, Origin: row.Origin, CaughtAt: when, NotedAt: when, NotedBy: im.by, ReceivedAt: im.now, Version: 1, Reason: row.Exclusion,
		WaterType: row.WaterType, Fly: row.Fly, Further: im.values(row),
	}
	if row.Length != nil {
		value, err := strconv.ParseFloat(row.Length.Value, 64)
		if err == nil {
			c.Length = &trial.Measure{Value: value, Unit: row.Length.Unit}
		}
	}
	r.Catches = append(r.Catches, c)
}

// values returns what stands in the row's further columns.
func (im importer) values(row exchange.Row) trial.Further {
	if len(im.further) == 0 {
		return ""
	}
	values := make(map[string]string, len(im.further))
	for i, name := range im.further {
		values[name] = row.Further[i]
	}
	return trial.NewFurther(values)
}

func (im importer) arrangement(lower string) trial.Arrangement {
	switch part, ok := im.protocol.PartOf(lower); {
	case !ok:
		return ""
	case part == trial.Test:
		return trial.TestLower
	}
	return trial.ControlLower
}

func (im importer) id(words ...string) trial.ID {
	return im.service.derivedID(append([]string{im.trial.String()}, words...)...)
}

// derivedID derives a UUID of version 8 (RFC 9562, section 5.8) from words under the server's key.
func (s *Service) derivedID(words ...string) trial.ID {
	d := s.key.digest(words...)
	id := trial.ID(d[:16])
	id[6] = id[6]&0x0f | 0x80
	id[8] = id[8]&0x3f | 0x80
	return id
}

func text(n *int) string {
	if n == nil {
		return ""
	}
	return strconv.Itoa(*n)
}
