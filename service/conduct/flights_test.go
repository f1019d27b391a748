package conduct

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// Nobody gets an answer that was asked before he came, and those who come while one is on its way share the next.
func TestFlights(t *testing.T) {
	t.Parallel()
	var f flights[string, int64]
	var asked, now atomic.Int64
	var group sync.WaitGroup
	for range 64 {
		group.Go(func() {
			for range 200 {
				came := now.Add(1)
				got, err := f.do(t.Context(), "fish", func(context.Context) (int64, error) {
					asked.Add(1)
					return now.Load(), nil
				})
				if err != nil || got < came {
					t.Errorf("came at %d, answered as of %d (%v)", came, got, err)
				}
			}
		})
	}
	group.Wait()
	if asked.Load() >= 64*200 {
		t.Error("nobody shared an answer")
	}
	lanes := func() int {
		f.mu.Lock()
		defer f.mu.Unlock()
		return len(f.lanes)
	}
	for end := time.Now().Add(time.Minute); lanes() > 0; time.Sleep(time.Millisecond) { // the last one lands before it clears its lane
		if time.Now().After(end) {
			t.Fatalf("%d lanes are left", lanes())
		}
	}
}

// Who no longer waits does not end the answer for others; a failure is everybody's who waited for it, and nobody's after.
func TestFlightsThatEnd(t *testing.T) {
	t.Parallel()
	var f flights[int, string]
	started, landed := make(chan struct{}), make(chan struct{})
	gone, leave := context.WithCancel(t.Context())
	var group sync.WaitGroup
	group.Go(func() {
		_, err := f.do(gone, 1, func(ctx context.Context) (string, error) {
			close(started)
			<-landed
			return "", ctx.Err()
		})
		if !errors.Is(err, context.Canceled) {
			t.Errorf("who left was told %v", err)
		}
	})
	<-started
	leave()
	group.Wait()
	broken := errors.New("broken")
	group.Go(func() {
		if _, err := f.do(t.Context(), 1, func(context.Context) (string, error) { return "", broken }); !errors.Is(err, broken) {
			t.Errorf("the next was told %v", err)
		}
	})
	close(landed)
	group.Wait()
	if got, err := f.do(t.Context(), 1, func(context.Context) (string, error) { return "whole", nil }); got != "whole" || err != nil {
		t.Errorf("%q, %v", got, err)
	}
}
