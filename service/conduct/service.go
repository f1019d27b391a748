// Package conduct holds the use cases: what a person or a program may ask for, from inviting members to the closing
// analysis. A use case checks who asks, opens and closes transactions on the store, applies trial's rules and says what
// went wrong in words. The clock and the source of random bytes are handed in; no statistics run inside a transaction.
package conduct

import (
	"context"
	"io"
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"evenrig/service/trial"
)

// Service runs the use cases on one store.
type Service struct {
	store   trial.Store
	clock   func() time.Time
	random  io.Reader
	key     SealKey
	program string
	writer  *writer
	hasher  *hasher

	mu    sync.RWMutex
	rules map[trial.ID]*rules

	planning chan struct{} // holds a place while a planner's question is answered
	dropping chan struct{} // the same while a stranger's table is analysed
	reading  chan struct{} // the same while a package is read and verified

	exporting chan struct{} // holds a place for every table on its way out
	importing chan struct{} // and on its way in

	asking      flights[analysisAsked, trial.Analysis]
	results     texts[resultKey]
	askedInOpen flights[fileOfPackage, publishedText]
	published   texts[fileOfEdition]

	stepped  func(step string, took time.Duration)
	draining atomic.Bool

	lookedAtAll atomic.Int64 // when Checkpoint last looked at every trial, in seconds since 1970
}

// Options are what a Service needs besides its store: a clock, a source of random bytes (crypto/rand's outside tests),
// the key that seals seeds, and the program's version for results. Stepped hears how long each step of an analysis took, looks left
// out; it may be nil.
type Options struct {
	Clock   func() time.Time
	Random  io.Reader
	Key     SealKey
	Program string
	Stepped func(step string, took time.Duration)
}

// New returns a Service whose writer runs until Close.
func New(store trial.Store, o Options) *Service {
	return &Service{
		store: store, clock: o.Clock, random: o.Random, key: o.Key, program: o.Program,
		writer: startWriter(store), hasher: newHasher(), rules: map[trial.ID]*rules{}, planning: make(chan struct{}, 1), dropping: make(chan struct{}, 1),
		reading:   make(chan struct{}, 1),
		exporting: make(chan struct{}, exportsAtOnce), importing: make(chan struct{}, importsAtOnce),
		stepped: o.Stepped,
	}
}

// Close waits for submitted catches to be saved and stops the writer.
func (s *Service) Close() { s.writer.stop() }

// Drain says that the service is about to stop: from now on it is not ready, and does what it is asked all the same.
func (s *Service) Drain() { s.draining.Store(true) }

// Draining reports whether the service is about to stop.
func (s *Service) Draining() bool { return s.draining.Load() }

// Waiting is how many catches wait for the writer.
func (s *Service) Waiting() int { return s.writer.waiting() }

// Ready returns nil when the service can work: it is not about to stop, the database answers with a schema that fits, and the key
// opens the draws that were sealed.
//
// Errors: Unavailable, saying which.
func (s *Service) Ready(ctx context.Context) error {
	if s.Draining() {
		return trial.Fail(trial.Unavailable, "service.stopping", "the service is stopping; ask another, or this one in a moment")
	}
	if err := s.store.Ready(ctx); err != nil {
		return err
	}
	return s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		id, sealed, err := tx.SealedSeed(ctx)
		if err != nil || id.IsZero() || s.key.Opens(id, sealed) {
			return err
		}
		return trial.Fail(trial.Unavailable, "service.key", "the key that seals draws is another than the one that running draws were sealed under")
	})
}

// bytes32 returns 32 random bytes. A source of randomness that fails leaves nothing to go on with.
func (s *Service) bytes32() (b [32]byte) {
	s.fill(b[:])
	return b
}

func (s *Service) fill(b []byte) {
	if _, err := io.ReadFull(s.random, b); err != nil {
		panic("the source of random bytes failed: " + err.Error())
	}
}

// newID makes an id for what the server itself makes: a UUID of version 7.
func (s *Service) newID() trial.ID {
	id, err := uuid.NewV7FromReader(s.random)
	if err != nil {
		panic("the source of random bytes failed: " + err.Error())
	}
	return trial.ID(id)
}

// NewID returns an id for a record that a page makes, as a phone makes its own: it stands in the form, so that a form sent twice makes one
// record.
func (s *Service) NewID() trial.ID { return s.newID() }

// Now is the time by which the service judges what is due, for pages that say so beforehand.
func (s *Service) Now() time.Time { return s.now() }

// now is the clock in UTC, at the precision that the database keeps.
func (s *Service) now() time.Time { return s.clock().UTC().Truncate(time.Microsecond) }
