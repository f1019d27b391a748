package conduct

import (
	"context"

	"evenrig/service/report"
	"evenrig/service/trial"
)

// counts returns the current count of every enrolment of the trial. Those whose chain moved since they were cached are
// counted anew from their records; recounted lists them, to be cached when the snapshot is closed. An erased enrolment counts
// as that, with how many fish it had.
func (s *Service) counts(ctx context.Context, tx trial.ReadTx, t trial.Trial, p *trial.Protocol) (all, recounted []trial.EnrolmentCount, err error) {
	all, err = tx.CountsOf(ctx, t.ID)
	if err != nil {
		return nil, nil, err
	}
	for i, c := range all {
		if c.Erased {
			all[i].Tallies, all[i].Effort = nil, trial.Effort{ErasedAnglers: 1, ErasedFish: c.ErasedFish}
			continue
		}
		if c.CountedAt == c.HeadN {
			continue
		}
		records, err := tx.RecordsOf(ctx, t.ID, c.EnrolmentID)
		if err != nil {
			return nil, nil, err
		}
		c.Tallies, c.Effort = records.Count(*p)
		c.CountedAt = c.HeadN
		all[i] = c
		recounted = append(recounted, c)
	}
	return all, recounted, nil
}

// keptAtOnce is how many fish are counted ahead before their counts are kept: a fraction of a second's work, which is lost when the
// request is cut off.
const keptAtOnce = 20_000

// countAhead counts, an angler at a time and without a lock, whose records moved since they were counted last, and keeps the counts: what
// is then left to count under the locks of the step that follows is little, however many fish there are, and who was cut off goes on
// from there.
func (s *Service) countAhead(ctx context.Context, actor trial.Actor, id trial.ID, op trial.Operation) error {
	var p *trial.Protocol
	var all []trial.EnrolmentCount
	err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		t, err := inTrial(ctx, tx, actor, id, op)
		if err != nil || t.RegisteredAt == nil {
			return err
		}
		if p, err = s.rulesOf(ctx, tx, t); err != nil {
			return err
		}
		all, err = tx.CountsOf(ctx, id)
		return err
	})
	if err != nil {
		return err
	}
	var counted []trial.EnrolmentCount
	fish := 0
	for _, c := range all {
		if c.Erased || c.CountedAt == c.HeadN {
			continue
		}
		err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
			records, err := tx.RecordsOf(ctx, id, c.EnrolmentID)
			if err == nil {
				c.Tallies, c.Effort = records.Count(*p)
				fish += len(records.Catches)
			}
			return err
		})
		if err != nil {
			return err
		}
		// What came meanwhile is in it, and counts again: the chain has moved past the place that is kept.
		c.CountedAt = c.HeadN
		if counted = append(counted, c); fish < keptAtOnce {
			continue
		}
		if err := s.cache(ctx, id, counted); err != nil {
			return err
		}
		counted, fish = nil, 0
	}
	return s.cache(ctx, id, counted)
}

// cache keeps recounted counts. A count that another process cached meanwhile may be replaced by an older one, which
// then shows its age and is counted again.
func (s *Service) cache(ctx context.Context, id trial.ID, recounted []trial.EnrolmentCount) error {
	if len(recounted) == 0 {
		return nil
	}
	return s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		for _, c := range recounted {
			if err := tx.SaveCount(ctx, id, c); err != nil {
				return err
			}
		}
		return nil
	})
}

// Progress is how far a trial has come, without anything that would show its running effect: no pattern, no arrangement,
// nobody's own counts.
type Progress = report.Progress

// Note returns the week in a few lines, to paste into the club's chat.
func (s *Service) Note(ctx context.Context, actor trial.Actor, id trial.ID) (string, error) {
	p, err := s.Progress(ctx, actor, id)
	if err != nil {
		return "", err
	}
	return report.Note(p), nil
}

// Progress returns how far a trial has come.
func (s *Service) Progress(ctx context.Context, actor trial.Actor, id trial.ID) (Progress, error) {
	progress, now := Progress{Excluded: map[trial.Exclusion]int64{}}, s.now()
	var recounted []trial.EnrolmentCount
	err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		t, err := inTrial(ctx, tx, actor, id, trial.ReadProgress)
		if err != nil {
			return err
		}
		p, err := s.rulesOf(ctx, tx, t)
		if err != nil {
			return err
		}
		all, again, err := s.counts(ctx, tx, t, p)
		if err != nil {
			return err
		}
		recounted = again
		progress.Title, progress.MaxFish = p.Title, p.MaxFish
		fish, anglers := inFinished(all)
		progress.Finished = fish
		if p.Stopping != trial.FixedSize && t.Hidden() {
			looks, err := tx.LooksOf(ctx, id)
			if err != nil {
				return err
			}
			progress.NextLook = nextLook(t, *p, looks, fish, anglers, now)
		}
		for _, c := range all {
			progress.Effort = progress.Effort.Add(c.Effort)
			for _, tally := range c.Tallies {
				progress.Catches += tally.N
				if tally.Exclusion == trial.Analysed {
					progress.Analysed += tally.N
				} else {
					progress.Excluded[tally.Exclusion] += tally.N
				}
			}
		}
		return nil
	})
	if err != nil {
		return Progress{}, err
	}
	return progress, s.cache(ctx, id, recounted)
}
