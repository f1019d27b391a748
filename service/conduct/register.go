package conduct

import (
	"bytes"
	"context"
	"slices"

	"evenrig/service/trial"
)

// Register lists every trial of the server that was ever registered, in order of id, to whoever asks: no sign-in is needed. It
// names no club, nobody and no water, and nothing that a trial's running effect could be told from.
func (s *Service) Register(ctx context.Context, page trial.Page) (entries []trial.Registration, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		entries = nil
		ids, err := tx.RegisteredTrials(ctx)
		if err != nil {
			return err
		}
		ids = slices.DeleteFunc(ids, func(id trial.ID) bool { return bytes.Compare(id[:], page.After[:]) <= 0 })
		members := map[trial.ID][]string{} // by club
		for _, id := range ids[:min(len(ids), page.Limit)] {
			e, err := s.registration(ctx, tx, id, members)
			if err != nil {
				return err
			}
			entries = append(entries, e)
		}
		return nil
	})
	return entries, err
}

// registration makes one entry of the register; members keeps the names of the clubs' members that were read.
func (s *Service) registration(ctx context.Context, tx trial.ReadTx, id trial.ID, members map[trial.ID][]string) (trial.Registration, error) {
	var none trial.Registration
	t, err := tx.TrialBy(ctx, id)
	if err != nil {
		return none, err
	}
	p, err := s.rulesOf(ctx, tx, t)
	if err != nil {
		return none, err
	}
	people, known := members[t.ClubID]
	if !known {
		list, err := tx.MembersOf(ctx, t.ClubID, trial.Page{Limit: allRecords})
		if err != nil {
			return none, err
		}
		for _, m := range list {
			people = append(people, m.Name)
		}
		members[t.ClubID] = people
	}
	enrolments, err := tx.EnrolmentsOf(ctx, id)
	if err != nil {
		return none, err
	}
	people = slices.Clone(people)
	for _, e := range enrolments {
		people = append(people, e.Name)
	}
	changes, err := tx.StateChangesOf(ctx, id)
	if err != nil {
		return none, err
	}
	var fish int64
	if t.State == trial.Abandoned {
		all, _, err := s.counts(ctx, tx, t, p)
		if err != nil {
			return none, err
		}
		for _, c := range all {
			for _, tally := range c.Tallies {
				fish += tally.N
			}
		}
	}
	return trial.NewRegistration(t, *p, changes, people, fish), nil
}
