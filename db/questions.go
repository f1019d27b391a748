package db

import (
	"context"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// QuestionsOf implements trial.ReadTx.
func (r readTx) QuestionsOf(ctx context.Context, id trial.ID) ([]trial.Question, error) {
	const questionsOf = `
SELECT trial_id, n, asked_by, asked_as, asked_at, question AS text, answered_by, answered_at, coalesce(answer, '') AS answer
FROM questions WHERE trial_id = @trial_id ORDER BY n`
	return list(ctx, r.tx, "questions", questionsOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByName[trial.Question])
}

// InsertQuestion implements trial.Tx.
func (w writeTx) InsertQuestion(ctx context.Context, q trial.Question) error {
	const insertQuestion = `
INSERT INTO questions (trial_id, n, asked_by, asked_as, asked_at, question) VALUES (@trial_id, @n, @asked_by, @asked_as, @asked_at, @question)`
	return insert(ctx, w.tx, "question", insertQuestion, pgx.StrictNamedArgs{
		"trial_id": q.TrialID, "n": q.N, "asked_by": q.AskedBy, "asked_as": q.AskedAs, "asked_at": q.AskedAt, "question": q.Text,
	})
}

// AnswerQuestion implements trial.Tx.
func (w writeTx) AnswerQuestion(ctx context.Context, q trial.Question) error {
	const answerQuestion = `
UPDATE questions SET answered_by = @answered_by, answered_at = @answered_at, answer = @answer
WHERE trial_id = @trial_id AND n = @n AND answer IS NULL`
	n, err := exec(ctx, w.tx, "answer question", answerQuestion, pgx.StrictNamedArgs{
		"trial_id": q.TrialID, "n": q.N, "answered_by": q.AnsweredBy, "answered_at": q.AnsweredAt, "answer": q.Answer,
	})
	if err == nil && n == 0 {
		return trial.Fail(trial.Conflict, "question.answered", "question %d was answered already; an answer stays as it was given", q.N)
	}
	return err
}

// SaveConsent implements trial.Tx.
func (w writeTx) SaveConsent(ctx context.Context, e trial.Enrolment) error {
	const saveConsent = `
UPDATE enrolments SET consent = @consent, guardian_by = @guardian_by, guardian_at = @guardian_at
WHERE trial_id = @trial_id AND id = @id AND erased_at IS NULL`
	return update(ctx, w.tx, "enrolment", saveConsent, pgx.StrictNamedArgs{
		"trial_id": e.TrialID, "id": e.ID, "consent": e.Consent, "guardian_by": e.GuardianBy, "guardian_at": e.GuardianAt,
	})
}
