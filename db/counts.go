package db

import (
	"context"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// counts.counted_at holds the version of the counting rules above the place in the chain, so that what programs of other rules counted
// is never at a head: while two releases run side by side each counts for itself, and of two counts that of the newer rules stays.
const countedBase = int64(trial.CountingRules) << 40

// CountsOf implements trial.ReadTx. One that was never counted by these rules was counted at a place that no head is at.
func (r readTx) CountsOf(ctx context.Context, id trial.ID) ([]trial.EnrolmentCount, error) {
	const countsOf = `
SELECT e.id AS enrolment_id, coalesce(e.pseudonym, '') AS pseudonym, e.erased_at IS NOT NULL AS erased,
       coalesce(e.erased_fish, 0) AS erased_fish, e.left_at IS NOT NULL AND e.erased_at IS NULL AS "left", coalesce(h.n, 0) AS head_n,
       coalesce(c.counted_at - @base::bigint, -1) AS counted_at, coalesce(c.tallies, '[]') AS tallies, coalesce(c.effort, '{}') AS effort
FROM enrolments e
LEFT JOIN ledger_heads h ON h.trial_id = e.trial_id AND h.chain_id = e.chain_id
LEFT JOIN counts c ON c.trial_id = e.trial_id AND c.enrolment_id = e.id
WHERE e.trial_id = @trial_id
ORDER BY e.pseudonym COLLATE "C", e.id`
	return list(ctx, r.tx, "counts", countsOf, pgx.StrictNamedArgs{"trial_id": id, "base": countedBase}, pgx.RowToStructByName[trial.EnrolmentCount])
}

// AnalysedLately implements trial.ReadTx.
func (r readTx) AnalysedLately(ctx context.Context, id trial.ID) (int64, error) {
	const analysedLately = `SELECT coalesce(sum(analysed), 0)::bigint FROM counts WHERE trial_id = @trial_id`
	return one(ctx, r.tx, "counts", analysedLately, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowTo[int64])
}

// SaveCount implements trial.Tx. A count as of a later entry is kept; one of an angler who has his records erased meanwhile is
// dropped: erasing marks the enrolment before it removes the count, and waits for who holds it.
func (w writeTx) SaveCount(ctx context.Context, id trial.ID, c trial.EnrolmentCount) error {
	const saveCount = `
INSERT INTO counts AS stands (trial_id, enrolment_id, counted_at, analysed, tallies, effort)
SELECT trial_id, id, @counted_at::bigint, @analysed::bigint, @tallies::json, @effort::json
FROM enrolments
WHERE trial_id = @trial_id AND id = @enrolment_id AND erased_at IS NULL
FOR SHARE
ON CONFLICT (trial_id, enrolment_id) DO UPDATE
SET counted_at = excluded.counted_at, analysed = excluded.analysed, tallies = excluded.tallies, effort = excluded.effort
WHERE stands.counted_at <= excluded.counted_at`
	tallies := c.Tallies
	if tallies == nil {
		tallies = []trial.Tally{}
	}
	var analysed int64
	for _, t := range tallies {
		if t.Exclusion == trial.Analysed {
			analysed += t.N
		}
	}
	_, err := exec(ctx, w.tx, "save count", saveCount, pgx.StrictNamedArgs{
		"trial_id": id, "enrolment_id": c.EnrolmentID, "counted_at": countedBase + c.CountedAt, "analysed": analysed, "tallies": tallies, "effort": c.Effort,
	})
	return err
}
