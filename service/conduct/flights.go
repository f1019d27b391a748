package conduct

import (
	"context"
	"sync"
	"time"
)

// flightTime is how long an answer that several wait for may take.
const flightTime = 30 * time.Second

// flights lets requests that ask the same at once share an answer. Who asks while an answer is on its way waits for the next one,
// so that no answer is older than its question.
type flights[K comparable, V any] struct {
	mu    sync.Mutex
	lanes map[K]*lane[V]
}

// lane are the flights of one question beside the one under way: the one that starts when that has landed, nil for none.
type lane[V any] struct{ next *flight[V] }

type flight[V any] struct {
	ask    func() (V, error)
	landed chan struct{}
	answer V
	err    error
}

// do returns what ask answers, asked after do was called. Of several that wait the first one's ask is run, with what its context
// carries but beyond its end.
func (f *flights[K, V]) do(ctx context.Context, question K, ask func(context.Context) (V, error)) (V, error) {
	mine := f.board(question, func() (V, error) {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), flightTime)
		defer cancel()
		return ask(ctx)
	})
	select {
	case <-mine.landed:
		return mine.answer, mine.err
	case <-ctx.Done():
		var none V
		return none, ctx.Err()
	}
}

// board returns the flight that answers the question, and starts it where none is under way.
func (f *flights[K, V]) board(question K, ask func() (V, error)) *flight[V] {
	f.mu.Lock()
	defer f.mu.Unlock()
	l, flying := f.lanes[question]
	if flying && l.next != nil {
		return l.next
	}
	mine := &flight[V]{ask: ask, landed: make(chan struct{})}
	if flying {
		l.next = mine
		return mine
	}
	if f.lanes == nil {
		f.lanes = map[K]*lane[V]{}
	}
	l = &lane[V]{}
	f.lanes[question] = l
	go f.fly(question, l, mine)
	return mine
}

// fly makes one flight after another while somebody waits for the next.
func (f *flights[K, V]) fly(question K, l *lane[V], now *flight[V]) {
	for now != nil {
		now.answer, now.err = now.ask()
		close(now.landed)
		f.mu.Lock()
		now, l.next = l.next, nil
		if now == nil {
			delete(f.lanes, question)
		}
		f.mu.Unlock()
	}
}
