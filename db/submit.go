package db

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

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
	err := s.again(ctx, retry, func() error {
		g := group{catches: catches, settings: s.settings}
		if err := s.pool.AcquireFunc(ctx, func(c *pgxpool.Conn) error { return g.submit(ctx, c.Conn()) }); err != nil {
			return err
		}
		outcomes = g.outcomes
		return nil
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
	catches  []trial.CatchSubmission
	settings string // of the transaction, empty where the session has them

	// What stands, by trial and id. The heads are those of the chains of the submissions' periods.
	heads      map[key]trial.Head
	trials     map[trial.ID]trial.Trial
	enrolments map[key]trial.Enrolment
	periods    map[key]trial.Period
	deviations map[key][]trial.Deviation // by period
	stored     map[key]storedCatch
	erased     map[key]bool          // by public id
	toSwap     map[key][]trial.Catch // by period: the fish that may count toward its swap, where a submission asks

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

// submit is the whole transaction in two round trips: one begins it, takes the heads and reads, the other writes and
// commits. Under read committed each statement sees what had been committed when its own turn came, so what is read in the
// same trip as the lock is read after the lock was had.
func (g *group) submit(ctx context.Context, conn *pgx.Conn) (err error) {
	defer func() {
		if conn.PgConn().TxStatus() == 'I' || conn.IsClosed() {
			return
		}
		// Also when settling panics. A connection that cannot roll back is closed by the pool, which rolls back too.
		_, rollbackErr := conn.Exec(context.WithoutCancel(ctx), "ROLLBACK")
		err = errors.Join(err, rollbackErr)
	}()
	var begin pgx.Batch
	begin.Queue(beginWrite)
	if g.settings != "" {
		begin.Queue(g.settings)
	}
	g.lockHeads(&begin)
	g.read(&begin)
	if err := conn.SendBatch(ctx, &begin).Close(); err != nil {
		return fmt.Errorf("begin, lock and read: %w", err)
	}
	g.settle()
	if len(g.inserts) == 0 {
		return nil
	}
	var end pgx.Batch
	g.write(&end)
	end.Queue("COMMIT")
	if err := conn.SendBatch(ctx, &end).Close(); err != nil {
		return fmt.Errorf("write and commit: %w", err)
	}
	return nil
}

// lockHeads takes the heads of the chains to which the submissions' periods belong, in order of trial and chain.
func (g *group) lockHeads(batch *pgx.Batch) {
	// A period never changes its enrolment nor that its chain, so that they may be read before the lock is held.
	const lockChains = `
WITH chains AS MATERIALIZED (
    SELECT DISTINCT e.trial_id, e.chain_id
    FROM unnest(@trials::uuid[], @ids::uuid[]) AS sent (trial_id, id)
    CROSS JOIN LATERAL (SELECT enrolment_id FROM periods p WHERE p.trial_id = sent.trial_id AND p.id = sent.id OFFSET 0) p
    CROSS JOIN LATERAL (SELECT e.trial_id, e.chain_id FROM enrolments e WHERE e.trial_id = sent.trial_id AND e.id = p.enrolment_id OFFSET 0) e
    ORDER BY e.trial_id, e.chain_id)
SELECT h.trial_id, h.chain_id, h.n, h.hash
FROM chains
CROSS JOIN LATERAL (SELECT * FROM ledger_heads h WHERE h.trial_id = chains.trial_id AND h.chain_id = chains.chain_id FOR UPDATE) h`
	collect(batch, lockChains, g.periodKeys(), pgx.RowToStructByName[trial.Head], func(found []trial.Head) {
		g.heads = index(found, func(h trial.Head) key { return key{h.TrialID, h.ChainID} })
	})
}

// periodKeys and catchKeys are the submissions' periods and catches as arguments, each once.
func (g *group) periodKeys() pgx.StrictNamedArgs {
	return g.keys(func(c trial.Catch) trial.ID { return c.PeriodID })
}

func (g *group) catchKeys() pgx.StrictNamedArgs {
	return g.keys(func(c trial.Catch) trial.ID { return c.ID })
}

func (g *group) keys(id func(trial.Catch) trial.ID) pgx.StrictNamedArgs {
	seen := make(map[key]bool, len(g.catches))
	var trials, ids []trial.ID
	for _, s := range g.catches {
		k := key{s.Catch.TrialID, id(s.Catch)}
		if !seen[k] {
			seen[k] = true
			trials, ids = append(trials, k.trial), append(ids, k.id)
		}
	}
	return pgx.StrictNamedArgs{"trials": trials, "ids": ids}
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

// read reads what the submissions are settled by. What is sent is looked up in what stands one by
// one by its key: LATERAL and OFFSET 0 keep the server from going the other way, through all that stands, as it would
// choose to while there is little.
func (g *group) read(batch *pgx.Batch) {
	const (
		sent   = ` FROM unnest(@trials::uuid[], @ids::uuid[]) AS sent (trial_id, id) CROSS JOIN LATERAL (`
		bySent = `trial_id = sent.trial_id AND id = sent.id OFFSET 0) `

		trials     = selectTrial + `WHERE id = ANY(@trials)`
		periods    = `SELECT p.*` + sent + selectPeriod + `WHERE ` + bySent + `p`
		enrolments = `SELECT e.*` + sent + `SELECT enrolment_id FROM periods WHERE ` + bySent + `p
CROSS JOIN LATERAL (` + selectEnrolment + `WHERE e.trial_id = sent.trial_id AND e.id = p.enrolment_id OFFSET 0) e`
		reports = `SELECT d.*` + sent + `SELECT outing_id FROM periods WHERE ` + bySent + `p
CROSS JOIN LATERAL (` + selectDeviation + `WHERE trial_id = sent.trial_id AND outing_id = p.outing_id AND period_id = sent.id OFFSET 0) d
ORDER BY d.from_at, d.id`
		sameIDs = `SELECT ` + catchColumns + `, e.account_id, e.chain_id, c.ledger_n, l.hash` + sent + `SELECT * FROM catches WHERE ` + bySent + `c
CROSS JOIN LATERAL (SELECT account_id, chain_id FROM enrolments e WHERE e.trial_id = c.trial_id AND e.id = c.enrolment_id OFFSET 0) e
LEFT JOIN LATERAL (
    SELECT hash FROM ledger_entries l WHERE l.trial_id = c.trial_id AND l.chain_id = e.chain_id AND l.n = c.ledger_n OFFSET 0) l ON true`
		// More fish than any swap rule asks for are not read.
		landed = `SELECT c.*` + sent + `
SELECT trial_id, period_id, taken_pattern, taken_position, outcome, species, length_value, length_unit FROM catches
WHERE trial_id = sent.trial_id AND period_id = sent.id AND outcome = 'landed' AND NOT foul_hooked AND NOT void LIMIT 100) c`
		erased = `SELECT t.trial_id, t.id` + sent + `SELECT trial_id, id FROM tombstones WHERE ` + bySent + `t`
	)
	ofTrials := pgx.StrictNamedArgs{"trials": slices.Compact(column(g.catches, func(s trial.CatchSubmission) trial.ID { return s.Catch.TrialID }))}
	byPeriod, byCatch, byPublic := g.periodKeys(), g.catchKeys(), g.keys(func(c trial.Catch) trial.ID { return c.ID.Public() })

	collect(batch, trials, ofTrials, pgx.RowToStructByName[trial.Trial], func(found []trial.Trial) {
		g.trials = index(found, func(t trial.Trial) trial.ID { return t.ID })
	})
	collect(batch, enrolments, byPeriod, pgx.RowToStructByName[trial.Enrolment], func(found []trial.Enrolment) {
		g.enrolments = index(found, func(e trial.Enrolment) key { return key{e.TrialID, e.ID} })
	})
	collect(batch, periods, byPeriod, through[periodRow], func(found []trial.Period) {
		g.periods = index(found, func(p trial.Period) key { return key{p.TrialID, p.ID} })
	})
	collect(batch, reports, byPeriod, through[deviationRow], func(found []trial.Deviation) {
		g.deviations = map[key][]trial.Deviation{}
		for _, d := range found {
			period := key{d.TrialID, d.PeriodID}
			g.deviations[period] = append(g.deviations[period], d)
		}
	})
	collect(batch, sameIDs, byCatch, through[storedRow], func(found []storedCatch) {
		g.stored = index(found, func(s storedCatch) key { return key{s.catch.TrialID, s.catch.ID} })
	})
	if asking := g.askingPeriods(); len(asking["ids"].([]trial.ID)) > 0 {
		collect(batch, landed, asking, pgx.RowToStructByNameLax[landedRow], func(found []landedRow) {
			g.toSwap = map[key][]trial.Catch{}
			for _, r := range found {
				c := r.Catch
				c.Length = measureOf(r.LengthValue, r.LengthUnit)
				period := key{c.TrialID, c.PeriodID}
				g.toSwap[period] = append(g.toSwap[period], c)
			}
		})
	}
	collect(batch, erased, byPublic, pgx.RowToStructByPos[tombstone], func(found []tombstone) {
		g.erased = map[key]bool{}
		for _, t := range found {
			g.erased[key{t.TrialID, t.ID}] = true
		}
	})
}

// landedRow is what decides whether a fish counts toward the swap.
type landedRow struct {
	trial.Catch
	LengthValue *float64
	LengthUnit  *string
}

// askingPeriods are the periods of submissions that ask how far the swap rule has come.
func (g *group) askingPeriods() pgx.StrictNamedArgs {
	asking := group{catches: slices.DeleteFunc(slices.Clone(g.catches), func(s trial.CatchSubmission) bool { return !s.Swap })}
	return asking.periodKeys()
}

// swap says how far the swap rule has come in a submission's period, nil where nobody asks.
func (g *group) swap(s trial.CatchSubmission, period *trial.Period) *trial.SwapState {
	if !s.Swap || period == nil {
		return nil
	}
	fish := period.CountSwap(*s.Protocol, g.toSwap[key{period.TrialID, period.ID}])
	state := period.Swap(*s.Protocol, fish, s.Catch.ReceivedAt)
	return &state
}

// tombstone is the public id of an erased record.
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
		now := trial.Standing{Trial: g.trials[id.trial], Erased: g.erased[key{id.trial, id.id.Public()}]}
		period := g.periods[key{id.trial, s.Catch.PeriodID}]
		enrolment := g.enrolments[key{id.trial, period.EnrolmentID}]
		// A period that was saved only after the heads were taken comes too late: its chain is not held.
		if _, held := g.heads[key{id.trial, enrolment.ChainID}]; held {
			now.Period, now.Enrolment, now.Deviations = &period, enrolment, g.deviations[key{id.trial, period.ID}]
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
			if in := (key{id.trial, period.ID}); g.toSwap != nil {
				g.toSwap[in] = append(g.toSwap[in], insert)
			}
		}
		g.outcomes[i] = trial.CatchOutcome{Created: !replay, Swap: g.swap(s, now.Period), Catch: stored.catch, NotedBy: trial.KeptBy(stored.account, stored.catch.NotedBy), Receipt: stored.receipt}
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

// write saves what was settled.
func (g *group) write(batch *pgx.Batch) {
	batch.Queue(insertCatches, insertCatchesArgs(g.inserts, g.ledgerN))
	queueEntries(batch, g.entries, g.parts)
	var moved []trial.Head
	for chain := range g.moved {
		moved = append(moved, g.heads[chain])
	}
	// The rows are held, so that they stay where they are until they are written. Their place is theirs alone only within one
	// partition, so that the key is compared too.
	const moveHeads = `
UPDATE ledger_heads h SET n = moved.n, hash = moved.hash
FROM unnest(@trial_id::uuid[], @chain_id::uuid[], @n::bigint[], @hash::bytea[]) AS moved (trial_id, chain_id, n, hash)
CROSS JOIN LATERAL (SELECT ctid AS place FROM ledger_heads WHERE trial_id = moved.trial_id AND chain_id = moved.chain_id OFFSET 0) held
WHERE h.ctid = held.place AND h.trial_id = moved.trial_id AND h.chain_id = moved.chain_id`
	batch.Queue(moveHeads, pgx.StrictNamedArgs{
		"trial_id": column(moved, func(h trial.Head) trial.ID { return h.TrialID }),
		"chain_id": column(moved, func(h trial.Head) trial.ID { return h.ChainID }),
		"n":        column(moved, func(h trial.Head) int64 { return h.N }),
		"hash":     column(moved, func(h trial.Head) trial.Digest { return h.Hash }),
	})
}
