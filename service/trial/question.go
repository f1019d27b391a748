package trial

import (
	"context"
	"time"
)

// Question is what a member asks of the organiser about a trial, and the answer, once each: neither changes afterwards.
// Answer is empty and AnsweredAt nil while it is not answered. AskedBy is zero once the asker was erased; AskedAs stays.
type Question struct {
	TrialID    ID
	N          int // from 1
	AskedBy    ID
	AskedAs    Role
	AskedAt    time.Time
	Text       string
	AnsweredBy ID
	AnsweredAt *time.Time
	Answer     string
}

// MostQuestions is how many questions a trial takes.
const MostQuestions = 200

// CheckQuestion returns the fault of a question's text, CheckAnswer that of an answer's.
func CheckQuestion(text string) error {
	var f Faults
	length(&f, "question", text, 5, 1000)
	return f.Err("question.invalid", "the question has a fault")
}

// CheckAnswer returns the fault of an answer's text.
func CheckAnswer(text string) error {
	var f Faults
	length(&f, "answer", text, 1, 2000)
	return f.Err("answer.invalid", "the answer has a fault")
}

// TakesQuestion returns nil when the trial takes one more question: from registration on, in any state.
func (t Trial) TakesQuestion(asked int) error {
	switch {
	case t.State == Draft:
		return Fail(Conflict, "trial.state", "the trial is draft; questions are taken once it is registered")
	case asked >= MostQuestions:
		return Fail(Conflict, "question.many", "the trial has %d questions, which is all it takes; ask its organiser otherwise", asked)
	}
	return nil
}

// QuestionReadTx is the part of ReadTx about questions.
type QuestionReadTx interface {
	// QuestionsOf returns a trial's questions in order of number.
	QuestionsOf(ctx context.Context, trial ID) ([]Question, error)
}

// QuestionTx is the part of Tx about questions and about the angler's ticks.
type QuestionTx interface {
	InsertQuestion(ctx context.Context, q Question) error
	// AnswerQuestion saves the answer, Conflict when there is one.
	AnswerQuestion(ctx context.Context, q Question) error
	// SaveConsent saves an enrolment's ticks and who confirmed a guardian's.
	SaveConsent(ctx context.Context, e Enrolment) error
}
