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
				s.results.drop(id, n)
				return err
			}
			if a.State == trial.Done {
				a.Result, err = s.results.of(id, n, func() ([]byte, error) {
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

// analysisAsked is one member's question for one analysis.
type analysisAsked struct {
	account, trial trial.ID
	n              int
}

// resultsKept bounds the bytes of results that are remembered; beyond it all are forgotten.
const resultsKept = 32 << 20

// results remembers the bytes of finished analyses, which never change. Whether one still stands is not its business.
type results struct {
	mu    sync.Mutex
	known map[resultKey][]byte
	bytes int
}

type resultKey struct {
	trial trial.ID
	n     int
}

// of returns a result's bytes, which nobody may change; read is asked where they are not known.
func (r *results) of(id trial.ID, n int, read func() ([]byte, error)) ([]byte, error) {
	key := resultKey{id, n}
	r.mu.Lock()
	text, ok := r.known[key]
	r.mu.Unlock()
	if ok {
		return text, nil
	}
	text, err := read()
	if err != nil {
		return nil, err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.known == nil || r.bytes+len(text) > resultsKept {
		r.known, r.bytes = map[resultKey][]byte{}, 0
	}
	if _, ok := r.known[key]; !ok && len(text) <= resultsKept {
		r.known[key] = text
		r.bytes += len(text)
	}
	return text, nil
}

// drop forgets a result that was withdrawn.
func (r *results) drop(id trial.ID, n int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.bytes -= len(r.known[resultKey{id, n}])
	delete(r.known, resultKey{id, n})
}
