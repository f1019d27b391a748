package conduct

import (
	"context"

	"evenrig/service/report"
	"evenrig/service/trial"
)

// QuestionView is a question as a member sees it: who asked the others' is told to nobody, only in which role.
type QuestionView struct {
	Question trial.Question
	Mine     bool
}

func viewQuestion(q trial.Question, actor trial.Actor) QuestionView {
	view := QuestionView{Question: q, Mine: q.AskedBy == actor.AccountID}
	view.Question.AskedBy, view.Question.AnsweredBy = trial.ID{}, trial.ID{}
	return view
}

// Questions lists what members asked of a trial, with the answers.
func (s *Service) Questions(ctx context.Context, actor trial.Actor, id trial.ID) (views []QuestionView, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.ReadTrial); err != nil {
			return err
		}
		list, err := tx.QuestionsOf(ctx, id)
		views = nil
		for _, q := range list {
			views = append(views, viewQuestion(q, actor))
		}
		return err
	})
	return views, err
}

// Ask files a question about a trial: its text stands in the organiser's chain, so that it can neither be changed nor be
// dropped without showing, and the trial's report lists it with its answer, or that there is none.
func (s *Service) Ask(ctx context.Context, actor trial.Actor, id trial.ID, text string) (view QuestionView, err error) {
	if err := trial.CheckQuestion(text); err != nil {
		return view, err
	}
	now, salts := s.now(), s.salts()
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		t, err := tx.TrialBy(ctx, id)
		if err != nil {
			return err
		}
		member, err := inClub(ctx, tx, actor, t.ClubID, trial.AskQuestion, "trial")
		if err != nil {
			return err
		}
		if t, err = tx.LockTrial(ctx, id); err != nil {
			return err
		}
		asked, err := tx.QuestionsOf(ctx, id)
		if err != nil {
			return err
		}
		if err := t.TakesQuestion(len(asked)); err != nil {
			return err
		}
		q := trial.Question{TrialID: id, N: len(asked) + 1, AskedBy: actor.AccountID, AskedAs: member.Role, AskedAt: now, Text: text}
		if err := tx.InsertQuestion(ctx, q); err != nil {
			return err
		}
		view = viewQuestion(q, actor)
		// Who asked stands beside the question alone, where it can be erased without the chain.
		r, err := recordOf(salts, fields{"n": q.N, "question": text, "role": q.AskedAs, "week": week(now)}, fields{"at": at(now)})
		if err != nil {
			return err
		}
		return appendOrganisers(ctx, tx, id, trial.LedgerQuestion, r)
	})
	return view, err
}

// Answer answers a question, once.
func (s *Service) Answer(ctx context.Context, actor trial.Actor, id trial.ID, n int, text string) (view QuestionView, err error) {
	if err := trial.CheckAnswer(text); err != nil {
		return view, err
	}
	now, salts := s.now(), s.salts()
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.AnswerQuestion); err != nil {
			return err
		}
		if _, err := tx.LockTrial(ctx, id); err != nil {
			return err
		}
		asked, err := tx.QuestionsOf(ctx, id)
		if err != nil {
			return err
		}
		if n < 1 || n > len(asked) {
			return trial.Missing("question")
		}
		q := asked[n-1]
		q.AnsweredBy, q.AnsweredAt, q.Answer = actor.AccountID, &now, text
		if err := tx.AnswerQuestion(ctx, q); err != nil {
			return err
		}
		view = viewQuestion(q, actor)
		r, err := recordOf(salts, fields{"n": n, "answer": text, "week": week(now)}, fields{"by": actor.AccountID, "at": at(now)})
		if err != nil {
			return err
		}
		return appendOrganisers(ctx, tx, id, trial.LedgerAnswer, r)
	})
	return view, err
}

// asked adds the questions that members filed and the analyses that were withdrawn.
func asked(ctx context.Context, tx trial.ReadTx, id trial.ID, about *report.About) error {
	questions, err := tx.QuestionsOf(ctx, id)
	if err != nil {
		return err
	}
	for _, q := range questions {
		about.Questions = append(about.Questions, report.Question{N: q.N, Asked: q.AskedAt, Text: q.Text, Answer: q.Answer})
	}
	analyses, err := tx.AnalysesOf(ctx, id)
	if err != nil {
		return err
	}
	for _, a := range analyses {
		if a.State == trial.Withdrawn {
			about.Withdrawn = append(about.Withdrawn, report.WithdrawnAnalysis{
				N: a.N, At: *a.WithdrawnAt, Why: "an angler whom it counted has had the records erased",
			})
		}
	}
	return nil
}
