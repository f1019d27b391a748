package conduct

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"

	"evenrig/service/analysis"
	"evenrig/service/exchange"
	"evenrig/service/trial"
)

// MakePackage makes a queued edition of a trial's package and stores its bytes; the first one makes the trial published. The records
// are read in one snapshot, which is closed before anything is computed. An edition that was withdrawn meanwhile, because records in
// it were erased, is thrown away.
//
// Errors: trial.ErrNotYet while the analysis that it shows is being computed; trial.ErrLasting when the package does not agree with
// itself, which it would again.
func (s *Service) MakePackage(ctx context.Context, id trial.ID, edition int) (err error) {
	spool, err := newSpool()
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, spool.close()) }()
	var e trial.Publication
	var src exchange.Source
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) (err error) {
		if e, err = editionIn(ctx, tx, id, edition); err != nil || e.State != trial.EditionQueued {
			return err
		}
		t, err := tx.TrialBy(ctx, id)
		if err != nil {
			return err
		}
		closing, err := closingAnalysis(ctx, tx, t)
		if err != nil {
			return err
		}
		src, err = s.sourceOf(ctx, tx, t, closing, e.NameClub, spool)
		return err
	})
	switch {
	case err != nil && e.State == trial.EditionQueued:
		return s.failEdition(ctx, e, err)
	case err != nil || e.State != trial.EditionQueued:
		return err
	}
	src.About.Remarks = e.Remarks
	if err := addLineup(&src.About, src.Closing); err != nil {
		return s.failEdition(ctx, e, err)
	}
	if src.Anglers, err = spool.anglers(); err != nil {
		return err
	}
	file, err := unnamedFile()
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	if err := s.writeEdition(ctx, file, src, &e); err != nil {
		return s.failEdition(ctx, e, err)
	}
	return s.keepEdition(ctx, file, e)
}

func editionIn(ctx context.Context, tx trial.ReadTx, id trial.ID, edition int) (e trial.Publication, err error) {
	editions, err := tx.PublicationsOf(ctx, id)
	if err != nil {
		return e, err
	}
	for _, e := range editions {
		if e.Edition == edition {
			return e, nil
		}
	}
	return e, trial.Missing("edition")
}

// writeEdition writes the package into the file and fills in what the edition says of it.
func (s *Service) writeEdition(ctx context.Context, file *os.File, src exchange.Source, e *trial.Publication) error {
	p, err := exchange.Publish(src, exchange.Publishing{Licence: e.Licence, Edition: e.Edition, ProgramVersion: s.program})
	if err != nil {
		return fmt.Errorf("make the package of trial %s: %w", e.TrialID, err)
	}
	hash := sha256.New()
	if err := exchange.WritePackage(io.MultiWriter(file, hash), p); err != nil {
		return fmt.Errorf("write the package of trial %s: %w", e.TrialID, err)
	}
	if e.Size, err = file.Seek(0, io.SeekEnd); err != nil {
		return fmt.Errorf("write the package of trial %s: %w", e.TrialID, err)
	}
	if err := s.proofread(file, e.Size); err != nil {
		return fmt.Errorf("proofread the package of trial %s: %w", e.TrialID, err)
	}
	result, err := analysis.Decode(p.Result)
	if err != nil {
		return fmt.Errorf("read the package of trial %s: %w", e.TrialID, err)
	}
	e.Package, e.ProgramVersion = trial.Digest(hash.Sum(nil)), s.program
	e.Title, e.Question, e.Club, e.Sentence = p.Facts.Title, p.Facts.Question, p.Facts.Club, result.Verdict.Sentence
	e.Remarks = src.Protocol.Veiled(e.Remarks, src.People)
	e.Anglers, e.Fish = int64(result.Counts.Anglers), int64(result.Counts.Catches)
	return ctx.Err()
}

// proofread verifies a package that was just written, as any stranger may: one that does not agree is never published.
func (s *Service) proofread(file io.ReaderAt, size int64) error {
	p, err := exchange.ReadPackage(file, size)
	if err != nil {
		return noFault(err)
	}
	verdict, err := exchange.Verify(p, exchange.VerifyOptions{ProgramVersion: s.program})
	if err != nil {
		return noFault(err)
	}
	for _, f := range verdict.Findings {
		if f.Outcome == exchange.Disagrees {
			return fmt.Errorf("%s: %s: %w", f.Part, f.Text, trial.ErrLasting)
		}
	}
	return nil
}

// noFault is an error about what was read as one of the program's own: it is not the organiser's fault.
func noFault(err error) error { return errors.New(err.Error()) }

// failEdition marks an edition that cannot be made, where the reason is the trial's; any other error is returned, to be tried again.
func (s *Service) failEdition(ctx context.Context, e trial.Publication, reason error) error {
	known, ok := errors.AsType[*trial.Error](reason)
	switch {
	case !ok || known.Kind == trial.Internal || known.Kind == trial.Unavailable:
		return reason
	case known.Code == "analysis.queued":
		return trial.ErrNotYet
	}
	e.State, e.Failure = trial.EditionFailed, known.Detail
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := tx.LockTrial(ctx, e.TrialID); err != nil {
			return err
		}
		stands, err := editionIn(ctx, tx, e.TrialID, e.Edition)
		if err != nil || stands.State != trial.EditionQueued {
			return err
		}
		return tx.UpdatePublication(ctx, e)
	})
}

// keepEdition stores the package, unless its edition was withdrawn while it was made, and enters it into the organiser's chain.
func (s *Service) keepEdition(ctx context.Context, file io.ReadSeeker, e trial.Publication) error {
	now := s.now()
	e.State, e.MadeAt = trial.EditionStanding, &now
	entry, err := s.newRecord(
		fields{"edition": e.Edition, "package": e.Package, "licence": e.Licence, "week": week(now)},
		fields{"by": e.AskedBy, "at": at(now), "remarks": e.Remarks},
	)
	if err != nil {
		return err
	}
	moved := s.salts()
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		t, err := tx.LockTrial(ctx, e.TrialID)
		if err != nil {
			return err
		}
		asked, err := editionIn(ctx, tx, e.TrialID, e.Edition)
		if err != nil || asked.State != trial.EditionQueued {
			return err
		}
		if _, err := file.Seek(0, io.SeekStart); err != nil {
			return fmt.Errorf("read the package: %w", err)
		}
		if err := tx.UpdatePublication(ctx, e); err != nil {
			return err
		}
		if err := tx.SavePackage(ctx, e.TrialID, e.Edition, file); err != nil {
			return err
		}
		heads, err := tx.LockHeads(ctx, e.TrialID)
		if err != nil {
			return err
		}
		heads, err = appendTo(ctx, tx, heads, e.TrialID, trial.LedgerPublication, e.TrialID, entry.parts)
		if err != nil {
			return err
		}
		if t.State == trial.Published {
			_, err := s.checkpoint(ctx, tx, e.TrialID, heads, now)
			return err
		}
		change := trial.StateChange{TrialID: e.TrialID, At: now, By: e.AskedBy, From: t.State, To: trial.Published}
		t.State = trial.Published
		return s.saveMove(ctx, tx, t, change, moved)
	})
}
