package db

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

const publicationColumns = `trial_id, edition, state, licence, name_club, remarks, asked_at, asked_by, made_at, withdrawn_at, why, failure, program_version,
       title, question, club, sentence, package, size, anglers, fish`

// PublicationsOf implements trial.ReadTx: in order of edition.
func (r readTx) PublicationsOf(ctx context.Context, id trial.ID) ([]trial.Publication, error) {
	const publicationsOf = `SELECT ` + publicationColumns + ` FROM publications WHERE trial_id = @trial_id ORDER BY edition`
	return list(ctx, r.tx, "editions", publicationsOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByName[trial.Publication])
}

// EnqueuePublication implements trial.Tx. It locks the trial.
func (w writeTx) EnqueuePublication(ctx context.Context, p trial.Publication) (trial.Publication, error) {
	if _, err := w.LockTrial(ctx, p.TrialID); err != nil {
		return p, err
	}
	const nextEdition = `SELECT coalesce(max(edition), 0) + 1 FROM publications WHERE trial_id = @trial_id`
	var err error
	if p.Edition, err = one(ctx, w.tx, "editions", nextEdition, pgx.StrictNamedArgs{"trial_id": p.TrialID}, pgx.RowTo[int]); err != nil {
		return p, err
	}
	const insertPublication = `
INSERT INTO publications (` + publicationColumns + `)
VALUES (@trial_id, @edition, @state, @licence, @name_club, @remarks, @asked_at, @asked_by, @made_at, @withdrawn_at, @why, @failure, @program_version,
        @title, @question, @club, @sentence, @package, @size, @anglers, @fish)`
	args := editionArgs(p)
	args["licence"], args["name_club"], args["asked_at"], args["asked_by"] = p.Licence, p.NameClub, p.AskedAt, p.AskedBy
	if err := insert(ctx, w.tx, "edition", insertPublication, args); err != nil {
		return p, err
	}
	if _, err := w.queue.InsertTx(ctx, w.tx, publicationArgs{p.TrialID, p.Edition}, nil); err != nil {
		return p, fmt.Errorf("enqueue edition: %w", translate(err))
	}
	return p, nil
}

// UpdatePublication implements trial.Tx.
func (w writeTx) UpdatePublication(ctx context.Context, p trial.Publication) error {
	const updatePublication = `
UPDATE publications
SET state = @state, remarks = @remarks, made_at = @made_at, withdrawn_at = @withdrawn_at, why = @why, failure = @failure, program_version = @program_version,
    title = @title, question = @question, club = @club, sentence = @sentence, package = @package, size = @size, anglers = @anglers, fish = @fish
WHERE trial_id = @trial_id AND edition = @edition`
	return update(ctx, w.tx, "edition", updatePublication, editionArgs(p))
}

// editionArgs are the columns of an edition that may change, and its key.
func editionArgs(p trial.Publication) pgx.StrictNamedArgs {
	return pgx.StrictNamedArgs{
		"trial_id": p.TrialID, "edition": p.Edition, "state": p.State, "remarks": p.Remarks, "made_at": p.MadeAt, "withdrawn_at": p.WithdrawnAt, "why": p.Why,
		"failure": p.Failure, "program_version": p.ProgramVersion, "title": p.Title, "question": p.Question, "club": p.Club,
		"sentence": p.Sentence, "package": p.Package, "size": p.Size, "anglers": p.Anglers, "fish": p.Fish,
	}
}

// SavePackage implements trial.Tx.
func (w writeTx) SavePackage(ctx context.Context, id trial.ID, edition int, bytes io.Reader) error {
	const insertChunk = `INSERT INTO package_chunks (trial_id, edition, n, bytes) VALUES (@trial_id, @edition, @n, @bytes)`
	chunk := make([]byte, trial.PackageChunk)
	for n := 0; ; n++ {
		size, err := io.ReadFull(bytes, chunk)
		if size > 0 {
			args := pgx.StrictNamedArgs{"trial_id": id, "edition": edition, "n": n, "bytes": chunk[:size]}
			if err := insert(ctx, w.tx, "part of a package", insertChunk, args); err != nil {
				return err
			}
		}
		switch {
		case errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF):
			return nil
		case err != nil:
			return fmt.Errorf("read the package: %w", err)
		}
	}
}

// DropPackage implements trial.Tx.
func (w writeTx) DropPackage(ctx context.Context, id trial.ID, edition int) error {
	const dropPackage = `DELETE FROM package_chunks WHERE trial_id = @trial_id AND edition = @edition`
	_, err := exec(ctx, w.tx, "drop package", dropPackage, pgx.StrictNamedArgs{"trial_id": id, "edition": edition})
	return err
}

// PackageBytes implements trial.ReadTx.
func (r readTx) PackageBytes(ctx context.Context, id trial.ID, edition, n int) ([]byte, error) {
	const packageBytes = `SELECT bytes FROM package_chunks WHERE trial_id = @trial_id AND edition = @edition AND n = @n`
	return one(ctx, r.tx, "part of a package", packageBytes, pgx.StrictNamedArgs{"trial_id": id, "edition": edition, "n": n}, pgx.RowTo[[]byte])
}

// RepeatsOf implements trial.ReadTx: in order of id.
func (r readTx) RepeatsOf(ctx context.Context, id trial.ID) ([]trial.ID, error) {
	const repeatsOf = `SELECT repeat_id FROM repeats WHERE trial_id = @trial_id ORDER BY repeat_id`
	return list(ctx, r.tx, "repeats", repeatsOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowTo[trial.ID])
}

// InsertRepeat implements trial.Tx.
func (w writeTx) InsertRepeat(ctx context.Context, id, repeat trial.ID) error {
	const insertRepeat = `INSERT INTO repeats (trial_id, repeat_id) VALUES (@trial_id, @repeat_id)`
	return insert(ctx, w.tx, "repeat", insertRepeat, pgx.StrictNamedArgs{"trial_id": id, "repeat_id": repeat})
}

// OriginOf implements trial.ReadTx.
func (r readTx) OriginOf(ctx context.Context, id trial.ID) (trial.CopyOrigin, error) {
	const originOf = `
SELECT trial_id, original AS trial, edition, package, licence, club, read_at, read_by, findings FROM origins WHERE trial_id = @trial_id`
	return one(ctx, r.tx, "origin", originOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByName[trial.CopyOrigin])
}

// InsertOrigin implements trial.Tx.
func (w writeTx) InsertOrigin(ctx context.Context, o trial.CopyOrigin) error {
	const insertOrigin = `
INSERT INTO origins (trial_id, original, edition, package, licence, club, read_at, read_by, findings)
VALUES (@trial_id, @original, @edition, @package, @licence, @club, @read_at, @read_by, @findings)`
	return insert(ctx, w.tx, "origin", insertOrigin, pgx.StrictNamedArgs{
		"trial_id": o.TrialID, "original": o.Trial, "edition": o.Edition, "package": o.Package, "licence": o.Licence, "club": o.Club,
		"read_at": o.ReadAt, "read_by": o.ReadBy, "findings": o.Findings,
	})
}
