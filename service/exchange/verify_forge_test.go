package exchange

import (
	"bytes"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// checkpointsAnew works out leaves, roots and checkpoints again over the chains as they now are. Of checkpoints whose heads are not told
// the root stays, which nobody can check.
func (u *unpacked) checkpointsAnew() {
	hashes := map[headKey]trial.Digest{}
	for _, e := range u.entries {
		hashes[headKey{e.Chain, e.N}] = e.Hash
	}
	leaves := map[int64][]trial.Digest{}
	for i := range u.Heads {
		h := &u.Heads[i]
		h.Leaf = trial.Head{ChainID: h.Chain, N: h.N, Hash: hashes[headKey{h.Chain, h.N}]}.Leaf()
		leaves[h.Checkpoint] = append(leaves[h.Checkpoint], h.Leaf)
	}
	var before *trial.Checkpoint
	for i := range u.Checkpoints {
		row := &u.Checkpoints[i]
		if of, told := leaves[row.N]; told {
			row.Root = trial.LeavesRoot(of)
		}
		c := trial.Checkpoint{N: row.N, Root: row.Root}
		c.Hash = c.Follow(before)
		row.Hash, before = c.Hash, &c
	}
}

// resultAnew computes the result of the changed rows and puts it into the report.
func (u *unpacked) resultAnew(t testing.TB, in analysis.Input) {
	t.Helper()
	was, err := analysis.Decode(u.Result)
	if err != nil {
		t.Fatal(err)
	}
	is, err := analysis.Run(in, analysis.Settings{ProgramVersion: "test"})
	if err != nil {
		t.Fatal(err)
	}
	if u.Result, err = is.Encode(); err != nil {
		t.Fatal(err)
	}
	u.Report = bytes.ReplaceAll(u.Report, []byte(was.Fingerprint), []byte(is.Fingerprint))
	u.Report = bytes.ReplaceAll(u.Report, []byte(was.Verdict.Sentence), []byte(is.Verdict.Sentence))
}
