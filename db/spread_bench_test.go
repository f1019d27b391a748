package db_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/db/dbtest"
	"evenrig/service/trial"
)

// The trials of BenchmarkSpread: 10 of each of 100 clubs, with 20 anglers each.
const (
	spreadTrials  = 1000
	spreadAnglers = 20
)

// layout is a database whose trials' tables lie in so many partitions, 0 for none, and the angler who is asked for next.
type layout struct {
	partitions int
	world      *world
	anglers    []*angler
	took       []time.Duration
}

// BenchmarkSpread fills three databases alike, plain, over 16 and over 64 partitions, with 1,000 trials of 20 fish each (or as many as
// EVENRIG_BENCH_FISH says), all caught side by side, and then does the same thing in each of them in turn. It reports the plain one's
// median and the others' as ratios to it: below 1 partitions are faster.
func BenchmarkSpread(b *testing.B) {
	fish := 20
	if said := os.Getenv("EVENRIG_BENCH_FISH"); said != "" {
		var err error
		if fish, err = strconv.Atoi(said); err != nil || fish < spreadAnglers {
			b.Fatalf("EVENRIG_BENCH_FISH is %q; accepted: %d or more", said, spreadAnglers)
		}
	}
	var layouts []*layout
	for _, partitions := range []int{0, 16, 64} {
		l := &layout{partitions: partitions, world: newWorld(b)}
		l.fill(b, fish/spreadAnglers)
		layouts = append(layouts, l)
	}
	reading := func(do func(ctx context.Context, tx trial.ReadTx, a *angler) error) func(b *testing.B, l *layout) {
		return func(b *testing.B, l *layout) {
			a := l.anglers[rand.IntN(len(l.anglers))]
			read(b, l.world.store, func(ctx context.Context, tx trial.ReadTx) error { return do(ctx, tx, a) })
		}
	}
	for _, c := range []struct {
		name string
		do   func(b *testing.B, l *layout)
	}{
		{"a fish sent alone", func(b *testing.B, l *layout) { l.submit(b, 1) }},
		{"64 anglers' fish in one group", func(b *testing.B, l *layout) { l.submit(b, 64) }},
		{"own list", reading(func(ctx context.Context, tx trial.ReadTx, a *angler) error {
			_, err := tx.CatchesOf(ctx, a.enrolment.TrialID, a.enrolment.ID, trial.Page{Limit: 100})
			return err
		})},
		{"an angler's records, as counting and exports read them", reading(func(ctx context.Context, tx trial.ReadTx, a *angler) error {
			_, err := tx.RecordsOf(ctx, a.enrolment.TrialID, a.enrolment.ID)
			return err
		})},
		{"counts of a trial", reading(func(ctx context.Context, tx trial.ReadTx, a *angler) error {
			_, err := tx.CountsOf(ctx, a.enrolment.TrialID)
			return err
		})},
		{"heads of a trial", reading(func(ctx context.Context, tx trial.ReadTx, a *angler) error {
			_, err := tx.HeadsOf(ctx, a.enrolment.TrialID)
			return err
		})},
		{"a club's list of trials", reading(func(ctx context.Context, tx trial.ReadTx, a *angler) error {
			_, err := tx.TrialsOf(ctx, a.world.club.ID, trial.Page{Limit: 100})
			return err
		})},
		{"trials that moved, over all heads", reading(func(ctx context.Context, tx trial.ReadTx, _ *angler) error {
			_, err := tx.TrialsMoved(ctx, time.Time{})
			return err
		})},
	} {
		b.Run(c.name, func(b *testing.B) {
			for _, l := range layouts {
				l.took = nil
				for range 20 { // until plans and pages are in memory
					c.do(b, l)
				}
			}
			for b.Loop() {
				for _, l := range layouts {
					begin := time.Now()
					c.do(b, l)
					l.took = append(l.took, time.Since(begin))
				}
			}
			plain := median(layouts[0].took)
			b.ReportMetric(float64(plain.Microseconds()), "plain-µs")
			for _, l := range layouts[1:] {
				b.ReportMetric(float64(median(l.took))/float64(plain), fmt.Sprintf("ratio-%d", l.partitions))
			}
		})
	}
}

func median(times []time.Duration) time.Duration {
	slices.Sort(times)
	return times[len(times)/2]
}

// submit saves a fish of each of n anglers.
func (l *layout) submit(b *testing.B, n int) {
	group := make([]trial.CatchSubmission, n)
	for i := range group {
		group[i] = l.anglers[rand.IntN(len(l.anglers))].fish()
		group[i].Swap = n == 1 // as a fish sent alone does
	}
	for _, o := range l.world.store.SubmitCatches(b.Context(), group) {
		if o.Err != nil {
			b.Fatal(o.Err)
		}
	}
}

// fill makes the trials with so many fish an angler, and then spreads them.
func (l *layout) fill(b *testing.B, fish int) {
	conn := connect(b, l.world.store.URL())
	begin := time.Now()
	exec := func(sql string, args ...any) {
		b.Helper()
		if _, err := conn.Exec(b.Context(), sql, args...); err != nil {
			b.Fatalf("%s: %v", sql, err)
		}
	}
	exec(`SET session_replication_role = replica`) // the keys between tables need no checking here, they are made right
	exec(`CREATE TEMP TABLE t AS SELECT i, gen_random_uuid() AS id FROM generate_series(1, $1::int) AS i`, spreadTrials)
	exec(`CREATE TEMP TABLE a AS SELECT j, gen_random_uuid() AS id FROM generate_series(1, $1::int) AS j`, spreadAnglers)
	exec(`CREATE TEMP TABLE e AS SELECT t.id AS trial, a.id AS account, j, gen_random_uuid() AS id, gen_random_uuid() AS outing, gen_random_uuid() AS period
FROM t CROSS JOIN a`)
	exec(`INSERT INTO clubs (id, name, created_at) SELECT gen_random_uuid(), 'Club ' || i, now() FROM generate_series(1, 99) AS i`)
	exec(`INSERT INTO accounts (id, name, admin, created_at) SELECT id, 'Angler ' || j, false, now() FROM a`)
	exec(`WITH c AS (SELECT id, row_number() OVER () AS n FROM clubs)
INSERT INTO trials (id, club_id, title, state, design, source, revision, protocol_version, scheme, created_at, registered_at)
SELECT t.id, c.id, 'Trial ' || i, 'open', 'paired', 'drawn', 1, 1, 1, now(), '2026-08-01' FROM t JOIN c ON c.n = i % 100 + 1`)
	exec(`INSERT INTO enrolments (trial_id, id, chain_id, account_id, pseudonym, consent, enrolled_at)
SELECT trial, id, id, account, lpad(j::text, 6, '0'), '{}', now() FROM e`)
	exec(`INSERT INTO outings (trial_id, id, enrolment_id, protocol_version, water, started_at, started_offset, started_late, conditions, note, received_at)
SELECT trial, outing, id, 1, 'Reed', now(), 0, false, '', '', now() FROM e`)
	exec(`INSERT INTO periods (trial_id, id, enrolment_id, outing_id, block, half, drawn, fished, confirmed, started_at, started_offset, received_at, version)
SELECT trial, period, id, outing, '1', 1, 'test_lower', 'test_lower', true, now(), 0, now(), 1 FROM e`)
	exec(`INSERT INTO ledger_heads (trial_id, chain_id, n, hash) SELECT trial, id, $1, sha256(id::text::bytea) FROM e`, fish)
	// Fish by fish over all anglers, as they would come; their ids grow with time.
	for k := range fish {
		exec(`INSERT INTO catches (trial_id, id, enrolment_id, period_id, taken_pattern, taken_position, outcome, foul_hooked, rig_intact, species, origin,
    caught_at, caught_offset, noted_at, noted_offset, length_value, length_unit, note, noted_by, received_at, sent_digest, version, void, after_lock, reason, ledger_n)
SELECT trial, (lpad(to_hex($1::int), 12, '0') || substr(replace(gen_random_uuid()::text, '-', ''), 13))::uuid, id, period, 'A', '', 'landed', false, true,
    'Thymallus thymallus', 'wild', now(), 120, now(), 120, 31.5, 'cm', '', account, now(), sha256(id::text::bytea), 1, false, false, '', $1 FROM e ORDER BY random()`, k+1)
		exec(`INSERT INTO ledger_entries (trial_id, chain_id, n, kind, subject, public_digest, private_digest, hash)
SELECT trial, id, $1, 'catch', gen_random_uuid(), d, d, d FROM e CROSS JOIN LATERAL sha256(e.id::text::bytea) AS d`, k+1)
		exec(`INSERT INTO ledger_parts (trial_id, chain_id, n, public, public_salt, private, private_salt)
SELECT trial, id, $1, convert_to(repeat('{"p":1}', 40), 'UTF8'), d, convert_to(repeat('{"p":1}', 30), 'UTF8'), d FROM e CROSS JOIN LATERAL sha256(e.id::text::bytea) AS d`, k+1)
	}
	filled := time.Since(begin)
	begin = time.Now()
	if l.partitions > 0 {
		if err := dbtest.Spread(b.Context(), l.world.store.URL(), l.partitions); err != nil {
			b.Fatal(err)
		}
	}
	spread := time.Since(begin)
	exec(`VACUUM (FREEZE, ANALYZE)`)
	var size string
	if err := conn.QueryRow(b.Context(), `SELECT pg_size_pretty(pg_database_size(current_database()))`).Scan(&size); err != nil {
		b.Fatal(err)
	}
	b.Logf("%d partitions: %d fish, %s; filled in %v, spread in %v", l.partitions, spreadTrials*spreadAnglers*fish, size, filled.Round(time.Second), spread.Round(time.Second))

	found, err := conn.Query(b.Context(), `SELECT trial, account, id, outing, period FROM e`)
	if err != nil {
		b.Fatal(err)
	}
	l.anglers, err = pgx.CollectRows(found, func(row pgx.CollectableRow) (*angler, error) {
		a := &angler{world: l.world}
		err := row.Scan((*[16]byte)(&a.enrolment.TrialID), (*[16]byte)(&a.account.ID), (*[16]byte)(&a.enrolment.ID), (*[16]byte)(&a.outing.ID), (*[16]byte)(&a.period.ID))
		a.period.TrialID = a.enrolment.TrialID
		return a, err
	})
	if err != nil {
		b.Fatal(err)
	}
}
