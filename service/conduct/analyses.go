package conduct

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"time"

	"evenrig/service/analysis"
	"evenrig/service/report"
	"evenrig/service/trial"
)

// enqueue asks for an analysis on a checkpoint, in the transaction that made it and that holds the trial's heads: the fish
// are counted there and then, so that what arrives later cannot enter it. Computing is the job's. look is the number of the
// look that it is, 0 for none.
func (s *Service) enqueue(ctx context.Context, tx trial.Tx, t trial.Trial, c trial.Checkpoint, by trial.ID, now time.Time, look int) (trial.Analysis, error) {
	p, err := s.rulesOf(ctx, tx, t)
	if err != nil {
		return trial.Analysis{}, err
	}
	all, recounted, err := s.counts(ctx, tx, t, p)
	if err != nil {
		return trial.Analysis{}, err
	}
	for _, count := range recounted {
		if err := tx.SaveCount(ctx, t.ID, count); err != nil {
			return trial.Analysis{}, err
		}
	}
	in := analysisInput(*p, all)
	if t.Source == trial.Drawn {
		looks, err := tx.LooksOf(ctx, t.ID)
		if err != nil {
			return trial.Analysis{}, err
		}
		in.Plan = planOf(*p, looks, look)
		if in.Draw, err = s.drawn(ctx, tx, t, p); err != nil {
			return trial.Analysis{}, err
		}
	}
	input, err := analysis.Canonical(in)
	if err != nil {
		return trial.Analysis{}, err
	}
	return tx.EnqueueAnalysis(ctx, trial.Analysis{
		TrialID: t.ID, State: trial.Queued, Checkpoint: int64(c.N), RequestedAt: now, RequestedBy: by, Input: input,
		ProtocolVersion: t.ProtocolVersion, ProgramVersion: s.program, Settings: json.RawMessage(`{}`),
	})
}

// RequestAnalysis asks for an analysis of the trial as it stands, where one is due: the look that is due while the trial
// takes in fish, any other once it is locked. The one that already stands for the same records is returned instead of another.
func (s *Service) RequestAnalysis(ctx context.Context, actor trial.Actor, id trial.ID) (a trial.Analysis, err error) {
	now := s.now()
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.RequestAnalysis); err != nil {
			return err
		}
		t, err := tx.LockTrial(ctx, id)
		if err != nil {
			return err
		}
		if t.Hidden() {
			a, err = s.look(ctx, tx, t, actor.AccountID, now)
			return err
		}
		if err := cmp.Or(t.OfThisServer(), t.Analyses()); err != nil {
			return err
		}
		heads, err := tx.LockHeads(ctx, id)
		if err != nil {
			return err
		}
		c, err := s.checkpoint(ctx, tx, id, heads, now)
		if err != nil {
			return err
		}
		a, err = s.enqueue(ctx, tx, t, c, actor.AccountID, now, 0)
		return err
	})
	return a, err
}

// standing returns nil for an analysis that was not withdrawn, else a Gone error that names the one in its place.
func standing(ctx context.Context, tx trial.ReadTx, a trial.Analysis) error {
	if a.State != trial.Withdrawn {
		return nil
	}
	all, err := tx.AnalysesOf(ctx, a.TrialID)
	if err != nil {
		return err
	}
	instead := "nothing stands in its place yet"
	for _, other := range all {
		if other.N > a.N && other.Stands() {
			instead = fmt.Sprintf("analysis %d counts what remains", other.N)
		}
	}
	return trial.Fail(trial.Gone, "analysis.withdrawn", "analysis %d counted the records of an angler who had them erased, so nothing of it was kept; %s", a.N, instead)
}

// readable returns nil when what the analysis found may be read. A look that is not computed yet is as hidden as one that
// is: whether it could be computed says something too.
func readable(t trial.Trial, a trial.Analysis) error {
	if !t.Hidden() {
		return nil
	}
	return trial.Fail(trial.Conflict, "analysis.hidden", "analysis %d is a look at a trial that is %s; its result stays hidden until the trial is locked, the list of looks says what was decided", a.N, t.State)
}

// Analyses lists a trial's analyses in order of number. Of a look at a trial whose running effect is hidden, nothing that
// follows from the fish is told: its fingerprint could be guessed from the numbers of fish.
func (s *Service) Analyses(ctx context.Context, actor trial.Actor, id trial.ID) (list []trial.Analysis, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		t, err := inTrial(ctx, tx, actor, id, trial.ReadAnalysis)
		if err != nil {
			return err
		}
		list, err = tx.AnalysesOf(ctx, id)
		for i := range list {
			if t.Hidden() {
				list[i].Fingerprint, list[i].Failure = trial.Digest{}, ""
			}
		}
		return err
	})
	return list, err
}

// Analyse computes a queued analysis and stores it. It reads what was counted when the analysis was asked for, closes the
// snapshot, and only then computes. One that is done already, or withdrawn, is left alone, so that the queue may call it
// again. How far it is is noted in the queue, unless it is a look, of which nothing is told but its decision. Ending ctx ends it
// between two steps.
//
// Errors: trial.ErrLasting when the computation itself fails, which it would again.
func (s *Service) Analyse(ctx context.Context, id trial.ID, n int) error {
	var a trial.Analysis
	var p *trial.Protocol
	var looks []trial.Look
	err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) (err error) {
		if a, err = tx.AnalysisBy(ctx, id, n); err != nil {
			return err
		}
		if looks, err = tx.LooksOf(ctx, id); err != nil {
			return err
		}
		t, err := tx.TrialBy(ctx, id)
		if err != nil {
			return err
		}
		p, err = s.rulesOf(ctx, tx, t)
		return err
	})
	if err != nil || a.State == trial.Done || a.State == trial.Withdrawn {
		return err
	}
	look := lookOf(looks, n)
	watched := &computing{s: s, a: a, quiet: look.N > 0}
	result, err := s.computed(*p, a, func(step int) error { return watched.step(ctx, step) })
	watched.ended()
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case trial.KindOf(err) == trial.Invalid:
		a.State, a.Failure = trial.Failed, err.Error()
	case err != nil:
		return fmt.Errorf("analyse trial %s: %w: %w", id, trial.ErrLasting, err)
	default:
		if a.Result, err = result.Encode(); err != nil {
			return fmt.Errorf("encode analysis of trial %s: %w", id, err)
		}
		if err := a.Fingerprint.UnmarshalText([]byte(result.Fingerprint)); err != nil {
			return fmt.Errorf("fingerprint of trial %s: %w", id, err)
		}
		a.State = trial.Done
	}
	now := s.now()
	a.FinishedAt, a.ProgramVersion = &now, s.program
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		// Finished first: an erasure that withdraws the analysis at this moment decides its look too.
		finished, err := tx.FinishAnalysis(ctx, a)
		if err != nil || !finished || look.N == 0 {
			return err
		}
		return tx.DecideLook(ctx, decided(look, result.Monitoring))
	})
}

// computed computes what an analysis's stored input gives under the trial's protocol.
func (s *Service) computed(p trial.Protocol, a trial.Analysis, step func(int) error) (analysis.Result, error) {
	in, err := analysis.ReadInput(p, a.Input)
	if err != nil {
		return analysis.Result{}, fmt.Errorf("input of analysis %d of trial %s: %w", a.N, a.TrialID, err)
	}
	return analysis.Run(in, analysis.Settings{ProgramVersion: s.program, Step: step})
}

func analysisInput(p trial.Protocol, all []trial.EnrolmentCount) analysis.Input {
	in := analysis.InputOf(p)
	for _, c := range all {
		in.Tallies = append(in.Tallies, c.Tallies...)
		in.Effort = in.Effort.Add(c.Effort)
		if c.Effort.NotLogged > 0 {
			in.NotLogged = append(in.NotLogged, analysis.AnglerCount{Angler: c.Pseudonym, N: c.Effort.NotLogged})
		}
		if c.Left {
			in.Left = append(in.Left, c.Pseudonym)
		}
	}
	return in
}

// ReportPolicy is the Content-Security-Policy under which a report page is shown: its own style sheet and nothing else.
var ReportPolicy = report.ContentPolicy

// Report writes a finished analysis in the shape; n 0 is the last that stands. It tells nothing of anybody's name or spot.
func (s *Service) Report(ctx context.Context, actor trial.Actor, id trial.ID, n int, shape Shape, w io.Writer) error {
	var a trial.Analysis
	var about report.About
	err := s.store.InLongReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		t, err := inTrial(ctx, tx, actor, id, trial.ReadAnalysis)
		if err != nil {
			return err
		}
		if a, err = finished(ctx, tx, t, n); err != nil {
			return err
		}
		about, err = s.about(ctx, tx, t, a)
		return err
	})
	if err != nil {
		return err
	}
	result, err := analysis.Decode(a.Result)
	if err != nil {
		return fmt.Errorf("decode analysis %d of trial %s: %w", a.N, id, err)
	}
	if err := addLineup(&about, a); err != nil {
		return err
	}
	return shape(w, result, about)
}

// finished returns an analysis that is done and may be read; n 0 is the last that stands.
func finished(ctx context.Context, tx trial.ReadTx, t trial.Trial, n int) (a trial.Analysis, err error) {
	if n == 0 {
		if t.Hidden() {
			return a, trial.Fail(trial.Conflict, "analysis.hidden", "the trial is %s; its result stays hidden until it is locked", t.State)
		}
		all, err := tx.AnalysesOf(ctx, t.ID)
		if err != nil {
			return a, err
		}
		for _, other := range all {
			if other.Stands() {
				n = other.N
			}
		}
	}
	if a, err = tx.AnalysisBy(ctx, t.ID, n); err != nil {
		return a, err
	}
	if err := readable(t, a); err != nil {
		return a, err
	}
	if err := standing(ctx, tx, a); err != nil {
		return a, err
	}
	if a.State != trial.Done {
		return a, trial.Fail(trial.Conflict, "analysis."+string(a.State), "analysis %d is %s; there is no report yet", a.N, a.State)
	}
	return a, nil
}
