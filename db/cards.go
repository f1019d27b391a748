package db

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

const selectCard = `
SELECT trial_id, number, enrolment_id, outing_id, content, written_at, typed_by, typed_at, again_by, again_at, differs FROM cards `

// CardBy implements trial.ReadTx.
func (r readTx) CardBy(ctx context.Context, id trial.ID, number int) (trial.Card, error) {
	const cardBy = selectCard + `WHERE trial_id = @trial_id AND number = @number`
	return one(ctx, r.tx, "card", cardBy, pgx.StrictNamedArgs{"trial_id": id, "number": number}, pgx.RowToStructByName[trial.Card])
}

// CardsOf implements trial.ReadTx.
func (r readTx) CardsOf(ctx context.Context, id trial.ID) ([]trial.Card, error) {
	const cardsOf = selectCard + `WHERE trial_id = @trial_id ORDER BY number`
	return list(ctx, r.tx, "cards", cardsOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByName[trial.Card])
}

// PaperOut implements trial.ReadTx.
func (r readTx) PaperOut(ctx context.Context, id trial.ID) (bool, error) {
	const paperOut = `
SELECT EXISTS (SELECT FROM slip_sheets WHERE trial_id = @trial_id)
    OR EXISTS (SELECT FROM cards WHERE trial_id = @trial_id)
    OR EXISTS (SELECT FROM enrolments WHERE trial_id = @trial_id AND account_id IS NULL AND chain_id = id AND erased_at IS NULL)`
	return one(ctx, r.tx, "paper", paperOut, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowTo[bool])
}

// InsertCard implements trial.Tx.
func (w writeTx) InsertCard(ctx context.Context, c trial.Card) error {
	const insertCard = `
INSERT INTO cards (trial_id, number, enrolment_id, outing_id, content, written_at, typed_by, typed_at)
VALUES (@trial_id, @number, @enrolment_id, @outing_id, @content, @written_at, @typed_by, @typed_at)`
	return insert(ctx, w.tx, "card", insertCard, pgx.StrictNamedArgs{
		"trial_id": c.TrialID, "number": c.Number, "enrolment_id": c.EnrolmentID, "outing_id": c.OutingID, "content": c.Content,
		"written_at": c.WrittenAt, "typed_by": c.TypedBy, "typed_at": c.TypedAt,
	})
}

// CheckCard implements trial.Tx.
func (w writeTx) CheckCard(ctx context.Context, c trial.Card) error {
	const checkCard = `
UPDATE cards SET again_by = @again_by, again_at = @again_at, differs = @differs WHERE trial_id = @trial_id AND number = @number`
	return update(ctx, w.tx, "card", checkCard, pgx.StrictNamedArgs{
		"trial_id": c.TrialID, "number": c.Number, "again_by": c.AgainBy, "again_at": c.AgainAt, "differs": c.Differs,
	})
}

// InsertCatch implements trial.Tx.
func (w writeTx) InsertCatch(ctx context.Context, c trial.Catch, entry int64) error {
	_, err := w.tx.Exec(ctx, insertCatches, insertCatchesArgs([]trial.Catch{c}, []*int64{&entry})...)
	if err != nil {
		return fmt.Errorf("insert catch: %w", translate(err))
	}
	return nil
}
