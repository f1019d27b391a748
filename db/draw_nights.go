package db

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// DrawNightOf implements trial.ReadTx.
func (r readTx) DrawNightOf(ctx context.Context, id trial.ID) (night trial.DrawNight, err error) {
	const (
		words  = `SELECT trial_id, n, account_id, word, at FROM draw_words WHERE trial_id = @trial_id ORDER BY n`
		closed = `SELECT closed_at FROM draw_nights WHERE trial_id = @trial_id`
	)
	args := pgx.StrictNamedArgs{"trial_id": id}
	// Whether the list is closed is read first: once it is, no word follows.
	times, err := list(ctx, r.tx, "draw nights", closed, args, pgx.RowTo[time.Time])
	if err != nil {
		return night, err
	}
	for _, at := range times {
		night.ClosedAt = &at
	}
	night.Words, err = list(ctx, r.tx, "words", words, args, pgx.RowToStructByName[trial.DrawWord])
	return night, err
}

// WordsOf implements trial.ReadTx.
func (r readTx) WordsOf(ctx context.Context, id trial.ID) ([]string, error) {
	const wordsOf = `SELECT word FROM draw_words WHERE trial_id = @trial_id ORDER BY n`
	return list(ctx, r.tx, "words", wordsOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowTo[string])
}

// InsertWord implements trial.Tx.
func (w writeTx) InsertWord(ctx context.Context, word trial.DrawWord) error {
	const insertWord = `INSERT INTO draw_words (trial_id, n, account_id, word, at) VALUES (@trial_id, @n, @account_id, @word, @at)`
	return insert(ctx, w.tx, "word", insertWord, pgx.StrictNamedArgs{
		"trial_id": word.TrialID, "n": word.N, "account_id": word.AccountID, "word": word.Word, "at": word.At,
	})
}

// CloseDrawNight implements trial.Tx.
func (w writeTx) CloseDrawNight(ctx context.Context, id trial.ID, at time.Time) error {
	const closeDrawNight = `
INSERT INTO draw_nights (trial_id, closed_at) VALUES (@trial_id, @at) ON CONFLICT (trial_id) DO NOTHING`
	return insert(ctx, w.tx, "draw night", closeDrawNight, pgx.StrictNamedArgs{"trial_id": id, "at": at})
}
