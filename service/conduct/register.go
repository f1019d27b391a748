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
	if _, known := members[t.ClubID]; !known {
		if members[t.ClubID], err = namesOfMembers(ctx, tx, t.ClubID); err != nil {
			return none, err
		}
	}
	people, err := namesOfAnglers(ctx, tx, id)
	if err != nil {
		return none, err
	}
	people = append(people, members[t.ClubID]...)
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
	entry := trial.NewRegistration(t, *p, changes, people, fish)
	editions, err := tx.PublicationsOf(ctx, id)
	if err != nil {
		return none, err
	}
	if standing, ok := trial.StandingEdition(editions); ok {
		entry.Published = &standing
	}
	entry.Repeats, err = tx.RepeatsOf(ctx, id)
	return entry, err
}

// namesOf returns the names of the club's members and of the trial's anglers, which no public text may hold.
func namesOf(ctx context.Context, tx trial.ReadTx, t trial.Trial) ([]string, error) {
	members, err := namesOfMembers(ctx, tx, t.ClubID)
	if err != nil {
		return nil, err
	}
	anglers, err := namesOfAnglers(ctx, tx, t.ID)
	return append(anglers, members...), err
}

func namesOfMembers(ctx context.Context, tx trial.ReadTx, club trial.ID) (names []string, err error) {
	list, err := tx.MembersOf(ctx, club, trial.Page{Limit: allRecords})
	for _, m := range list {
		names = append(names, m.Name)
	}
	return names, err
}

func namesOfAnglers(ctx context.Context, tx trial.ReadTx, id trial.ID) (names []string, err error) {
	enrolments, err := tx.EnrolmentsOf(ctx, id)
	for _, e := range enrolments {
		if e.Name != "" {
			names = append(names, e.Name)
		}
	}
	return names, err
}
