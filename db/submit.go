package db

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"evenrig/service/trial"
)

// SubmitCatches implements trial.Store. The transaction holds the heads of the chains that it may append to before it
// reads anything that it decides by, so that nothing it read can change until it commits; it locks no row that two
// anglers share. Two writers can meet only when the same id is sent by two anglers at once: the later one starts anew
// and then finds the id taken.
func (s *Store) SubmitCatches(ctx context.Context, catches []trial.CatchSubmission) []trial.CatchOutcome {
	if len(catches) == 0 {
		return nil
	}
	var outcomes []trial.CatchOutcome
	retry := func(err error) bool { return isRetryable(err) || brokenConstraint(err) == "catches_pkey" }
	err := s.inTx(ctx, pgx.TxOptions{IsoLevel: pgx.ReadCommitted}, retry, func(tx pgx.Tx) error {
		g := group{catches: catches}
		if err := g.lockHeads(ctx, tx); err != nil {
			return err
		}
		if err := g.read(ctx, tx); err != nil {
			return err
		}
		g.settle()
		outcomes = g.outcomes
		return g.write(ctx, tx)
	})
	if err == nil {
		return outcomes
	}
	failed := make([]trial.CatchOutcome, len(catches))
	for i := range failed {
		failed[i].Err = fmt.Errorf("submit catches: %w", err)
	}
	return failed
}

// group is a group of submitted catches on its way through one transaction.
type group struct {
	catches []trial.CatchSubmission

	// What stands, by trial and id. The heads are those of the chains of the submissions' periods.
	heads      map[key]trial.Head
	trials     map[trial.ID]trial.Trial
	enrolments map[key]trial.Enrolment
	periods    map[key]trial.Period
	deviations map[key][]trial.Deviation // by period
	stored     map[key]storedCatch
	erased     map[key]bool

	outcomes []trial.CatchOutcome
	inserts  []trial.Catch
	ledgerN  []*int64
	entries  []trial.LedgerEntry
	parts    []trial.Parts
	moved    map[key]bool // heads with new entries
}

// key names a record: every record belongs to a trial.
type key struct{ trial, id trial.ID }

// storedCatch is a catch that stands, its angler's account and its receipt.
type storedCatch struct {
	catch   trial.Catch
	account trial.ID
	receipt trial.Receipt
}

// lockHeads takes the heads of the chains to which the submissions' periods belong, in order of trial and chain.
func (g *group) lockHeads(ctx context.Context, tx pgx.Tx) error {
	// A period never changes its enrolment nor that its chain, so that they may be read before the lock is held.
	const lockChains = `
WITH chains AS MATERIALIZED (
    SELECT DISTINCT e.trial_id, e.chain_id
    FROM unnest(@trials::uuid[], @periods::uuid[]) AS sent (trial_id, id)
    JOIN periods p ON p.trial_id = sent.trial_id AND p.id = sent.id
    JOIN enrolments e ON e.trial_id = p.trial_id AND e.id = p.enrolment_id)
SELECT h.trial_id, h.chain_id, h.n, h.hash
FROM chains JOIN ledger_heads h ON h.trial_id = chains.trial_id AND h.chain_id = chains.chain_id
ORDER BY h.trial_id, h.chain_id
FOR UPDATE OF h`
	heads, err := list(ctx, tx, "heads", lockChains, pgx.StrictNamedArgs{"trials": g.trialIDs(), "periods": g.periodIDs()}, pgx.RowToStructByName[trial.Head])
	g.heads = index(heads, func(h trial.Head) key { return key{h.TrialID, h.ChainID} })
	return err
}

func (g *group) trialIDs() []trial.ID {
	return column(g.catches, func(s trial.CatchSubmission) trial.ID { return s.Catch.TrialID })
}

func (g *group) periodIDs() []trial.ID {
	return column(g.catches, func(s trial.CatchSubmission) trial.ID { return s.Catch.PeriodID })
}

// storedRow is a catch that stands, with whose it is and its place in the ledger.
type storedRow struct {
	catchRow
	AccountID trial.ID
	ChainID   trial.ID
	LedgerN   *int64
	Hash      trial.Digest
}

func (r storedRow) record() storedCatch {
	s := storedCatch{catch: r.catchRow.record(), account: r.AccountID}
	if r.LedgerN != nil {
		s.receipt = trial.Receipt{ChainID: r.ChainID, N: *r.LedgerN, Hash: r.Hash}
	}
	return s
}

// read reads what the submissions are settled by, in one round trip.
func (g *group) read(ctx context.Context, tx pgx.Tx) error {
	const (
		trials    = selectTrial + `WHERE id = ANY(@trials)`
		ofPeriods = `
WHERE (p.trial_id, p.id) IN (SELECT * FROM unnest(@trials::uuid[], @periods::uuid[]))`
		enrolments = selectEnrolment + `
WHERE (e.trial_id, e.id) IN (SELECT p.trial_id, p.enrolment_id FROM periods p ` + ofPeriods + `)`
		periods = `SELECT p.* FROM (` + selectPeriod + `) p ` + ofPeriods
		reports = `SELECT d.* FROM (` + selectDeviation + `) d
WHERE (d.trial_id, d.outing_id, d.period_id) IN (SELECT p.trial_id, p.outing_id, p.id FROM periods p ` + ofPeriods + `)
ORDER BY d.from_at, d.id`
		sameIDs = `
SELECT ` + catchColumns + `, e.account_id, e.chain_id, c.ledger_n, l.hash
FROM catches c
JOIN enrolments e ON e.trial_id = c.trial_id AND e.id = c.enrolment_id
LEFT JOIN ledger_entries l ON l.trial_id = c.trial_id AND l.chain_id = e.chain_id AND l.n = c.ledger_n
WHERE (c.trial_id, c.id) IN (SELECT * FROM unnest(@trials::uuid[], @catches::uuid[]))`
		erased = `
SELECT trial_id, id FROM tombstones WHERE (trial_id, id) IN (SELECT * FROM unnest(@trials::uuid[], @catches::uuid[]))`
	)
	catches := column(g.catches, func(s trial.CatchSubmission) trial.ID { return s.Catch.ID })
	ofTrials := pgx.StrictNamedArgs{"trials": g.trialIDs()}
	byPeriod := pgx.StrictNamedArgs{"trials": g.trialIDs(), "periods": g.periodIDs()}
	byCatch := pgx.StrictNamedArgs{"trials": g.trialIDs(), "catches": catches}

	var batch pgx.Batch
	collect(&batch, trials, ofTrials, pgx.RowToStructByName[trial.Trial], func(found []trial.Trial) {
		g.trials = index(found, func(t trial.Trial) trial.ID { return t.ID })
	})
	collect(&batch, enrolments, byPeriod, pgx.RowToStructByName[trial.Enrolment], func(found []trial.Enrolment) {
		g.enrolments = index(found, func(e trial.Enrolment) key { return key{e.TrialID, e.ID} })
	})
	collect(&batch, periods, byPeriod, through[periodRow], func(found []trial.Period) {
		g.periods = index(found, func(p trial.Period) key { return key{p.TrialID, p.ID} })
	})
	collect(&batch, reports, byPeriod, through[deviationRow], func(found []trial.Deviation) {
		g.deviations = map[key][]trial.Deviation{}
		for _, d := range found {
			period := key{d.TrialID, d.PeriodID}
			g.deviations[period] = append(g.deviations[period], d)
		}
	})
	collect(&batch, sameIDs, byCatch, through[storedRow], func(found []storedCatch) {
		g.stored = index(found, func(s storedCatch) key { return key{s.catch.TrialID, s.catch.ID} })
	})
	collect(&batch, erased, byCatch, pgx.RowToStructByPos[tombstone], func(found []tombstone) {
		g.erased = map[key]bool{}
		for _, t := range found {
			g.erased[key{t.TrialID, t.ID}] = true
		}
	})
	if err := tx.SendBatch(ctx, &batch).Close(); err != nil {
		return fmt.Errorf("read what stands: %w", err)
	}
	return nil
}

// tombstone is the id of an erased record.
type tombstone struct{ TrialID, ID trial.ID }

// collect queues a query whose rows are handed to use.
func collect[T any](batch *pgx.Batch, sql string, args pgx.StrictNamedArgs, row pgx.RowToFunc[T], use func([]T)) {
	batch.Queue(sql, args).Query(func(rows pgx.Rows) error {
		found, err := pgx.CollectRows(rows, row)
		use(found)
		return err
	})
}

func index[K comparable, V any](values []V, by func(V) K) map[K]V {
	m := make(map[K]V, len(values))
	for _, v := range values {
		m[by(v)] = v
	}
	return m
}

// settle decides each submission in the order given. What it decides to insert stands for those after it.
func (g *group) settle() {
	g.outcomes = make([]trial.CatchOutcome, len(g.catches))
	g.moved = map[key]bool{}
	for i, s := range g.catches {
		id := key{s.Catch.TrialID, s.Catch.ID}
		now := trial.Standing{Trial: g.trials[id.trial], Erased: g.erased[id]}
		if period, ok := g.periods[key{id.trial, s.Catch.PeriodID}]; ok {
			now.Period = &period
			now.Enrolment = g.enrolments[key{id.trial, period.EnrolmentID}]
			now.Deviations = g.deviations[key{id.trial, period.ID}]
		}
		stored, stands := g.stored[id]
		if stands {
			now.Stored, now.StoredAccount = &stored.catch, stored.account
		}
		insert, replay, err := s.Settle(now)
		switch {
		case err != nil:
			g.outcomes[i].Err = err
			continue
		case !replay:
			stored = storedCatch{catch: insert, account: now.Enrolment.AccountID, receipt: g.enter(now.Enrolment, insert, s.Parts)}
			g.stored[id] = stored
		}
		g.outcomes[i] = trial.CatchOutcome{Created: !replay, Catch: stored.catch, Receipt: stored.receipt}
	}
}

// enter adds a catch and its ledger entry to what will be written.
func (g *group) enter(e trial.Enrolment, c trial.Catch, parts trial.Parts) trial.Receipt {
	chain := key{e.TrialID, e.ChainID}
	entry := g.heads[chain].Next(trial.LedgerCatch, c.ID, parts)
	g.heads[chain] = entry.Head()
	g.moved[chain] = true
	g.inserts = append(g.inserts, c)
	g.ledgerN = append(g.ledgerN, &entry.N)
	g.entries = append(g.entries, entry)
	g.parts = append(g.parts, parts)
	return trial.Receipt{ChainID: entry.ChainID, N: entry.N, Hash: entry.Hash}
}

// write saves what was settled, in one round trip.
func (g *group) write(ctx context.Context, tx pgx.Tx) error {
	if len(g.inserts) == 0 {
		return nil
	}
	const moveHeads = `
UPDATE ledger_heads h SET n = moved.n, hash = moved.hash
FROM unnest(@trials::uuid[], @chains::uuid[], @n::bigint[], @hash::bytea[]) AS moved (trial_id, chain_id, n, hash)
WHERE h.trial_id = moved.trial_id AND h.chain_id = moved.chain_id`
	heads := make([]trial.Head, 0, len(g.moved))
	for chain := range g.moved {
		heads = append(heads, g.heads[chain])
	}
	var batch pgx.Batch
	batch.Queue(insertCatches, insertCatchesArgs(g.inserts, g.ledgerN))
	queueEntries(&batch, g.entries, g.parts)
	var moved int64
	batch.Queue(moveHeads, pgx.StrictNamedArgs{
		"trials": column(heads, func(h trial.Head) trial.ID { return h.TrialID }),
		"chains": column(heads, func(h trial.Head) trial.ID { return h.ChainID }),
		"n":      column(heads, func(h trial.Head) int64 { return h.N }),
		"hash":   column(heads, func(h trial.Head) trial.Digest { return h.Hash }),
	}).Exec(func(tag pgconn.CommandTag) error {
		moved = tag.RowsAffected()
		return nil
	})
	if err := tx.SendBatch(ctx, &batch).Close(); err != nil {
		return fmt.Errorf("write: %w", err)
	}
	if moved != int64(len(heads)) {
		return fmt.Errorf("%d of %d chains have no head", int64(len(heads))-moved, len(heads))
	}
	return nil
}
