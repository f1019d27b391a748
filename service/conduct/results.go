package conduct

import (
	"context"
	"sync"

	"evenrig/service/trial"
)

// Analysis returns one of a trial's analyses, with its result and without what it was computed from. What a look found stays hidden
// until the trial is locked; of one that was withdrawn nothing is left, and what stands in its place is named.
//
// Who may read it and whether it still stands is asked anew each time, by those who ask at once together; a result's bytes, which
// never change, are read once.
func (s *Service) Analysis(ctx context.Context, actor trial.Actor, id trial.ID, n int) (trial.Analysis, error) {
	return s.asking.do(ctx, analysisAsked{actor.AccountID, id, n}, func(ctx context.Context) (a trial.Analysis, err error) {
		err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
			t, err := inTrial(ctx, tx, actor, id, trial.ReadAnalysis)
			if err != nil {
				return err
			}
			if a, err = tx.AnalysisStateBy(ctx, id, n); err != nil {
				return err
			}
			if err := readable(t, a); err != nil {
				return err
			}
			if err := standing(ctx, tx, a); err != nil {
				s.results.drop(resultKey{id, n})
				return err
			}
			if a.State == trial.Done {
				a.Result, err = s.results.of(resultKey{id, n}, func() ([]byte, error) {
					whole, err := tx.AnalysisBy(ctx, id, n)
					return whole.Result, err
				})
			}
			return err
		})
		if err != nil {
			return trial.Analysis{}, err
		}
		return a, nil
	})
}

// resultKey is whose result it is.
type resultKey struct {
	trial trial.ID
	n     int
}

// analysisAsked is one member's question for one analysis.
type analysisAsked struct {
	account, trial trial.ID
	n              int
}

// textsKept bounds the bytes that are remembered of one kind; beyond it all are forgotten.
const textsKept = 32 << 20

// texts remembers bytes that never change, by what they are of. Whether they may be shown is not its business.
type texts[K comparable] struct {
	mu    sync.Mutex
	known map[K][]byte
	bytes int
}

// of returns the bytes, which nobody may change; read is asked where they are not known.
func (t *texts[K]) of(key K, read func() ([]byte, error)) ([]byte, error) {
	t.mu.Lock()
	text, ok := t.known[key]
	t.mu.Unlock()
	if ok {
		return text, nil
	}
	text, err := read()
	if err != nil {
		return nil, err
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.known == nil || t.bytes+len(text) > textsKept {
		t.known, t.bytes = map[K][]byte{}, 0
	}
	if _, ok := t.known[key]; !ok && len(text) <= textsKept {
		t.known[key] = text
		t.bytes += len(text)
	}
	return text, nil
}

// drop forgets bytes that may no longer be shown.
func (t *texts[K]) drop(key K) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.bytes -= len(t.known[key])
	delete(t.known, key)
}
