package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"evenrig/openapi"
	"evenrig/service/analysis"
)

// jumpingClock is a server's clock that is put on or back by up to ten hours whenever it is looked at, beside which that of the
// story goes right.
type jumpingClock struct {
	storyClock
	mu  sync.Mutex
	rng *rand.Rand
}

func (c *jumpingClock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.storyClock.now().Add(time.Duration(c.rng.Int64N(int64(20*time.Hour))) - 10*time.Hour)
}

// TestTheServersClockJumps: two days of every angler are fished while the server's clock jumps to and fro. Nothing is refused for it, chains and
// checkpoints hold together, numbers go up by one, the analysis has every fish, and what phones say of their times stands.
func TestTheServersClockJumps(t *testing.T) {
	t.Parallel()
	clock := &jumpingClock{rng: rand.New(rand.NewPCG(3, 5))}
	clock.set(demoStart)
	p, r := startParts(t, clock.now)
	secret, err := p.service.FirstAdmin(t.Context(), "Secretary")
	if err != nil {
		t.Fatal(err)
	}
	var told bytes.Buffer
	s := newStory(r.url, &clock.storyClock, &told)
	days := func(ctx context.Context) error {
		for n := range 2 {
			for _, p := range s.anglers {
				if err := p.fishOuting(ctx, n, demoDay(p.number, n)); err != nil {
					return err
				}
			}
		}
		return nil
	}
	for _, part := range []func(context.Context) error{
		func(ctx context.Context) error { return s.found(ctx, secret) }, s.writeRules, s.join, days, s.lock,
	} {
		if err := part(t.Context()); err != nil {
			t.Fatalf("%v\n%s", err, told.String())
		}
	}
	done, err := s.read(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var result analysis.Result
	if err := json.Unmarshal(done.result, &result); err != nil {
		t.Fatal(err)
	}
	if got := int(result.Counts.Catches); got != s.fish {
		t.Errorf("%d catches counted, %d fish were sent", got, s.fish)
	}
	if checked, err := p.service.Check(t.Context()); err != nil || len(checked.Faults) > 0 {
		t.Errorf("check: %+v, %v", checked, err)
	}
	list, err := s.organiser.api.ListCheckpointsWithResponse(t.Context(), s.trial)
	if err := expect(list, err, "list the checkpoints", 200); err != nil {
		t.Fatal(err)
	}
	if !slices.IsSortedFunc(list.JSON200.Items, func(a, b openapi.Checkpoint) int { return cmp.Compare(a.N, b.N) }) {
		t.Errorf("checkpoints are out of order: %+v", list.JSON200.Items)
	}
}
