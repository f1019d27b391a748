package exchange

import (
	"crypto/sha256"
	"io"
	"slices"

	"evenrig/service/report"
	"evenrig/service/trial"
)

// headKey is an entry of a chain.
type headKey struct {
	chain trial.ID
	n     int64
}

// chainCheck follows one chain entry by entry.
type chainCheck struct {
	v     *verifier
	chain trial.ID
	whose string
	last  trial.Head
	bad   bool
}

func newChainCheck(v *verifier, chain trial.ID, whose string) *chainCheck {
	if v.hashes == nil {
		v.hashes, v.lengths = map[headKey]trial.Digest{}, map[trial.ID]int64{}
		for _, h := range v.Heads {
			if !h.Chain.IsZero() {
				v.hashes[headKey{h.Chain, h.N}] = trial.Digest{}
			}
		}
	}
	return &chainCheck{v: v, chain: chain, whose: whose, last: trial.Head{TrialID: v.Facts.Trial, ChainID: chain}}
}

// next holds an entry against the one before.
func (c *chainCheck) next(e Entry) {
	entry := trial.LedgerEntry{
		TrialID: c.last.TrialID, ChainID: e.Chain, N: e.N, Kind: e.Kind, Subject: e.Subject, PublicDigest: e.PublicDigest, PrivateDigest: e.PrivateDigest, Hash: e.Hash,
	}
	switch {
	case e.Chain != c.chain:
		c.v.found.differs(partChains, "entry %d of %s belongs to another chain, %s", e.N, c.whose, e.Chain)
		return
	case e.N != c.last.N+1:
		c.v.found.differs(partChains, "entry %d of %s follows entry %d", e.N, c.whose, c.last.N)
	case entry.Link(c.last.Hash) != e.Hash && !c.bad:
		c.bad = true // all that follow hang on it
		c.v.found.differs(partChains, "entry %d of %s (%s) does not follow from the one before: something of it or its place was changed", e.N, c.whose, e.Kind)
	}
	if e.Public != "" && trial.PartDigest(e.Salt, []byte(e.Public)) != e.PublicDigest {
		c.v.found.differs(partChains, "the public part of entry %d of %s (%s) is not the one that was entered", e.N, c.whose, e.Kind)
	}
	c.last = entry.Head()
	if _, wanted := c.v.hashes[headKey{c.chain, e.N}]; wanted {
		c.v.hashes[headKey{c.chain, e.N}] = e.Hash
	}
	c.v.receiptEntry(e)
}

// end notes how long the chain was.
func (c *chainCheck) end() {
	c.v.lengths[c.chain] = c.last.N
}

// checkpoints follows the checkpoints, and works out the roots of those of which the heads are told.
func (v *verifier) checkpoints() error {
	var before *trial.Checkpoint
	roots := map[int64]trial.Digest{}
	for _, row := range v.Checkpoints {
		c := trial.Checkpoint{N: row.N, Root: row.Root, Hash: row.Hash}
		switch {
		case before == nil && row.N != 1, before != nil && row.N != before.N+1:
			v.found.differs(partCheckpoints, "checkpoint %d is out of order", row.N)
		case c.Follow(before) != row.Hash:
			v.found.differs(partCheckpoints, "checkpoint %d does not follow from the one before and its root", row.N)
		}
		before, roots[row.N] = &c, row.Root
	}
	if before == nil || before.N != v.Facts.Checkpoint {
		v.found.differs(partCheckpoints, "the last checkpoint is not %d, the one that was analysed", v.Facts.Checkpoint)
	}
	told := 0
	if !slices.ContainsFunc(v.Heads, func(h Head) bool { return h.Checkpoint == v.Facts.Checkpoint }) {
		v.found.differs(partCheckpoints, "heads.csv does not tell of checkpoint %d, the one that was analysed, so that nothing ties the chains to it", v.Facts.Checkpoint)
	}
	for i := 0; i < len(v.Heads); {
		end := i
		for end < len(v.Heads) && v.Heads[end].Checkpoint == v.Heads[i].Checkpoint {
			end++
		}
		v.headsOf(v.Heads[i:end], roots)
		told++
		i = end
	}
	v.found.agrees(partChains, "%s, followed link by link; what is published of their entries is what was entered.", counted(len(v.lengths), "chain", "chains"))
	v.found.agrees(partCheckpoints, "%s, each following from the one before; the roots of %d follow from the chains.", counted(len(v.Checkpoints), "checkpoint", "checkpoints"), told)
	if rest := len(v.Checkpoints) - told; rest > 0 {
		v.found.untold(partCheckpoints, "Of %d checkpoints the root cannot be worked out: how far each chain had come is told of changes of state, looks and the last of each week alone, since all would tell the minute of every record.", rest)
	}
	return nil
}

// headsOf works out the root of one checkpoint, and that nothing of the chains was left out of the one that was analysed.
func (v *verifier) headsOf(heads []Head, roots map[int64]trial.Digest) {
	n := heads[0].Checkpoint
	leaves := make([]trial.Digest, len(heads))
	unknown := int64(0)
	covered := map[trial.ID]int64{}
	for i, h := range heads {
		leaves[i] = h.Leaf
		if h.Place != i+1 {
			v.found.differs(partCheckpoints, "head %d of checkpoint %d stands at place %d", h.Place, n, i+1)
		}
		if h.Chain.IsZero() {
			unknown++
			continue
		}
		covered[h.Chain] = h.N
		hash, known := v.hashes[headKey{h.Chain, h.N}]
		if _, here := v.lengths[h.Chain]; !here || !known || hash.IsZero() && h.N > 0 {
			v.found.differs(partCheckpoints, "entry %d of chain %s, at which checkpoint %d saw it, is not in the ledger", h.N, h.Chain, n)
			continue
		}
		if got := (trial.Head{ChainID: h.Chain, N: h.N, Hash: hash}).Leaf(); got != h.Leaf {
			v.found.differs(partCheckpoints, "the leaf of chain %s in checkpoint %d is not that of its entry %d", h.Chain, n, h.N)
		}
	}
	if root, known := roots[n]; !known || trial.LeavesRoot(leaves) != root {
		v.found.differs(partCheckpoints, "the heads of checkpoint %d do not give its root", n)
	}
	if n != v.Facts.Checkpoint {
		return
	}
	for chain, length := range v.lengths {
		if covered[chain] != length {
			v.found.differs(partCheckpoints, "chain %s has %d entries, and the checkpoint that was analysed saw %d", chain, length, covered[chain])
		}
	}
	if v.plan.Source == trial.Drawn && unknown != v.Facts.Withheld+v.Facts.ErasedAnglers {
		v.found.differs(partCheckpoints, "the checkpoint that was analysed saw %d chains that are not here, and trial.csv tells of %d anglers left out and %d erased", unknown, v.Facts.Withheld, v.Facts.ErasedAnglers)
	}
}

func counted(n int, one, many string) string { return report.Counted(int64(n), one, many) }

// sumOf is the SHA-256 of what is written, in hexadecimal.
func sumOf(write func(io.Writer) error) (string, error) {
	sum := sha256.New()
	if err := write(sum); err != nil {
		return "", err
	}
	return trial.Digest(sum.Sum(nil)).String(), nil
}
