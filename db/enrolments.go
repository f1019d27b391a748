package db

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// The name is the account's, for lists; nobody's name stands beside records.
const selectEnrolment = `
SELECT e.trial_id, e.id, e.chain_id, e.account_id, coalesce(a.name, '') AS name, coalesce(e.pseudonym, '') AS pseudonym, e.code,
       e.consent, e.enrolled_at, e.sent_digest, e.left_at, e.erased_at, e.noters, e.brought_by, e.guardian_by, e.guardian_at,
       coalesce(e.erased_outings, 0) AS erased_outings, coalesce(e.erased_fish, 0) AS erased_fish
FROM enrolments e LEFT JOIN accounts a ON a.id = e.account_id `

// EnrolmentBy implements trial.ReadTx.
func (r readTx) EnrolmentBy(ctx context.Context, id, enrolment trial.ID) (trial.Enrolment, error) {
	const enrolmentBy = selectEnrolment + `WHERE e.trial_id = @trial_id AND e.id = @id`
	return one(ctx, r.tx, "enrolment", enrolmentBy, pgx.StrictNamedArgs{"trial_id": id, "id": enrolment}, pgx.RowToStructByName[trial.Enrolment])
}

// EnrolmentOf implements trial.ReadTx. An erased enrolment has no account any more.
func (r readTx) EnrolmentOf(ctx context.Context, id, account trial.ID) (trial.Enrolment, error) {
	const enrolmentOf = selectEnrolment + `WHERE e.trial_id = @trial_id AND e.account_id = @account_id`
	return one(ctx, r.tx, "enrolment", enrolmentOf, pgx.StrictNamedArgs{"trial_id": id, "account_id": account}, pgx.RowToStructByName[trial.Enrolment])
}

// EnrolmentsOf implements trial.ReadTx: in the order of joining, erased ones too.
func (r readTx) EnrolmentsOf(ctx context.Context, id trial.ID) ([]trial.Enrolment, error) {
	const enrolmentsOf = selectEnrolment + `WHERE e.trial_id = @trial_id ORDER BY e.enrolled_at, e.id`
	return list(ctx, r.tx, "enrolments", enrolmentsOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByName[trial.Enrolment])
}

// PseudonymsOf implements trial.ReadTx.
func (r readTx) PseudonymsOf(ctx context.Context, id trial.ID) ([]string, error) {
	const pseudonymsOf = `SELECT pseudonym FROM enrolments WHERE trial_id = @trial_id AND pseudonym IS NOT NULL`
	return list(ctx, r.tx, "pseudonyms", pseudonymsOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowTo[string])
}

// EnrolmentsIn implements trial.ReadTx.
func (r readTx) EnrolmentsIn(ctx context.Context, club, account trial.ID) ([]trial.Enrolment, error) {
	const enrolmentsIn = selectEnrolment + `JOIN trials t ON t.id = e.trial_id
WHERE t.club_id = @club_id AND e.account_id = @account_id ORDER BY e.trial_id`
	return list(ctx, r.tx, "enrolments", enrolmentsIn, pgx.StrictNamedArgs{"club_id": club, "account_id": account}, pgx.RowToStructByName[trial.Enrolment])
}

const insertEnrolment = `
INSERT INTO enrolments (trial_id, id, chain_id, account_id, pseudonym, code, consent, enrolled_at, sent_digest, left_at, erased_at, noters, brought_by, guardian_by, guardian_at)
VALUES (@trial_id, @id, @chain_id, @account_id, @pseudonym, @code, @consent, @enrolled_at, @sent_digest, @left_at, @erased_at, @noters, @brought_by, @guardian_by, @guardian_at)`

func enrolmentArgs(e trial.Enrolment) pgx.StrictNamedArgs {
	return pgx.StrictNamedArgs{
		"trial_id": e.TrialID, "id": e.ID, "chain_id": e.ChainID, "account_id": e.AccountID, "pseudonym": e.Pseudonym, "code": e.Code,
		"consent": e.Consent, "enrolled_at": e.EnrolledAt, "sent_digest": e.SentDigest, "left_at": e.LeftAt, "erased_at": e.ErasedAt,
		"noters": idsOrNull(e.Noters), "brought_by": e.BroughtBy, "guardian_by": e.GuardianBy, "guardian_at": e.GuardianAt,
	}
}

// InsertEnrolment implements trial.Tx. The name is the account's and not kept here.
func (w writeTx) InsertEnrolment(ctx context.Context, e trial.Enrolment) error {
	return insert(ctx, w.tx, "enrolment", insertEnrolment, enrolmentArgs(e))
}

// LeaveEnrolment implements trial.Tx. Who left before keeps that time.
func (w writeTx) LeaveEnrolment(ctx context.Context, id, enrolment trial.ID, at time.Time) error {
	const leaveEnrolment = `UPDATE enrolments SET left_at = coalesce(left_at, @at) WHERE trial_id = @trial_id AND id = @id`
	return update(ctx, w.tx, "enrolment", leaveEnrolment, pgx.StrictNamedArgs{"trial_id": id, "id": enrolment, "at": at})
}

// publicID is trial.ID.Public in SQL: a version 7 id without the bits that tell when it was made.
func publicID(column string) string {
	return `CASE WHEN substr(` + column + `::text, 15, 1) = '7' THEN ('00000000-0000' || substr(` + column + `::text, 14))::uuid ELSE ` + column + ` END`
}

// eraseStatements remove what an enrolment holds, in an order that the keys allow. Its records are counted first. The
// parts of its own chain go, and in a shared chain those of its records; what stays of their ids tells no time.
var eraseStatements = []string{
	`UPDATE enrolments SET
    erased_outings = coalesce(erased_outings, (SELECT count(*) FROM outings WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id)),
    erased_fish = coalesce(erased_fish, (SELECT count(*) FROM catches WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id))
WHERE trial_id = @trial_id AND id = @enrolment_id`,
	`INSERT INTO tombstones (trial_id, id, enrolment_id)
SELECT trial_id, ` + publicID("id") + `, enrolment_id FROM (
    SELECT trial_id, id, enrolment_id FROM catches WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id
    UNION ALL SELECT trial_id, id, enrolment_id FROM deviations WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id
    UNION ALL SELECT trial_id, id, enrolment_id FROM periods WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id
    UNION ALL SELECT trial_id, id, enrolment_id FROM units WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id
    UNION ALL SELECT trial_id, id, enrolment_id FROM temperatures WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id
    UNION ALL SELECT trial_id, id, enrolment_id FROM outings WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id) records
ON CONFLICT (trial_id, id) DO NOTHING`, // a phone may have used one id for two kinds of record
	`DELETE FROM ledger_parts p USING ledger_entries e
WHERE e.trial_id = @trial_id AND p.trial_id = e.trial_id AND p.chain_id = e.chain_id AND p.n = e.n
  AND (e.chain_id = @enrolment_id
       OR e.chain_id = (SELECT chain_id FROM enrolments WHERE trial_id = @trial_id AND id = @enrolment_id)
          AND ` + publicID("e.subject") + ` IN (SELECT id FROM tombstones WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id))`,
	`UPDATE ledger_entries SET subject = ` + publicID("subject") + ` WHERE trial_id = @trial_id AND chain_id = @enrolment_id`,
	`UPDATE fly_moves SET enrolment_id = NULL, note = '' WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id`,
	`DELETE FROM cards WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id`,
	`DELETE FROM counts WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id`,
	`DELETE FROM amendments WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id`,
	`DELETE FROM catches WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id`,
	`DELETE FROM deviations WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id`,
	`DELETE FROM periods WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id`,
	`DELETE FROM units WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id`,
	`DELETE FROM temperatures WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id`,
	`DELETE FROM dispute_decisions WHERE trial_id = @trial_id AND dispute_id IN (SELECT id FROM disputes WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id)`,
	`DELETE FROM disputes WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id`,
	`UPDATE welfare_overrides SET enrolment_id = NULL WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id`,
	`DELETE FROM outings WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id`,
}

// EraseEnrolment implements trial.Tx.
func (w writeTx) EraseEnrolment(ctx context.Context, id, enrolment trial.ID, at time.Time) error {
	const eraseEnrolment = `
UPDATE enrolments
SET account_id = NULL, pseudonym = NULL, code = NULL, guess = NULL, consent = '{}', sent_digest = NULL, noters = NULL, brought_by = NULL,
    guardian_by = NULL, guardian_at = NULL, left_at = coalesce(left_at, @at), erased_at = coalesce(erased_at, @at)
WHERE trial_id = @trial_id AND id = @id`
	if err := w.forgetNoter(ctx, id, enrolment); err != nil {
		return err
	}
	// The draw hangs on the angler's word, other anglers' fish on what he decided of them, and a question is the trial's; that it
	// was his is forgotten, while it is still known.
	for _, column := range [][2]string{{"draw_words", "account_id"}, {"disputes", "filed_by"}, {"dispute_decisions", "by_account"}, {"questions", "asked_by"}} {
		forget := `UPDATE ` + column[0] + ` SET ` + column[1] + ` = NULL
WHERE trial_id = @trial_id AND ` + column[1] + ` = (SELECT account_id FROM enrolments WHERE trial_id = @trial_id AND id = @id)`
		if _, err := exec(ctx, w.tx, "forget who it was", forget, pgx.StrictNamedArgs{"trial_id": id, "id": enrolment}); err != nil {
			return err
		}
	}
	if err := update(ctx, w.tx, "enrolment", eraseEnrolment, pgx.StrictNamedArgs{"trial_id": id, "id": enrolment, "at": at}); err != nil {
		return err
	}
	for _, sql := range eraseStatements {
		if _, err := exec(ctx, w.tx, "erase records", sql, pgx.StrictNamedArgs{"trial_id": id, "enrolment_id": enrolment}); err != nil {
			return err
		}
	}
	return nil
}

// oneSent is one for a record that anglers send: one that was erased is Gone, not missing.
func oneSent[T any](ctx context.Context, tx pgx.Tx, what, sql string, id, record trial.ID, row pgx.RowToFunc[T]) (T, error) {
	found, err := one(ctx, tx, what, sql, pgx.StrictNamedArgs{"trial_id": id, "id": record}, row)
	if trial.KindOf(err) != trial.NotFound {
		return found, err
	}
	const isErased = `SELECT count(*) > 0 FROM tombstones WHERE trial_id = @trial_id AND id = @id`
	erased, erasedErr := one(ctx, tx, "erased records", isErased, pgx.StrictNamedArgs{"trial_id": id, "id": record.Public()}, pgx.RowTo[bool])
	switch {
	case erasedErr != nil:
		return found, erasedErr
	case erased:
		return found, trial.Fail(trial.Gone, "record.erased", "the record %s was erased on its angler's wish", record)
	}
	return found, err
}
