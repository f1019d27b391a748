package analysis

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"slices"

	"evenrig/service/trial"
	"evenrig/stats/evalue"
	"evenrig/stats/exact"
)

// spreadOfEffects is the standard deviation of ln OR over which the conditional evidence mixes.
const spreadOfEffects = 1

// fishedBlock is one finished block: what was taken in its halves, and the week in which it was last fished.
type fishedBlock struct {
	angler string
	block  exact.DrawnBlock
	week   string
	fish   int64
	whole  bool // finished, with fish in both halves
}

// weigh returns the evidence of the finished blocks and the sequence's limits; nil where no block has fish in both halves.
func weigh(in Input) (*Evidence, evalue.Limits, error) {
	blocks := blocksInOrder(in)
	none := evalue.Limits{}
	if !slices.ContainsFunc(blocks, func(b fishedBlock) bool { return b.whole }) {
		return nil, none, nil
	}
	drawn := len(in.Draw) > 0
	byDraw, err := evalue.NewDesignBased(drawSizes(in.Choices))
	if err != nil {
		return nil, none, fmt.Errorf("weigh the evidence: %w", err)
	}
	conditional, err := evalue.NewConditional(spreadOfEffects)
	if err != nil {
		return nil, none, fmt.Errorf("weigh the evidence: %w", err)
	}
	var twoStream evalue.TwoStream
	e, limits, fish := &Evidence{Threshold: 1 / in.Alpha, Path: []EvidencePoint{}}, none, int64(0)
	for i, b := range blocks {
		if drawn {
			if err := byDraw.Add(b.angler, b.block); errors.Is(err, evalue.ErrDraw) || errors.Is(err, evalue.ErrCount) {
				drawn = false // the test that draws again has said why
			} else if err != nil {
				return nil, none, fmt.Errorf("weigh the evidence: %w", err)
			}
		}
		if b.whole {
			e.Blocks++
			fish += b.fish
			table := evalue.TableOf(b.block)
			if err := errors.Join(twoStream.Add(b.angler, table), conditional.Add(table)); err != nil {
				if errors.Is(err, evalue.ErrCount) {
					return nil, none, nil
				}
				return nil, none, fmt.Errorf("weigh the evidence: %w", err)
			}
		}
		if b.week == "" || i+1 < len(blocks) && blocks[i+1].week == b.week {
			continue
		}
		if limits, err = conditional.Limits(in.Alpha); err != nil {
			return nil, none, fmt.Errorf("weigh the evidence: %w", err)
		}
		low, high := limits.Share()
		point := EvidencePoint{Week: b.week, Blocks: e.Blocks, Fish: fish, SequenceShareLow: known(low), SequenceShareHigh: known(high)}
		if drawn {
			point.EValue = known(byDraw.Log().E())
		}
		e.Path = append(e.Path, point)
	}
	if limits, err = conditional.Limits(in.Alpha); err != nil {
		return nil, none, fmt.Errorf("weigh the evidence: %w", err)
	}
	if drawn {
		e.Draw = known(byDraw.Log().E())
	}
	e.TwoStream, e.Conditional = known(twoStream.Log().E()), known(conditional.Log().E())
	switch order, err := evalue.CheckOrder(byAngler(blocks), 1-in.Alpha); {
	case err == nil:
		e.OrderP = known(order.P)
	case !errors.Is(err, evalue.ErrOrder):
		return nil, none, fmt.Errorf("check the order: %w", err)
	}
	return e, limits, nil
}

func drawSizes(d trial.Draw) []int {
	if d.Method == trial.CoinPerBlock {
		return []int{1}
	}
	return d.GroupSizes
}

// byAngler sorts whole blocks by their anglers.
func byAngler(blocks []fishedBlock) [][]exact.DrawnBlock {
	of := map[string][]exact.DrawnBlock{}
	for _, b := range blocks {
		if b.whole {
			of[b.angler] = append(of[b.angler], b.block)
		}
	}
	var all [][]exact.DrawnBlock
	for _, angler := range slices.Sorted(maps.Keys(of)) {
		all = append(all, of[angler])
	}
	return all
}

// blocksInOrder lists the blocks week by week, each angler's in the order of the draw; without a draw in the order of their
// labels. A block without a finished fish stands in the week of the block before it, since its order is part of the draw.
func blocksInOrder(in Input) []fishedBlock {
	weeks, halves := map[[2]string]string{}, map[[2]string]*[3]exact.Takes{}
	drawn := len(in.Draw) > 0
	for _, t := range in.Tallies {
		if t.Exclusion != trial.Analysed || t.Half < 1 || t.Half > 2 || drawn && !t.Finished {
			continue
		}
		key := [2]string{t.Angler, t.Block}
		weeks[key] = max(weeks[key], t.Week)
		takes := &at(halves, key)[t.Half]
		if (t.Arrangement == trial.TestLower) == (t.Taken == trial.TookTest) {
			takes.Lower += t.N
		} else {
			takes.Upper += t.N
		}
	}
	var blocks []fishedBlock
	if drawn {
		blocks = blocksOfDraw(in, weeks)
	} else {
		blocks = blocksOfTable(in, halves, weeks)
	}
	last := map[string]string{}
	for i := range blocks {
		b := &blocks[i]
		b.week = max(b.week, last[b.angler])
		last[b.angler] = b.week
		first, second := b.block.First, b.block.Second
		b.fish = first.Lower + first.Upper + second.Lower + second.Upper
		b.whole = first != (exact.Takes{}) && second != (exact.Takes{})
	}
	slices.SortStableFunc(blocks, func(x, y fishedBlock) int { return cmp.Compare(x.week, y.week) })
	return blocks
}

// blocksOfDraw lists the drawn blocks with the fish of finished ones, as the test that draws again has them.
func blocksOfDraw(in Input, weeks map[[2]string]string) (blocks []fishedBlock) {
	in.Tallies = slices.DeleteFunc(slices.Clone(in.Tallies), func(t trial.Tally) bool { return !t.Finished })
	draw, _ := drawOf(in)
	drawn := slices.Concat(draw.Anglers...)
	for i, b := range drawInOrder(in.Draw) {
		blocks = append(blocks, fishedBlock{angler: b.Angler, block: drawn[i], week: weeks[[2]string{b.Angler, b.Block}]})
	}
	return blocks
}

// blocksOfTable lists the blocks of a table, where which arrangement came first is as fished.
func blocksOfTable(in Input, halves map[[2]string]*[3]exact.Takes, weeks map[[2]string]string) (blocks []fishedBlock) {
	testFirst := map[[2]string]bool{}
	for _, t := range in.Tallies {
		if key := [2]string{t.Angler, t.Block}; halves[key] != nil {
			testFirst[key] = testFirst[key] || (t.Half == 1) == (t.Arrangement == trial.TestLower)
		}
	}
	keys := slices.SortedFunc(maps.Keys(halves), func(a, b [2]string) int {
		return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(weeks[a], weeks[b]), cmp.Compare(len(a[1]), len(b[1])), cmp.Compare(a[1], b[1]))
	})
	for _, key := range keys {
		takes := halves[key]
		blocks = append(blocks, fishedBlock{angler: key[0], week: weeks[key], block: exact.DrawnBlock{Size: 1, TestFirst: testFirst[key], First: takes[1], Second: takes[2]}})
	}
	return blocks
}
