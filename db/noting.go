package db

import (
	"context"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// EnrolmentsNotedBy implements trial.ReadTx: in the order of joining.
func (r readTx) EnrolmentsNotedBy(ctx context.Context, id, account trial.ID) ([]trial.Enrolment, error) {
	const notedBy = selectEnrolment + `
WHERE e.trial_id = @trial_id AND (@account_id = ANY(e.noters) OR e.brought_by = @account_id) ORDER BY e.enrolled_at, e.id`
	return list(ctx, r.tx, "enrolments", notedBy, pgx.StrictNamedArgs{"trial_id": id, "account_id": account}, pgx.RowToStructByName[trial.Enrolment])
}

// CatchesNotedBy implements trial.ReadTx.
func (r readTx) CatchesNotedBy(ctx context.Context, id, enrolment, account trial.ID, page trial.Page) ([]trial.Catch, error) {
	const catchesNotedBy = selectCatch + `
WHERE c.trial_id = @trial_id AND c.enrolment_id = @enrolment_id AND c.noted_by = @noted_by AND (@after::uuid IS NULL OR c.id > @after)
ORDER BY c.id LIMIT @limit`
	args := pgx.StrictNamedArgs{"trial_id": id, "enrolment_id": enrolment, "noted_by": account}
	return list(ctx, r.tx, "catches", catchesNotedBy, paged(page, args), through[catchRow])
}

// SetNoters implements trial.Tx.
func (w writeTx) SetNoters(ctx context.Context, id, enrolment trial.ID, accounts []trial.ID) error {
	const setNoters = `UPDATE enrolments SET noters = @noters WHERE trial_id = @trial_id AND id = @id`
	return update(ctx, w.tx, "enrolment", setNoters, pgx.StrictNamedArgs{"trial_id": id, "id": enrolment, "noters": idsOrNull(accounts)})
}

// idsOrNull is what stands for a list that may be empty.
func idsOrNull(ids []trial.ID) any {
	if len(ids) == 0 {
		return nil
	}
	return ids
}

// forgetNoter forgets, for an enrolment about to be erased, what its angler did for others: that he may note for them, brought
// guests, typed and corrected their fish. That somebody else typed it stays known.
func (w writeTx) forgetNoter(ctx context.Context, id, enrolment trial.ID) error {
	const account = `(SELECT account_id FROM enrolments WHERE trial_id = @trial_id AND id = @id)`
	for _, sql := range []string{
		`UPDATE enrolments SET noters = nullif(array_remove(noters, ` + account + `), '{}') WHERE trial_id = @trial_id AND ` + account + ` = ANY(noters)`,
		`UPDATE enrolments SET brought_by = NULL, guardian_by = NULL, guardian_at = NULL WHERE trial_id = @trial_id AND brought_by = ` + account,
		`UPDATE fly_batches SET made_by = CASE WHEN made_by = ` + account + ` THEN NULL ELSE made_by END, inspected_by = CASE WHEN inspected_by = ` + account + ` THEN NULL ELSE inspected_by END
WHERE trial_id = @trial_id AND (made_by = ` + account + ` OR inspected_by = ` + account + `)`,
		`UPDATE fly_moves SET by_account = NULL WHERE trial_id = @trial_id AND by_account = ` + account,
		`UPDATE cards SET typed_by = CASE WHEN typed_by = ` + account + ` THEN NULL ELSE typed_by END, again_by = CASE WHEN again_by = ` + account + ` THEN NULL ELSE again_by END
WHERE trial_id = @trial_id AND (typed_by = ` + account + ` OR again_by = ` + account + `)`,
		`UPDATE catches SET noted_by = NULL WHERE trial_id = @trial_id AND noted_by = ` + account + ` AND enrolment_id <> @id`,
		`UPDATE amendments SET by_account = '00000000-0000-0000-0000-000000000000' WHERE trial_id = @trial_id AND by_account = ` + account + ` AND enrolment_id <> @id`,
	} {
		if _, err := exec(ctx, w.tx, "forget who noted", sql, pgx.StrictNamedArgs{"trial_id": id, "id": enrolment}); err != nil {
			return err
		}
	}
	return nil
}
