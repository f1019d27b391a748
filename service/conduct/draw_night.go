package conduct

import (
	"context"
	"errors"
	"time"

	"golang.org/x/text/unicode/norm"

	"evenrig/service/trial"
)

// DrawNightView is the list of words for a trial's draw as one member sees it: the words in their order, and which of
// them is his own. Who gave the others is told to nobody.
type DrawNightView struct {
	ClosedAt *time.Time
	Words    []WordView
}

// WordView is one word.
type WordView struct {
	N    int
	Word string
	Mine bool
}

func viewDrawNight(night trial.DrawNight, actor trial.Actor) DrawNightView {
	view := DrawNightView{ClosedAt: night.ClosedAt}
	for _, w := range night.Words {
		view.Words = append(view.Words, WordView{N: w.N, Word: w.Word, Mine: w.AccountID == actor.AccountID})
	}
	return view
}

// DrawNight lists the words that members gave for a trial's draw.
func (s *Service) DrawNight(ctx context.Context, actor trial.Actor, id trial.ID) (view DrawNightView, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.ReadTrial); err != nil {
			return err
		}
		night, err := tx.DrawNightOf(ctx, id)
		view = viewDrawNight(night, actor)
		return err
	})
	if err != nil {
		return DrawNightView{}, err
	}
	return view, nil
}

// GiveWord adds the actor's word to a trial's draw, in Unicode's form NFC; created is false for the same word sent again.
// A member gives one word, which cannot be taken back.
func (s *Service) GiveWord(ctx context.Context, actor trial.Actor, id trial.ID, word string) (view DrawNightView, created bool, err error) {
	word = norm.NFC.String(word)
	now, salts := s.now(), s.salts()
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.GiveWord); err != nil {
			return err
		}
		if err := trial.CheckWord(word); err != nil {
			return err
		}
		t, err := tx.LockTrial(ctx, id)
		if err != nil {
			return err
		}
		night, err := tx.DrawNightOf(ctx, id)
		if err != nil {
			return err
		}
		for _, w := range night.Words {
			switch {
			case w.AccountID != actor.AccountID:
			case w.Word == word:
				view, created = viewDrawNight(night, actor), false
				return nil
			default:
				return trial.Fail(trial.Conflict, "word.given", "you gave the word %q already; a member gives one word, which stays", w.Word)
			}
		}
		if err := t.TakesWord(night); err != nil {
			return err
		}
		given := trial.DrawWord{TrialID: id, N: len(night.Words) + 1, AccountID: actor.AccountID, Word: word, At: now}
		if err := tx.InsertWord(ctx, given); err != nil {
			return err
		}
		night.Words = append(night.Words, given)
		view, created = viewDrawNight(night, actor), true
		// Who gave it stands beside the word alone, where it can be erased without the chain.
		r, err := recordOf(salts, fields{"n": given.N, "word": word}, fields{"at": at(now)})
		if err != nil {
			return err
		}
		return appendOrganisers(ctx, tx, id, trial.LedgerWord, r)
	})
	if err != nil {
		return DrawNightView{}, false, err
	}
	return view, created, nil
}

// CloseDrawNight closes the list of words; one that is closed stays as it is.
func (s *Service) CloseDrawNight(ctx context.Context, actor trial.Actor, id trial.ID) (DrawNightView, error) {
	now, salts := s.now(), s.salts()
	err := s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.CloseDrawNight); err != nil {
			return err
		}
		return closeDrawNight(ctx, tx, id, actor.AccountID, now, salts)
	})
	if err != nil {
		return DrawNightView{}, err
	}
	return s.DrawNight(ctx, actor, id)
}

// errDrawNight says that a unit may be handed out but for the words, whose list is not closed yet.
var errDrawNight = errors.New("the list of words for the draw is open")

// closeByFirstUnit closes the list of words before the first unit is handed out. It is a transaction of its own, because
// the trial is locked before any chain.
func (s *Service) closeByFirstUnit(ctx context.Context, id trial.ID, now time.Time) error {
	salts := s.salts()
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		return closeDrawNight(ctx, tx, id, trial.ID{}, now, salts)
	})
}

// closeDrawNight closes the list; by is zero when the first unit does it. The trial's lock waits for a word on its way, and
// no word comes after it.
func closeDrawNight(ctx context.Context, tx trial.Tx, id, by trial.ID, now time.Time, salts trial.Parts) error {
	t, err := tx.LockTrial(ctx, id)
	if err != nil {
		return err
	}
	night, err := tx.DrawNightOf(ctx, id)
	if err != nil || night.ClosedAt != nil {
		return err
	}
	if len(night.Words) < trial.MostWords { // a full list may be closed too
		if err := t.TakesWord(night); err != nil {
			return err
		}
	}
	if err := tx.CloseDrawNight(ctx, id, now); err != nil {
		return err
	}
	r, err := recordOf(salts, fields{"words": len(night.Words)}, fields{"by": idOrNil(by), "at": at(now)})
	if err != nil {
		return err
	}
	return appendOrganisers(ctx, tx, id, trial.LedgerDrawNight, r)
}

// appendOrganisers adds a record of the trial itself to the organiser's chain.
func appendOrganisers(ctx context.Context, tx trial.Tx, id trial.ID, kind string, r record) error {
	head, err := tx.LockHead(ctx, id, id)
	if err != nil {
		return err
	}
	return tx.Append(ctx, head.Next(kind, id, r.parts), r.parts)
}
