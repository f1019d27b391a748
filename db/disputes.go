package db

import (
	"context"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

const selectDispute = `
SELECT trial_id, id, enrolment_id, kind, subject, words, filed_by, filed_as, filed_at FROM disputes `

type disputeRow struct{ trial.Dispute }

func (r disputeRow) record() trial.Dispute { return r.Dispute }

// decisionRow is a decision with the dispute that it belongs to.
type decisionRow struct {
	trial.DisputeDecision
	DisputeID trial.ID
}

// DisputesOf implements trial.ReadTx.
func (r readTx) DisputesOf(ctx context.Context, id trial.ID) ([]trial.Dispute, error) {
	return r.disputes(ctx, id, selectDispute+`WHERE trial_id = @trial_id ORDER BY filed_at, id`, pgx.StrictNamedArgs{"trial_id": id})
}

// DisputeBy implements trial.ReadTx.
func (r readTx) DisputeBy(ctx context.Context, id, dispute trial.ID) (trial.Dispute, error) {
	return r.dispute(ctx, id, selectDispute+`WHERE trial_id = @trial_id AND id = @id`, pgx.StrictNamedArgs{"trial_id": id, "id": dispute})
}

// DisputeAbout implements trial.ReadTx.
func (r readTx) DisputeAbout(ctx context.Context, id, subject trial.ID) (trial.Dispute, error) {
	return r.dispute(ctx, id, selectDispute+`WHERE trial_id = @trial_id AND subject = @subject`, pgx.StrictNamedArgs{"trial_id": id, "subject": subject})
}

func (r readTx) dispute(ctx context.Context, id trial.ID, sql string, args pgx.StrictNamedArgs) (trial.Dispute, error) {
	found, err := r.disputes(ctx, id, sql, args)
	if err != nil {
		return trial.Dispute{}, err
	}
	if len(found) == 0 {
		return trial.Dispute{}, trial.Missing("dispute")
	}
	return found[0], nil
}

func (r readTx) disputes(ctx context.Context, id trial.ID, sql string, args pgx.StrictNamedArgs) ([]trial.Dispute, error) {
	const decisionsOf = `
SELECT dispute_id, n, decision, reason, by_account AS by, by_role AS as, at FROM dispute_decisions
WHERE trial_id = @trial_id AND dispute_id = ANY(@ids) ORDER BY dispute_id, n`
	found, err := list(ctx, r.tx, "disputes", sql, args, through[disputeRow])
	if err != nil || len(found) == 0 {
		return found, err
	}
	ids := column(found, func(d trial.Dispute) trial.ID { return d.ID })
	decisions, err := list(ctx, r.tx, "decisions", decisionsOf, pgx.StrictNamedArgs{"trial_id": id, "ids": ids}, pgx.RowToStructByName[decisionRow])
	for _, made := range decisions {
		for i := range found {
			if found[i].ID == made.DisputeID {
				found[i].Decisions = append(found[i].Decisions, made.DisputeDecision)
			}
		}
	}
	return found, err
}

// InsertDispute implements trial.Tx.
func (w writeTx) InsertDispute(ctx context.Context, d trial.Dispute) error {
	const insertDispute = `
INSERT INTO disputes (trial_id, id, enrolment_id, kind, subject, words, filed_by, filed_as, filed_at)
VALUES (@trial_id, @id, @enrolment_id, @kind, @subject, @words, @filed_by, @filed_as, @filed_at)`
	return insert(ctx, w.tx, "dispute", insertDispute, pgx.StrictNamedArgs{
		"trial_id": d.TrialID, "id": d.ID, "enrolment_id": d.EnrolmentID, "kind": d.Kind, "subject": d.Subject, "words": d.Words,
		"filed_by": d.FiledBy, "filed_as": d.FiledAs, "filed_at": d.FiledAt,
	})
}

// InsertDecision implements trial.Tx.
func (w writeTx) InsertDecision(ctx context.Context, id, dispute trial.ID, d trial.DisputeDecision) error {
	const insertDecision = `
INSERT INTO dispute_decisions (trial_id, dispute_id, n, decision, reason, by_account, by_role, at)
VALUES (@trial_id, @dispute_id, @n, @decision, @reason, @by_account, @by_role, @at)`
	return insert(ctx, w.tx, "decision", insertDecision, pgx.StrictNamedArgs{
		"trial_id": id, "dispute_id": dispute, "n": d.N, "decision": d.Decision, "reason": d.Reason, "by_account": d.By, "by_role": d.As, "at": d.At,
	})
}

// ExcludeDisputed implements trial.Tx.
func (w writeTx) ExcludeDisputed(ctx context.Context, d trial.Dispute) error {
	table := map[string]string{trial.LedgerCatch: "catches", trial.LedgerOuting: "outings"}[d.Kind]
	sql := `UPDATE ` + table + ` SET disputed = true WHERE trial_id = @trial_id AND id = @id`
	return update(ctx, w.tx, d.Kind, sql, pgx.StrictNamedArgs{"trial_id": d.TrialID, "id": d.Subject})
}
