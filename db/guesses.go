package db

import (
	"context"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// GuessesOf implements trial.ReadTx.
func (r readTx) GuessesOf(ctx context.Context, id trial.ID) ([]trial.Guess, error) {
	const guessesOf = `
SELECT id AS enrolment_id, pseudonym, guess AS share FROM enrolments WHERE trial_id = @trial_id AND guess IS NOT NULL AND erased_at IS NULL ORDER BY pseudonym`
	return list(ctx, r.tx, "guesses", guessesOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByName[trial.Guess])
}

// SaveGuess implements trial.Tx.
func (w writeTx) SaveGuess(ctx context.Context, id, enrolment trial.ID, share int) error {
	const saveGuess = `UPDATE enrolments SET guess = coalesce(guess, @share) WHERE trial_id = @trial_id AND id = @id`
	return update(ctx, w.tx, "enrolment", saveGuess, pgx.StrictNamedArgs{"trial_id": id, "id": enrolment, "share": share})
}
