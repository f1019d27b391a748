package analysis

import (
	"context"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"

	"evenrig/service/trial"
	"evenrig/stats/exact"
)

// randomisation draws the order of the blocks again, as it was drawn; nil without a draw. Where random re-draws are needed
// their seed is the fingerprint, so that the same fish give the same p.
func randomisation(in Input, counted string, n *notes) (*Randomisation, error) {
	if len(in.Draw) == 0 {
		n.add(WarnNoDraw, "which way round came first was not drawn here: there is no test that draws it again, and no answer by the way round that was drawn")
		return nil, nil
	}
	draw, blocks := drawOf(in)
	seed, err := hex.DecodeString(counted[:16])
	if err != nil {
		return nil, fmt.Errorf("fingerprint: %w", err)
	}
	by := func(statistic exact.RandomisationStatistic) (exact.Randomisation, error) {
		return exact.Randomise(context.Background(), draw, statistic, exact.FewestRedraws, binary.BigEndian.Uint64(seed), 1)
	}
	all, err := by(exact.ByBlock)
	switch {
	case errors.Is(err, exact.ErrNoContrast):
		n.add(WarnNoContrast, "no other order would have changed how many fish are counted to which pattern: the test that draws it again has nothing to compare")
		return nil, nil
	case errors.Is(err, exact.ErrDraw):
		n.add(WarnNoContrast, "the recorded draw cannot have come about as the rule sheet says: it is not drawn again")
		return nil, nil
	case err != nil:
		return nil, fmt.Errorf("draw again: %w", err)
	}
	r := Randomisation{P: all.P, SmallestP: all.SmallestP, Draws: int64(all.Redraws), Exact: all.Exact, Blocks: blocks}
	each, err := by(exact.ByAngler)
	if err != nil {
		return nil, fmt.Errorf("draw again by angler: %w", err)
	}
	r.AnglersP = known(each.P)
	return &r, nil
}

// drawOf sorts the analysed fish into the halves of the drawn blocks, by the position of the fly that they took. blocks counts
// those with fish in both halves. A fish of no drawn block is not in it.
func drawOf(in Input) (draw exact.Draw, blocks int64) {
	halves := map[[2]string]*[3]exact.Takes{} // by half
	for _, t := range in.Tallies {
		if t.Exclusion != trial.Analysed || t.Half < 1 || t.Half > 2 {
			continue
		}
		takes := &at(halves, [2]string{t.Angler, t.Block})[t.Half]
		if (t.Arrangement == trial.TestLower) == (t.Taken == trial.TookTest) {
			takes.Lower += t.N
		} else {
			takes.Upper += t.N
		}
	}
	draw.Sizes = in.Choices.GroupSizes
	last := ""
	for _, b := range drawInOrder(in.Draw) {
		if len(draw.Anglers) == 0 || b.Angler != last {
			draw.Anglers, last = append(draw.Anglers, nil), b.Angler
		}
		block := exact.DrawnBlock{Group: b.Group, Size: b.Size, TestFirst: b.First == trial.TestLower}
		if in.Choices.Method == trial.CoinPerBlock {
			block.Size = 1
		}
		if takes := halves[[2]string{b.Angler, b.Block}]; takes != nil {
			block.First, block.Second = takes[1], takes[2]
			if takes[1] != (exact.Takes{}) && takes[2] != (exact.Takes{}) {
				blocks++
			}
		}
		own := &draw.Anglers[len(draw.Anglers)-1]
		*own = append(*own, block)
	}
	return draw, blocks
}
