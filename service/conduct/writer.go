package conduct

import (
	"context"
	"sync"
	"time"

	"evenrig/service/trial"
)

// The writer is how catches reach the store: in each of its lanes one goroutine collects what waits and saves it in one
// transaction. While one group is being committed the next collects, so nobody waits for a timer and a busy hour makes large
// groups; while one lane waits for the database, another prepares or answers. What one account sends keeps to one lane, and so
// enters its chain in the order in which it was sent.
type writer struct {
	store  trial.Store
	lanes  [lanes]chan pending
	turn   chan struct{} // holds one value while no group has the turn
	done   sync.WaitGroup
	gate   sync.RWMutex // held for reading while something is queued, so that stop cannot close the lanes under it
	closed bool
}

type pending struct {
	catch   trial.CatchSubmission
	outcome chan<- trial.CatchOutcome
}

const (
	// lanes is how many transactions of the writer are under way at most: more would make smaller groups, which cost more a fish.
	lanes = 2
	// enough is how large a group is that need not wait while another is under way: a transaction costs much the same for one
	// catch as for five.
	enough = 5
	// groupLimit is how many catches one transaction takes at most.
	groupLimit = 128
	// groupTime is how long a transaction of the writer may take.
	groupTime = 20 * time.Second
)

func startWriter(store trial.Store) *writer {
	w := &writer{store: store, turn: make(chan struct{}, 1)}
	w.turn <- struct{}{}
	for i := range w.lanes {
		w.lanes[i] = make(chan pending, groupLimit)
		w.done.Go(func() { w.run(w.lanes[i]) })
	}
	return w
}

// stop waits until everything queued is saved. What is submitted afterwards is refused.
func (w *writer) stop() {
	w.gate.Lock()
	if !w.closed {
		w.closed = true
		for _, lane := range w.lanes {
			close(lane)
		}
	}
	w.gate.Unlock()
	w.done.Wait()
}

// submit queues a catch and returns the channel on which its outcome comes once it is on disk, or ctx's error when it ends
// before there is room. A queued catch is saved even when nobody waits for it any more; the same
// catch sent again is then a replay.
func (w *writer) submit(ctx context.Context, c trial.CatchSubmission) <-chan trial.CatchOutcome {
	outcome := make(chan trial.CatchOutcome, 1)
	w.gate.RLock()
	defer w.gate.RUnlock()
	if w.closed {
		outcome <- trial.CatchOutcome{Err: trial.Fail(trial.Unavailable, "service.stopping", "the service is stopping; send the same again in a moment")}
		return outcome
	}
	select {
	case w.lanes[int(c.Account[len(c.Account)-1])%lanes] <- pending{c, outcome}:
	case <-ctx.Done():
		outcome <- trial.CatchOutcome{Err: ctx.Err()}
	}
	return outcome
}

// waiting is how many catches are queued.
func (w *writer) waiting() (n int) {
	for _, lane := range w.lanes {
		n += len(lane)
	}
	return n
}

func (w *writer) run(lane <-chan pending) {
	for first := range lane {
		group, turn := w.collect(lane, first)
		w.save(group)
		if turn {
			w.turn <- struct{}{}
		}
	}
}

// collect returns what waits in the lane, and whether the group has the turn, which goes back when it is saved: a group that is
// not large enough waits for it, or until it is.
func (w *writer) collect(lane <-chan pending, first pending) (group []pending, turn bool) {
	group = []pending{first}
	for open := true; open && !turn && len(group) < enough; {
		var next pending
		select {
		case next, open = <-lane:
			if open {
				group = append(group, next)
			}
		case <-w.turn:
			turn = true
		}
	}
	for more := true; more && len(group) < groupLimit; {
		select {
		case next, open := <-lane:
			if more = open; open {
				group = append(group, next)
			}
		default:
			more = false
		}
	}
	if !turn {
		select {
		case <-w.turn:
			turn = true
		default:
		}
	}
	return group, turn
}

// save submits a group; when its transaction fails, each catch is tried alone, so that one cannot spoil the others.
func (w *writer) save(group []pending) {
	outcomes := w.submitGroup(group)
	for i, o := range outcomes {
		if len(group) > 1 && o.Err != nil && trial.KindOf(o.Err) == trial.Internal {
			o = w.submitGroup(group[i : i+1])[0]
		}
		group[i].outcome <- o
	}
}

func (w *writer) submitGroup(group []pending) []trial.CatchOutcome {
	ctx, cancel := context.WithTimeout(context.Background(), groupTime)
	defer cancel()
	catches := make([]trial.CatchSubmission, len(group))
	for i, p := range group {
		catches[i] = p.catch
	}
	return w.store.SubmitCatches(ctx, catches)
}
