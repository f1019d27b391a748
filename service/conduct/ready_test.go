package conduct_test

import (
	"errors"
	"testing"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// TestReady: the service is ready with the key under which a running draw was sealed, not with another, and not while it stops; stopping, it
// does what it is asked all the same.
func TestReady(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	other := conduct.New(w.store, conduct.Options{Clock: w.clock.read, Random: &stream{seed: 9}, Key: conduct.SealKey{4, 5, 6}})
	t.Cleanup(other.Close)
	w.ok(other.Ready(w.ctx)) // nothing is sealed yet
	e := w.newClub("Wend Fly Fishers", 3).opened(ruleSheet())
	w.ok(w.s.Ready(w.ctx))
	if err := other.Ready(w.ctx); !saysCode(err, "service.key") || trial.KindOf(err) != trial.Unavailable {
		t.Errorf("with another key: %v", err)
	}
	r, _, _, period := e.inAPeriod(e.anglers[0])
	w.s.Drain()
	if err := w.s.Ready(w.ctx); !saysCode(err, "service.stopping") || trial.KindOf(err) != trial.Unavailable {
		t.Errorf("while it stops: %v", err)
	}
	r.land(period, "C")
}

func saysCode(err error, code string) bool {
	failed, ok := errors.AsType[*trial.Error](err)
	return ok && failed.Code == code
}
