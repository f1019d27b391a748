package calibration

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"math/rand/v2"

	"evenrig/stats/simulate"
)

// ErrSettings: settings outside their ranges.
var ErrSettings = errors.New("unusable settings")

// Settings say how a study is run.
type Settings struct {
	Trials  int    // per cell, 2 or more
	Seed    uint64 // every random number follows from it, the cell and the trial's number
	Workers int    // 1 or more; the answer does not depend on it
	Methods []Method
}

// Row is how one method did in one cell.
type Row struct {
	Cell   Cell
	Method string
	Trials int
	Seed   uint64
	Performance
}

// Run draws the cell's trials, applies every method to each and returns one row per
// method, in their order. A cell's trials depend on the seed and on the cell alone,
// not on what other cells are run. progress, if not nil, is called now and then with
// the number of trials done.
//
// Errors: ErrCell; ErrSettings; the context's error as soon as it ends.
func Run(ctx context.Context, cell Cell, s Settings, progress func(done int)) ([]Row, error) {
	if err := cell.Validate(); err != nil {
		return nil, err
	}
	if s.Trials < 2 || s.Workers < 1 || len(s.Methods) == 0 {
		return nil, fmt.Errorf("%w: %d trials on %d workers with %d methods; accepted are 2, 1 and 1 or more", ErrSettings, s.Trials, s.Workers, len(s.Methods))
	}
	once := func(_ int, random *rand.Rand) []interval {
		f := newFits(ctx, cell.draw(random))
		answers := make([]interval, len(s.Methods))
		for i, m := range s.Methods {
			answers[i] = m.from(f)
		}
		return answers
	}
	trials, err := simulate.Run(ctx, s.Trials, s.Workers, cellSeed(s.Seed, cell), once, progress)
	if err != nil {
		return nil, err
	}
	rows := make([]Row, len(s.Methods))
	one := make([]interval, s.Trials)
	for i, m := range s.Methods {
		for j, answers := range trials {
			one[j] = answers[i]
		}
		rows[i] = Row{cell, m.Name, s.Trials, s.Seed, summarise(one, cell.Theta())}
	}
	return rows, nil
}

// cellSeed gives each cell streams of its own.
func cellSeed(seed uint64, cell Cell) uint64 {
	h := fnv.New64a()
	fmt.Fprintf(h, "%d %s", seed, cell.Name())
	return h.Sum64()
}
