package conduct

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"time"

	"evenrig/service/trial"
)

// Checked says what Check went through and everything that did not agree.
type Checked struct {
	Trials, Chains, Entries, Counts int
	Faults                          []string
}

// Check follows every ledger chain of every registered trial, link by link and part by part, follows its checkpoints,
// recounts every enrolment whose cached count claims to be current, and compares every package that stands with its checksum. It
// changes nothing.
func (s *Service) Check(ctx context.Context) (Checked, error) {
	var c Checked
	var ids []trial.ID
	err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) (err error) {
		ids, err = tx.RegisteredTrials(ctx)
		return err
	})
	if err != nil {
		return c, err
	}
	for _, id := range ids {
		c.Trials++
		if err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error { return s.checkTrial(ctx, tx, id, &c) }); err != nil {
			return c, fmt.Errorf("check trial %s: %w", id, err)
		}
	}
	return c, nil
}

func (c *Checked) fault(format string, args ...any) {
	c.Faults = append(c.Faults, fmt.Sprintf(format, args...))
}

func (s *Service) checkTrial(ctx context.Context, tx trial.ReadTx, id trial.ID, c *Checked) error {
	heads, err := tx.HeadsOf(ctx, id)
	if err != nil {
		return err
	}
	hashes := map[chainLink]trial.Digest{}
	for _, h := range heads {
		if err := checkChain(ctx, tx, h, hashes, c); err != nil {
			return err
		}
	}
	before, err := checkCheckpoints(ctx, tx, id, hashes, c)
	if err != nil {
		return err
	}
	moved, err := tx.TrialsMoved(ctx, time.Time{})
	if err != nil {
		return err
	}
	if before != nil && !slices.Contains(moved, id) && trial.HeadsRoot(heads) != before.Root {
		c.fault("trial %s: the heads of its chains are not those of its last checkpoint, and nothing is said to have moved", id)
	}
	if err := checkEditions(ctx, tx, id, c); err != nil {
		return err
	}
	return s.checkCounts(ctx, tx, id, c)
}

// checkEditions compares the bytes of a package that stands with the checksum under which it was published.
func checkEditions(ctx context.Context, tx trial.ReadTx, id trial.ID, c *Checked) error {
	editions, err := tx.PublicationsOf(ctx, id)
	if err != nil {
		return err
	}
	standing, ok := trial.StandingEdition(editions)
	if !ok {
		return nil
	}
	sum := sha256.New()
	for n := 0; int64(n)*trial.PackageChunk < standing.Size; n++ {
		chunk, err := tx.PackageBytes(ctx, id, standing.Edition, n)
		if trial.KindOf(err) == trial.NotFound {
			break
		}
		if err != nil {
			return err
		}
		sum.Write(chunk)
	}
	if trial.Digest(sum.Sum(nil)) != standing.Package {
		c.fault("trial %s: the bytes of edition %d are not those that were published", id, standing.Edition)
	}
	return nil
}

// chainLink names an entry.
type chainLink struct {
	chain trial.ID
	n     int64
}

// checkCheckpoints follows a trial's checkpoints and computes each one's root anew, from the first on whose moves are known. It
// returns the last, nil when there is none.
func checkCheckpoints(ctx context.Context, tx trial.ReadTx, id trial.ID, hashes map[chainLink]trial.Digest, c *Checked) (before *trial.Checkpoint, err error) {
	checkpoints, err := tx.CheckpointsOf(ctx, id)
	if err != nil {
		return nil, err
	}
	moves, err := tx.CheckpointMovesOf(ctx, id)
	if err != nil {
		return nil, err
	}
	stood := map[trial.ID]trial.Head{}
	for _, point := range checkpoints {
		if want := point.Follow(before); want != point.Hash {
			c.fault("trial %s: checkpoint %d does not follow from the one before", id, point.N)
		}
		for len(moves) > 0 && moves[0].Checkpoint == point.N {
			m := moves[0]
			stood[m.ChainID] = trial.Head{TrialID: id, ChainID: m.ChainID, N: m.N, Hash: hashes[chainLink{m.ChainID, m.N}]}
			moves = moves[1:]
		}
		if len(stood) > 0 && trial.HeadsRoot(slices.Collect(maps.Values(stood))) != point.Root {
			c.fault("trial %s: checkpoint %d is not the root of the chains as they stood then", id, point.N)
		}
		before = &point
	}
	return before, nil
}

// checkChain follows a chain and notes the hash of each entry.
func checkChain(ctx context.Context, tx trial.ReadTx, h trial.Head, hashes map[chainLink]trial.Digest, c *Checked) error {
	c.Chains++
	entries, err := tx.EntriesOf(ctx, h.TrialID, h.ChainID)
	if err != nil {
		return err
	}
	parts, err := tx.PartsOf(ctx, h.TrialID, h.ChainID)
	if err != nil {
		return err
	}
	last := trial.Head{TrialID: h.TrialID, ChainID: h.ChainID}
	for _, e := range entries {
		c.Entries++
		if e.N != last.N+1 || e.Link(last.Hash) != e.Hash {
			c.fault("trial %s: entry %d of chain %s does not follow from the one before", h.TrialID, e.N, h.ChainID)
		}
		if p, kept := parts[e.N]; kept && (trial.PartDigest(p.PublicSalt, p.Public) != e.PublicDigest || trial.PartDigest(p.PrivateSalt, p.Private) != e.PrivateDigest) {
			c.fault("trial %s: the record of entry %d of chain %s is not the one that was entered", h.TrialID, e.N, h.ChainID)
		}
		delete(parts, e.N)
		last = e.Head()
		hashes[chainLink{h.ChainID, e.N}] = e.Hash
	}
	for n := range parts {
		c.fault("trial %s: chain %s keeps a record for entry %d, which it does not have", h.TrialID, h.ChainID, n)
	}
	if last != h {
		c.fault("trial %s: chain %s ends at entry %d, its head says %d", h.TrialID, h.ChainID, last.N, h.N)
	}
	return nil
}

func (s *Service) checkCounts(ctx context.Context, tx trial.ReadTx, id trial.ID, c *Checked) error {
	t, err := tx.TrialBy(ctx, id)
	if err != nil {
		return err
	}
	p, err := s.rulesOf(ctx, tx, t)
	if err != nil {
		return err
	}
	all, err := tx.CountsOf(ctx, id)
	if err != nil {
		return err
	}
	for _, cached := range all {
		if cached.Erased {
			continue
		}
		records, err := tx.RecordsOf(ctx, id, cached.EnrolmentID)
		if err != nil {
			return err
		}
		if err := checkCatches(ctx, tx, t, records, c); err != nil {
			return err
		}
		if cached.CountedAt != cached.HeadN {
			continue
		}
		c.Counts++
		tallies, effort := records.Count(*p)
		if effort != cached.Effort || len(tallies)+len(cached.Tallies) > 0 && !reflect.DeepEqual(tallies, cached.Tallies) {
			c.fault("trial %s: the cached count of %s is not what its records give", id, cached.Pseudonym)
		}
	}
	return nil
}

// checkCatches compares every catch that was never corrected with what its chain says was sent.
func checkCatches(ctx context.Context, tx trial.ReadTx, t trial.Trial, r trial.Records, c *Checked) error {
	if t.Source == trial.Recorded {
		return nil // a table has one entry for all its fish
	}
	entries, err := tx.EntriesOf(ctx, t.ID, r.Enrolment.ChainID)
	if err != nil {
		return err
	}
	parts, err := tx.PartsOf(ctx, t.ID, r.Enrolment.ChainID)
	if err != nil {
		return err
	}
	sent := map[trial.ID]trial.Parts{}
	for _, e := range entries {
		if e.Kind == trial.LedgerCatch {
			sent[e.Subject] = parts[e.N]
		}
	}
	for _, fish := range r.Catches {
		entered, known := sent[fish.ID]
		if !known {
			c.fault("trial %s: catch %s stands in no chain", t.ID, fish.ID)
			continue
		}
		if fish.Version > 1 {
			continue
		}
		public, private := catchFields(fish)
		now, err := recordOf(trial.Parts{}, public, private)
		if err != nil {
			return err
		}
		if !bytes.Equal(now.parts.Public, entered.Public) || !bytes.Equal(now.parts.Private, entered.Private) {
			c.fault("trial %s: catch %s is not what its chain says was sent", t.ID, fish.ID)
		}
	}
	return nil
}
