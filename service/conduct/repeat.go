package conduct

import (
	"context"

	"evenrig/service/trial"
)

// CreateRepeat drafts a trial of the club that repeats a published one: its rules as they were published, without waters, dates and
// whatever else is the club's own. The trial that is repeated may be another club's, or have been read from a package.
func (s *Service) CreateRepeat(ctx context.Context, actor trial.Actor, club, of trial.ID) (TrialView, error) {
	var p trial.Protocol
	err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if _, err := inClub(ctx, tx, actor, club, trial.WriteProtocol, "club"); err != nil {
			return err
		}
		t, original, err := repeated(ctx, tx, actor, of)
		if err != nil {
			return err
		}
		rules, err := s.rulesOf(ctx, tx, t)
		if err != nil {
			return err
		}
		people, err := namesOf(ctx, tx, t)
		if err != nil {
			return err
		}
		p = rules.Published().WithoutPeople(people).Repeat(original)
		return nil
	})
	if err != nil {
		return TrialView{}, err
	}
	return s.CreateTrial(ctx, actor, club, p)
}

// repeated returns the trial that is to be repeated, and under which id: that of the trial that was fished, also where a copy is
// named. A copy is seen by its club alone.
//
// Errors: Unknown, naming repeat_of, for a trial that is not published or not there.
func repeated(ctx context.Context, tx trial.ReadTx, actor trial.Actor, of trial.ID) (t trial.Trial, original trial.ID, err error) {
	t, err = tx.TrialBy(ctx, of)
	if trial.KindOf(err) == trial.NotFound || err == nil && t.State != trial.Published {
		return t, original, trial.Unknown("repeat_of")
	}
	if err != nil {
		return t, original, err
	}
	if !t.IsCopy() {
		return t, t.ID, nil
	}
	if _, err := inClub(ctx, tx, actor, t.ClubID, trial.ReadTrial, "repeat_of"); err != nil {
		return t, original, trial.Unknown("repeat_of")
	}
	return t, t.Original, nil
}

// noteRepeat notes, when a trial is registered, which published trial of this server it repeats.
func noteRepeat(ctx context.Context, tx trial.Tx, t trial.Trial, p trial.Protocol) error {
	if p.RepeatOf.IsZero() {
		return nil
	}
	of, err := tx.TrialBy(ctx, p.RepeatOf)
	switch {
	case trial.KindOf(err) == trial.NotFound:
		return nil // of another server
	case err != nil:
		return err
	case of.RegisteredAt == nil:
		return nil // nobody outside its club knows of it
	case of.State != trial.Published:
		return trial.Fail(trial.Conflict, "trial.repeat", "repeat_of names trial %s, which is %s; a trial can be repeated once it is published", of.ID, of.State)
	}
	return tx.InsertRepeat(ctx, of.ID, t.ID)
}
