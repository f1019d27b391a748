package conduct

import (
	"context"
	"fmt"
	"sync/atomic"

	"github.com/alexedwards/argon2id"
	"golang.org/x/text/unicode/norm"

	"evenrig/service/trial"
)

// hashing is what a password's hash costs: 19 MiB, two passes, one lane (OWASP Password Storage Cheat Sheet, 2024:
// Argon2id with m = 19456, t = 2, p = 1 as the least).
var hashing = argon2id.Params{Memory: 19456, Iterations: 2, Parallelism: 1, SaltLength: 16, KeyLength: 32}

// nobodysHash is compared with when there is no password to compare with, so that an e-mail address that nobody has takes
// as long as a wrong password. It is 48 random bytes; no password is known that gives it.
const nobodysHash = "$argon2id$v=19$m=19456,t=2,p=1$w1cCCp+zOUMSkuota2FUPg$52GB83MsRmlN45lEirteNj508crRINonNry33PYHBts"

// A hasher computes hashes of passwords, few at once: each takes memory and a core.
type hasher struct {
	slots   chan struct{}
	waiting atomic.Int64
}

const (
	hashesAtOnce  = 2
	hashesWaiting = 64
)

func newHasher() *hasher { return &hasher{slots: make(chan struct{}, hashesAtOnce)} }

// run waits for its turn and runs do.
func (h *hasher) run(ctx context.Context, do func() error) error {
	if h.waiting.Add(1) > hashesWaiting {
		h.waiting.Add(-1)
		return trial.Fail(trial.Unavailable, "unavailable", "too many people sign in at this moment; send the same again later")
	}
	defer h.waiting.Add(-1)
	select {
	case h.slots <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-h.slots }()
	return do()
}

// hash returns the hash of a password that is to be kept.
func (h *hasher) hash(ctx context.Context, password string) (hash string, err error) {
	err = h.run(ctx, func() error {
		hash, err = argon2id.CreateHash(norm.NFC.String(password), &hashing)
		return err
	})
	if err != nil && ctx.Err() == nil && trial.KindOf(err) == trial.Internal {
		err = fmt.Errorf("hash a password: %w", err)
	}
	return hash, err
}

// matches reports whether a password has the hash. Without a hash it takes as long and is false.
func (h *hasher) matches(ctx context.Context, password, hash string) (same bool, err error) {
	none := hash == ""
	if none {
		hash = nobodysHash
	}
	err = h.run(ctx, func() error {
		same, err = argon2id.ComparePasswordAndHash(norm.NFC.String(password), hash)
		return err
	})
	return same && !none, err
}
