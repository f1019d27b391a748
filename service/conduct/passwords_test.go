package conduct

import (
	"context"
	"testing"
	"time"

	"github.com/alexedwards/argon2id"

	"evenrig/service/trial"
)

// What a password is compared with when there is none costs as much as what it is compared with when there is one: the
// parameters and lengths are the same, so that the time tells nothing.
func TestNobodysHashCostsTheSame(t *testing.T) {
	t.Parallel()
	params, _, _, err := argon2id.DecodeHash(nobodysHash)
	if err != nil || *params != hashing {
		t.Errorf("nobody's hash costs %+v, %v; want %+v", params, err, hashing)
	}
	h := newHasher()
	if same, err := h.matches(t.Context(), "", ""); same || err != nil {
		t.Errorf("no password matches no hash: %t, %v", same, err)
	}
}

// At most two passwords are hashed at once; who has waited until his context ends, or finds too many waiting, is told so.
func TestFewHashesAtOnce(t *testing.T) {
	t.Parallel()
	h := newHasher()
	for range hashesAtOnce {
		h.slots <- struct{}{}
	}
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Millisecond)
	defer cancel()
	if _, err := h.matches(ctx, "x", ""); err == nil || ctx.Err() == nil {
		t.Errorf("a third did not wait: %v", err)
	}
	h.waiting.Store(hashesWaiting)
	if _, err := h.hash(t.Context(), "x"); trial.KindOf(err) != trial.Unavailable {
		t.Errorf("one too many was answered %v", err)
	}
}

// What a wrong password costs, and an address that nobody has: the ratio of the two should be 1.
func BenchmarkPasswords(b *testing.B) {
	h := newHasher()
	hash, err := h.hash(b.Context(), "tidal pliers under moss")
	if err != nil {
		b.Fatal(err)
	}
	for name, known := range map[string]string{"wrong": hash, "nobody": ""} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := h.matches(b.Context(), "seven slow herons wading", known); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
