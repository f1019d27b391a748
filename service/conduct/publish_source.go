package conduct

import (
	"cmp"
	"context"
	"slices"
	"strings"

	"evenrig/service/exchange"
	"evenrig/service/trial"
)

// sourceOf reads everything that a trial's package is made from, within one snapshot: the anglers' records into the spool, the rest
// into memory.
func (s *Service) sourceOf(ctx context.Context, tx trial.ReadTx, t trial.Trial, closing trial.Analysis, nameClub bool, spool *spool) (src exchange.Source, err error) {
	p, err := s.rulesOf(ctx, tx, t)
	if err != nil {
		return src, err
	}
	src = exchange.Source{Trial: t, RepeatOf: p.RepeatOf, Protocol: *p, Closing: closing}
	if nameClub {
		club, err := tx.ClubBy(ctx, t.ClubID)
		if err != nil {
			return src, err
		}
		src.Club = club.Name
	}
	for _, read := range []func() error{
		func() (err error) { src.Versions, err = sourceVersions(ctx, tx, t); return err },
		func() (err error) { src.Changes, err = tx.StateChangesOf(ctx, t.ID); return err },
		func() (err error) { src.Words, err = tx.WordsOf(ctx, t.ID); return err },
		func() (err error) { src.Looks, err = tx.LooksOf(ctx, t.ID); return err },
		func() (err error) { src.Disputes, err = tx.DisputesOf(ctx, t.ID); return err },
		func() (err error) { src.Questions, err = questionsAsked(ctx, tx, t.ID); return err },
		func() (err error) { src.Checkpoints, err = tx.CheckpointsOf(ctx, t.ID); return err },
		func() (err error) { src.Moves, err = tx.CheckpointMovesOf(ctx, t.ID); return err },
		func() (err error) { src.Organisers, err = chainOf(ctx, tx, t.ID, t.ID); return err },
		func() (err error) { src.People, err = namesOf(ctx, tx, t); return err },
		func() (err error) { src.About, err = s.about(ctx, tx, t, closing); return err },
		func() error { return spoolAnglers(ctx, tx, t, spool) },
	} {
		if err := read(); err != nil {
			return src, err
		}
	}
	return src, nil
}

// questionsAsked lists what members asked of the trial, in order of number.
func questionsAsked(ctx context.Context, tx trial.ReadTx, id trial.ID) ([]exchange.Question, error) {
	list, err := tx.QuestionsOf(ctx, id)
	asked := make([]exchange.Question, len(list))
	for i, q := range list {
		asked[i] = exchange.Question{N: q.N, Week: week(q.AskedAt), Question: q.Text, Answer: q.Answer}
	}
	return asked, err
}

// sourceVersions lists the versions of a trial's protocol, oldest first.
func sourceVersions(ctx context.Context, tx trial.ReadTx, t trial.Trial) ([]exchange.SourceVersion, error) {
	views, err := versionsOf(ctx, tx, t.ID)
	if err != nil {
		return nil, err
	}
	versions := make([]exchange.SourceVersion, len(views))
	for i, v := range views {
		versions[i] = exchange.SourceVersion{N: v.Version, At: v.At, Protocol: v.Protocol, Canonical: v.Canonical, Reason: v.Reason}
		for _, change := range v.Changes {
			versions[i].Fields = append(versions[i].Fields, change.Field)
		}
	}
	return versions, nil
}

// spoolAnglers reads every enrolment, in order of pseudonym; of one that was erased only its chain is left.
func spoolAnglers(ctx context.Context, tx trial.ReadTx, t trial.Trial, spool *spool) error {
	enrolments, err := tx.EnrolmentsOf(ctx, t.ID)
	if err != nil {
		return err
	}
	slices.SortFunc(enrolments, func(a, b trial.Enrolment) int {
		return cmp.Or(strings.Compare(a.Pseudonym, b.Pseudonym), slices.Compare(a.ID[:], b.ID[:]))
	})
	for _, e := range enrolments {
		angler := exchange.SourceAngler{Records: trial.Records{Enrolment: e}}
		if e.ErasedAt == nil {
			if angler.Records, err = tx.RecordsOf(ctx, t.ID, e.ID); err != nil {
				return err
			}
		}
		if e.ChainID != t.ID { // an imported angler's records stand in the organiser's chain
			if angler.Chain, err = chainOf(ctx, tx, t.ID, e.ChainID); err != nil {
				return err
			}
		}
		if err := spool.add(angler); err != nil {
			return err
		}
	}
	return nil
}

func chainOf(ctx context.Context, tx trial.ReadTx, id, chain trial.ID) (c exchange.Chain, err error) {
	if c.Entries, err = tx.EntriesOf(ctx, id, chain); err != nil {
		return c, err
	}
	c.Parts, err = tx.PartsOf(ctx, id, chain)
	return c, err
}
