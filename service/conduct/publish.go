package conduct

import (
	"context"
	"time"

	"evenrig/service/exchange"
	"evenrig/service/trial"
)

// NewPublication is what an organiser decides when a trial is published: the licence, an SPDX identifier; whether the club is
// named; and a few words of his own, which stand beside the result and without the names of people and waters.
type NewPublication struct {
	Licence  string
	NameClub bool
	Remarks  string
}

// PublishTrial asks for the package of a locked trial whose closing analysis is done. Making it is a job's; once it is made, the
// trial is published for good.
func (s *Service) PublishTrial(ctx context.Context, actor trial.Actor, id trial.ID, n NewPublication) (edition trial.Publication, err error) {
	if err := trial.CheckPublication(n.Licence, n.Remarks, licences()); err != nil {
		return edition, err
	}
	now := s.now()
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.PublishTrial); err != nil {
			return err
		}
		t, err := tx.LockTrial(ctx, id)
		if err != nil {
			return err
		}
		editions, err := tx.PublicationsOf(ctx, id)
		if err != nil {
			return err
		}
		if err := t.Publishes(editions); err != nil {
			return err
		}
		if _, err := closingAnalysis(ctx, tx, t); err != nil {
			return err
		}
		edition, err = tx.EnqueuePublication(ctx, trial.Publication{
			TrialID: id, State: trial.EditionQueued, Licence: n.Licence, NameClub: n.NameClub, Remarks: n.Remarks, AskedAt: now, AskedBy: actor.AccountID,
		})
		return err
	})
	return edition, err
}

// Licence is a licence that a package can be published under.
type Licence = exchange.Licence

// Licences lists the licences to choose from.
func Licences() []Licence { return exchange.Licences() }

// licences are their SPDX identifiers.
func licences() (ids []string) {
	for _, l := range Licences() {
		ids = append(ids, l.ID)
	}
	return ids
}

// closingAnalysis returns the analysis of the whole trial that stands: the last one asked for since it was locked.
//
// Errors: Conflict while it is not done, or when it failed.
func closingAnalysis(ctx context.Context, tx trial.ReadTx, t trial.Trial) (closing trial.Analysis, err error) {
	all, err := tx.AnalysesOf(ctx, t.ID)
	if err != nil {
		return closing, err
	}
	for _, a := range all {
		if t.LockedAt != nil && !a.RequestedAt.Before(*t.LockedAt) {
			closing = a
		}
	}
	switch closing.State {
	case trial.Done:
		return tx.AnalysisBy(ctx, t.ID, closing.N)
	case trial.Queued:
		return closing, trial.Fail(trial.Conflict, "analysis.queued", "the closing analysis is not done yet; a trial is published with its result")
	}
	return closing, trial.Fail(trial.Conflict, "analysis.failed", "the trial has no closing analysis; a trial is published with its result: ask for an analysis first")
}

// Publications lists the editions of a trial's package, those that are being made and those that failed too.
func (s *Service) Publications(ctx context.Context, actor trial.Actor, id trial.ID) (editions []trial.Publication, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.ReadTrial); err != nil {
			return err
		}
		editions, err = tx.PublicationsOf(ctx, id)
		return err
	})
	return editions, err
}

// supersede withdraws the edition of a trial's package that stands or is being made, and asks for the next one: records that may
// no longer be shown are in it. It runs in the transaction that took them away and that holds the trial; without an edition it
// does nothing. The bytes go at once, the list of editions keeps their checksum.
func (s *Service) supersede(ctx context.Context, tx trial.Tx, t trial.Trial, why string, now time.Time) error {
	editions, err := tx.PublicationsOf(ctx, t.ID)
	if err != nil {
		return err
	}
	for _, e := range editions {
		if e.State != trial.EditionStanding && e.State != trial.EditionQueued {
			continue
		}
		e.State, e.WithdrawnAt, e.Why, e.Sentence = trial.EditionWithdrawn, &now, why, ""
		if err := tx.UpdatePublication(ctx, e); err != nil {
			return err
		}
		if err := tx.DropPackage(ctx, t.ID, e.Edition); err != nil {
			return err
		}
		_, err := tx.EnqueuePublication(ctx, trial.Publication{
			TrialID: t.ID, State: trial.EditionQueued, Licence: e.Licence, NameClub: e.NameClub, Remarks: e.Remarks, AskedAt: now, AskedBy: e.AskedBy,
		})
		return err
	}
	return nil
}
