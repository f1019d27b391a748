package simulate_test

import (
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"testing"

	"evenrig/stats/simulate"
)

func draw(_ int, r *rand.Rand) float64 { return r.Float64() }

func TestAnyNumberOfWorkersGivesTheSameValues(t *testing.T) {
	one, err := simulate.Run(t.Context(), 1000, 1, 7, draw, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, workers := range []int{2, 3, 16, 5000} {
		many, err := simulate.Run(t.Context(), 1000, workers, 7, draw, nil)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(one, many) {
			t.Errorf("%d workers give other values than 1", workers)
		}
	}
	shorter, err := simulate.Run(t.Context(), 10, 2, 7, draw, nil)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(one[:10], shorter) {
		t.Error("a shorter run is not the beginning of a longer one")
	}
}

func TestStreamsDiffer(t *testing.T) {
	seen := map[uint64]bool{}
	for seed := range uint64(50) {
		for i := range 50 {
			seen[simulate.Stream(seed, i).Uint64()] = true
		}
	}
	if len(seen) != 2500 {
		t.Errorf("2500 streams begin in %d ways", len(seen))
	}
}

func TestRunCanBeCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	values, err := simulate.Run(ctx, 1_000_000, 2, 1, func(i int, r *rand.Rand) float64 {
		if i == 100 {
			cancel()
		}
		return r.Float64()
	}, nil)
	if values != nil || !errors.Is(err, context.Canceled) {
		t.Errorf("got %d values and %v, want none and %v", len(values), err, context.Canceled)
	}
}

func TestProgressCountsToTheEnd(t *testing.T) {
	last, calls := 0, 0
	if _, err := simulate.Run(t.Context(), 1234, 4, 1, draw, func(done int) { last, calls = max(last, done), calls+1 }); err != nil {
		t.Fatal(err)
	}
	if last != 1234 || calls > 110 {
		t.Errorf("progress ended at %d after %d calls, want 1234 within 110", last, calls)
	}
}

func TestRefusesNothingToDo(t *testing.T) {
	for _, c := range [][2]int{{0, 1}, {1, 0}, {-1, 2}} {
		if _, err := simulate.Run(t.Context(), c[0], c[1], 1, draw, nil); !errors.Is(err, simulate.ErrReplicates) {
			t.Errorf("%d replicates on %d workers: %v, want %v", c[0], c[1], err, simulate.ErrReplicates)
		}
	}
}
