// Package simulate runs a random experiment many times.
//
// Replicate i draws from its own stream, made from the seed and i alone, so the
// results do not depend on how many workers share the replicates or in which
// order they take them. Random numbers are PCG-DXSM (math/rand/v2), each stream
// started from a hash of seed and i (O'Neill 2014, Harvey Mudd College technical
// report HMC-CS-2014-0905).
package simulate

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"sync/atomic"
)

// ErrReplicates: fewer than one replicate or worker was asked for.
var ErrReplicates = errors.New("replicates and workers must be at least 1")

// Stream returns the random numbers of replicate i under the seed. Streams of
// different seeds or replicates are independent for every practical purpose.
func Stream(seed uint64, i int) *rand.Rand {
	return rand.New(rand.NewPCG(mix(seed), mix(mix(seed)+uint64(i)+1)))
}

// mix is the finaliser of SplitMix64 (Steele, Lea & Flood 2014, OOPSLA): it
// spreads neighbouring numbers over the whole range.
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// Run carries out replicates 0 to n-1 on the given number of workers and returns
// their values in order. once gets the replicate's number and its stream, and may
// run concurrently with itself. progress, if not nil, is called now and then with
// the number of replicates done, from any worker, never concurrently with itself.
//
// Errors: ErrReplicates; the context's error as soon as it ends, with no values.
func Run[T any](ctx context.Context, n, workers int, seed uint64, once func(i int, random *rand.Rand) T, progress func(done int)) ([]T, error) {
	if n < 1 || workers < 1 {
		return nil, fmt.Errorf("%w: %d replicates on %d workers", ErrReplicates, n, workers)
	}
	values := make([]T, n)
	var next, done atomic.Int64
	var report sync.Mutex
	var group sync.WaitGroup
	for range min(workers, n) {
		group.Go(func() {
			for ctx.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				values[i] = once(i, Stream(seed, i))
				d := int(done.Add(1))
				if progress != nil && (d == n || d%(n/100+1) == 0) {
					report.Lock()
					progress(d)
					report.Unlock()
				}
			}
		})
	}
	group.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return values, nil
}
