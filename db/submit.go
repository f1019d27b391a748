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
		g := newGroup(catches, s.settings)
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

	// What stands, as far as settling asks for it: the submissions' periods, each once and by its trial and id, the heads of their
	// chains, and what already has a submission's id.
	places []place
	at     map[key]*place
	heads  map[key]*head
	stored map[key]*storedCatch
	erased map[key]bool // by public id
	more   bool         // some id is known, or some period has a report that bears on its fish

	outcomes []trial.CatchOutcome
	inserts  []trial.Catch
	ledgerN  []*int64
	entries  []trial.LedgerEntry
	parts    []trial.Parts
}

// key names a record: every record belongs to a trial.
type key struct{ trial, id trial.ID }

// place is a period with its enrolment and its trial.
type place struct {
	key
	asking     bool // some submission asks how far the swap rule has come
	found      bool
	trial      trial.Trial
	enrolment  trial.Enrolment
	period     trial.Period
	deviations []trial.Deviation
	landed     []trial.Catch // the fish that may count toward the swap, where a submission asks
}

// head is a chain's head, and whether it got new entries.
type head struct {
	trial.Head
	moved bool
}

// storedCatch is a catch that stands, its angler's account and its receipt.
type storedCatch struct {
	catch   trial.Catch
	account trial.ID
	receipt trial.Receipt
}

func newGroup(catches []trial.CatchSubmission, settings string) *group {
	g := &group{
		catches: catches, settings: settings, places: make([]place, 0, len(catches)), at: make(map[key]*place, len(catches)),
		heads: make(map[key]*head, len(catches)), stored: make(map[key]*storedCatch, len(catches)),
	}
	for _, s := range catches {
		in := key{s.Catch.TrialID, s.Catch.PeriodID}
		p := g.at[in]
		if p == nil {
			g.places = append(g.places, place{key: in})
			p = &g.places[len(g.places)-1]
			g.at[in] = p
		}
		p.asking = p.asking || s.Swap
	}
	return g
}

// submit is the whole transaction in two round trips: one begins it, takes the heads and reads, the other writes and
// commits. Under read committed each statement sees what had been committed when its own turn came, so what is read in the
// same trip as the lock is read after the lock was had. What is rare is read in a trip of its own.
func (g *group) submit(ctx context.Context, conn *pgx.Conn) (err error) {
	defer func() {
		if conn.PgConn().TxStatus() == 'I' || conn.IsClosed() {
			return
		}
		// Also when settling panics. A connection that cannot roll back is closed by the pool, which rolls back too.
		_, rollbackErr := conn.Exec(context.WithoutCancel(ctx), "ROLLBACK")
		err = errors.Join(err, rollbackErr)
	}()
	var begin, rare, end pgx.Batch
	begin.Queue(beginWrite)
	if g.settings != "" {
		begin.Queue(g.settings)
	}
	g.lockHeads(&begin)
	g.read(&begin)
	if err := conn.SendBatch(ctx, &begin).Close(); err != nil {
		return fmt.Errorf("begin, lock and read: %w", err)
	}
	if g.more {
		g.readRare(&rare)
		if err := conn.SendBatch(ctx, &rare).Close(); err != nil {
			return fmt.Errorf("read what is known already: %w", err)
		}
	}
	g.settle()
	if len(g.inserts) == 0 {
		return nil
	}
	g.write(&end)
	end.Queue("COMMIT")
	if err := conn.SendBatch(ctx, &end).Close(); err != nil {
		return fmt.Errorf("write and commit: %w", err)
	}
	return nil
}

// What is sent is looked up in what stands one by one by its key: LATERAL and OFFSET 0 keep the server from going the
// other way, through all that stands, as it would choose to while there is little.
const (
	sent   = ` FROM unnest($1::uuid[], $2::uuid[]) AS sent (trial_id, id) CROSS JOIN LATERAL (`
	bySent = `trial_id = sent.trial_id AND id = sent.id OFFSET 0) `
)

// lockHeads takes the heads of the chains to which the submissions' periods belong, in order of trial and chain.
func (g *group) lockHeads(batch *pgx.Batch) {
	// A period never changes its enrolment nor that its chain, so that they may be read before the lock is held.
	const lockChains = `
WITH chains AS MATERIALIZED (
    SELECT DISTINCT e.trial_id, e.chain_id` + sent + `SELECT enrolment_id FROM periods WHERE ` + bySent + `p
    CROSS JOIN LATERAL (SELECT e.trial_id, e.chain_id FROM enrolments e WHERE e.trial_id = sent.trial_id AND e.id = p.enrolment_id OFFSET 0) e
    ORDER BY e.trial_id, e.chain_id)
SELECT h.trial_id, h.chain_id, h.n, h.hash
FROM chains
CROSS JOIN LATERAL (SELECT * FROM ledger_heads h WHERE h.trial_id = chains.trial_id AND h.chain_id = chains.chain_id FOR UPDATE) h`
	var h head
	forEach(batch, lockChains, []any{&h.TrialID, &h.ChainID, &h.N, &h.Hash}, func() {
		found := h
		g.heads[key{h.TrialID, h.ChainID}] = &found
	}, keysOf(g.places)...)
}

// keysOf are places' trials and ids as arguments.
func keysOf(places []place) []any {
	return []any{viewOf(places, func(p *place) any { return &p.key.trial }), viewOf(places, func(p *place) any { return &p.id })}
}

// catchKeys are the submissions' trials and ids as arguments.
func (g *group) catchKeys() []any {
	return []any{
		viewOf(g.catches, func(s *trial.CatchSubmission) any { return &s.Catch.TrialID }),
		viewOf(g.catches, func(s *trial.CatchSubmission) any { return &s.Catch.ID }),
	}
}

// publicIDs are the submissions' public ids as an argument.
func (g *group) publicIDs() any {
	return viewOf(g.catches, func(s *trial.CatchSubmission) any { return s.Catch.ID.Public() })
}

// read reads what the submissions are settled by.
func (g *group) read(batch *pgx.Batch) {
	const (
		places = `
SELECT sent.trial_id, sent.id, p.enrolment_id, p.outing_id, p.fished, p.started_at, p.ended_at IS NOT NULL,
       e.chain_id, e.account_id, e.noters, e.brought_by, (e.consent ->> 'minor')::boolean, e.guardian_at, e.left_at, e.erased_at,
       t.state, t.registered_at, t.closed_at, EXISTS (
           SELECT FROM deviations d WHERE d.trial_id = sent.trial_id AND d.outing_id = p.outing_id AND d.period_id = sent.id)` +
			sent + `SELECT enrolment_id, outing_id, fished, started_at, ended_at FROM periods WHERE ` + bySent + `p
CROSS JOIN LATERAL (
    SELECT chain_id, account_id, noters, brought_by, consent, guardian_at, left_at, erased_at
    FROM enrolments e WHERE e.trial_id = sent.trial_id AND e.id = p.enrolment_id OFFSET 0) e
CROSS JOIN LATERAL (SELECT state, registered_at, closed_at FROM trials t WHERE t.id = sent.trial_id OFFSET 0) t`
		known = `
SELECT true FROM unnest($1::uuid[], $2::uuid[], $3::uuid[]) AS sent (trial_id, id, public_id)
LEFT JOIN LATERAL (SELECT true AS stands FROM catches WHERE ` + bySent + `c ON true
LEFT JOIN LATERAL (SELECT true AS stands FROM tombstones WHERE trial_id = sent.trial_id AND id = sent.public_id OFFSET 0) t ON true
WHERE c.stands OR t.stands LIMIT 1`
		// More fish than any swap rule asks for are not read.
		landed = `SELECT c.*` + sent + `
SELECT trial_id, period_id, taken_pattern, taken_position, outcome, species, length_value, length_unit FROM catches
WHERE trial_id = sent.trial_id AND period_id = sent.id AND outcome = 'landed' AND NOT foul_hooked AND NOT void LIMIT 100) c`
	)
	var p place
	var ended, minor, reported bool
	forEach(batch, places, []any{
		&p.key.trial, &p.id, &p.enrolment.ID, &p.period.OutingID, &p.period.Fished, &p.period.StartedAt, &ended,
		&p.enrolment.ChainID, &p.enrolment.AccountID, &p.enrolment.Noters, &p.enrolment.BroughtBy, &minor, &p.enrolment.GuardianAt, &p.enrolment.LeftAt, &p.enrolment.ErasedAt,
		&p.trial.State, &p.trial.RegisteredAt, &p.trial.ClosedAt, &reported,
	}, func() {
		to := g.at[p.key]
		to.found, to.trial, to.enrolment, to.period = true, p.trial, p.enrolment, p.period
		to.trial.ID, to.enrolment.TrialID, to.period.TrialID, to.period.ID, to.period.EnrolmentID = p.key.trial, p.key.trial, p.key.trial, p.id, p.enrolment.ID
		to.enrolment.Consent.Minor = minor
		if ended {
			to.period.End = &trial.PeriodEnd{}
		}
		g.more = g.more || reported
	}, keysOf(g.places)...)
	var stands bool
	forEach(batch, known, []any{&stands}, func() { g.more = true }, append(g.catchKeys(), g.publicIDs())...)
	if asking := g.asking(); len(asking) > 0 {
		var c trial.Catch
		var length *float64
		var unit *string
		forEach(batch, landed, []any{&c.TrialID, &c.PeriodID, &c.TakenPattern, &c.TakenPosition, &c.Outcome, &c.Species, &length, &unit}, func() {
			c.Length = measureOf(length, unit)
			in := g.at[key{c.TrialID, c.PeriodID}]
			in.landed = append(in.landed, c)
		}, keysOf(asking)...)
	}
}

// asking are the places of submissions that ask how far the swap rule has come.
func (g *group) asking() []place {
	return slices.DeleteFunc(slices.Clone(g.places), func(p place) bool { return !p.asking })
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

// readRare reads what stands under the ids that are sent, what of them was erased, and the reports of the periods.
func (g *group) readRare(batch *pgx.Batch) {
	const (
		sameIDs = `SELECT ` + catchColumns + `, e.account_id, e.chain_id, c.ledger_n, l.hash` + sent + `SELECT * FROM catches WHERE ` + bySent + `c
CROSS JOIN LATERAL (SELECT account_id, chain_id FROM enrolments e WHERE e.trial_id = c.trial_id AND e.id = c.enrolment_id OFFSET 0) e
LEFT JOIN LATERAL (
    SELECT hash FROM ledger_entries l WHERE l.trial_id = c.trial_id AND l.chain_id = e.chain_id AND l.n = c.ledger_n OFFSET 0) l ON true`
		reports = `SELECT d.*` + sent + `SELECT outing_id FROM periods WHERE ` + bySent + `p
CROSS JOIN LATERAL (` + selectDeviation + `WHERE trial_id = sent.trial_id AND outing_id = p.outing_id AND period_id = sent.id OFFSET 0) d
ORDER BY d.from_at, d.id`
		erased = `SELECT t.trial_id, t.id` + sent + `SELECT trial_id, id FROM tombstones WHERE ` + bySent + `t`
	)
	collect(batch, sameIDs, g.catchKeys(), through[storedRow], func(found storedCatch) {
		g.stored[key{found.catch.TrialID, found.catch.ID}] = &found
	})
	collect(batch, reports, keysOf(g.places), through[deviationRow], func(found trial.Deviation) {
		in := g.at[key{found.TrialID, found.PeriodID}]
		in.deviations = append(in.deviations, found)
	})
	g.erased = map[key]bool{}
	var gone key
	forEach(batch, erased, []any{&gone.trial, &gone.id}, func() { g.erased[gone] = true }, g.catchKeys()[0], g.publicIDs())
}

// forEach queues a query of which each row is read into the targets, and then used.
func forEach(batch *pgx.Batch, sql string, targets []any, use func(), args ...any) {
	batch.Queue(sql, args...).Query(func(rows pgx.Rows) error {
		_, err := pgx.ForEachRow(rows, targets, func() error { use(); return nil })
		return err
	})
}

// collect queues a query of which each row is a record, and used.
func collect[T any](batch *pgx.Batch, sql string, args []any, row pgx.RowToFunc[T], use func(T)) {
	batch.Queue(sql, args...).Query(func(rows pgx.Rows) error {
		found, err := pgx.CollectRows(rows, row)
		for _, record := range found {
			use(record)
		}
		return err
	})
}

// swap says how far the swap rule has come in a submission's period, nil where nobody asks.
func (p *place) swap(s trial.CatchSubmission) *trial.SwapState {
	if !s.Swap || !p.found {
		return nil
	}
	state := p.period.Swap(*s.Protocol, p.period.CountSwap(*s.Protocol, p.landed), s.Catch.ReceivedAt)
	return &state
}

// settle decides each submission in the order given. What it decides to insert stands for those after it.
func (g *group) settle() {
	g.outcomes = make([]trial.CatchOutcome, len(g.catches))
	for i, s := range g.catches {
		id := key{s.Catch.TrialID, s.Catch.ID}
		in := g.at[key{id.trial, s.Catch.PeriodID}]
		now := trial.Standing{Trial: in.trial, Erased: g.erased[key{id.trial, id.id.Public()}]}
		// A period that was saved only after the heads were taken comes too late: its chain is not held.
		chain := g.heads[key{id.trial, in.enrolment.ChainID}]
		if in.found && chain != nil {
			now.Period, now.Enrolment, now.Deviations = &in.period, in.enrolment, in.deviations
		}
		stored := g.stored[id]
		if stored != nil {
			now.Stored, now.StoredAccount = &stored.catch, stored.account
		}
		insert, replay, err := s.Settle(now)
		if err != nil {
			g.outcomes[i].Err = err
			continue
		}
		if !replay {
			stored = &storedCatch{catch: insert, account: in.enrolment.AccountID, receipt: g.enter(chain, insert, s.Parts)}
			g.stored[id] = stored
			if in.asking {
				in.landed = append(in.landed, insert)
			}
		}
		g.outcomes[i] = trial.CatchOutcome{Created: !replay, Swap: in.swap(s), Catch: stored.catch, NotedBy: trial.KeptBy(stored.account, stored.catch.NotedBy), Receipt: stored.receipt}
	}
}

// enter adds a catch and its ledger entry to what will be written.
func (g *group) enter(chain *head, c trial.Catch, parts trial.Parts) trial.Receipt {
	entry := chain.Next(trial.LedgerCatch, c.ID, parts)
	chain.Head, chain.moved = entry.Head(), true
	g.inserts = append(g.inserts, c)
	g.ledgerN = append(g.ledgerN, &entry.N)
	g.entries = append(g.entries, entry)
	g.parts = append(g.parts, parts)
	return trial.Receipt{ChainID: entry.ChainID, N: entry.N, Hash: entry.Hash}
}

// write saves what was settled.
func (g *group) write(batch *pgx.Batch) {
	batch.Queue(insertCatches, insertCatchesArgs(g.inserts, g.ledgerN)...)
	queueEntries(batch, g.entries, g.parts)
	moved := make([]trial.Head, 0, len(g.heads))
	for _, chain := range g.heads {
		if chain.moved {
			moved = append(moved, chain.Head)
		}
	}
	// The rows are held, so that they stay where they are until they are written. Their place is theirs alone only within one
	// partition, so that the key is compared too.
	const moveHeads = `
UPDATE ledger_heads h SET n = moved.n, hash = moved.hash
FROM unnest($1::uuid[], $2::uuid[], $3::bigint[], $4::bytea[]) AS moved (trial_id, chain_id, n, hash)
CROSS JOIN LATERAL (SELECT ctid AS place FROM ledger_heads WHERE trial_id = moved.trial_id AND chain_id = moved.chain_id OFFSET 0) held
WHERE h.ctid = held.place AND h.trial_id = moved.trial_id AND h.chain_id = moved.chain_id`
	of := func(value func(*trial.Head) any) any { return viewOf(moved, value) }
	batch.Queue(moveHeads, of(func(h *trial.Head) any { return &h.TrialID }), of(func(h *trial.Head) any { return &h.ChainID }),
		of(func(h *trial.Head) any { return h.N }), of(func(h *trial.Head) any { return &h.Hash }))
}
