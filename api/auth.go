package api

import (
	"context"
	"crypto/sha256"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// A token is looked up at most tokenAge late, so a revoked one may live so long. At most tokensKept are remembered.
const (
	tokenAge   = 5 * time.Second
	tokensKept = 10_000
)

// authenticator remembers whose a token is, so that a phone that sends ten fish does not cost ten look-ups. Secrets are
// remembered as SHA-256.
type authenticator struct {
	service *conduct.Service
	now     func() time.Time

	mu    sync.Mutex
	known map[[32]byte]remembered
}

type remembered struct {
	actor trial.Actor
	until time.Time
}

func newAuthenticator(service *conduct.Service, now func() time.Time) *authenticator {
	return &authenticator{service: service, now: now, known: map[[32]byte]remembered{}}
}

// actor returns whose token the secret is, or an Unauthenticated error.
func (a *authenticator) actor(ctx context.Context, secret string) (trial.Actor, error) {
	hash, now := sha256.Sum256([]byte(secret)), a.now()
	a.mu.Lock()
	known, ok := a.known[hash]
	a.mu.Unlock()
	if ok && now.Before(known.until) {
		return known.actor, nil
	}
	actor, err := a.service.Authenticate(ctx, secret)
	if err != nil {
		return trial.Actor{}, err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if len(a.known) >= tokensKept {
		clear(a.known)
	}
	// Counted from before the look-up: what it read may be that old.
	a.known[hash] = remembered{actor, now.Add(tokenAge)}
	return actor, nil
}

func (a *authenticator) forget() {
	a.mu.Lock()
	defer a.mu.Unlock()
	clear(a.known)
}

type actorKey struct{}

// authenticate finds out who asks, where the contract wants to know. It comes before anything of the request is looked
// at, so that a stranger learns nothing from faults.
func (s *Server) authenticate(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		op := s.contract.operation(c)
		if op == nil || op.access == anyone {
			return next(c)
		}
		header := c.Request().Header.Get(echo.HeaderAuthorization)
		if header == "" {
			if op.access == anyoneOrToken {
				return next(c)
			}
			return refuse(http.StatusUnauthorized, "token.missing", "no token was sent; send Authorization: Bearer and a token that is yours")
		}
		scheme, secret, _ := strings.Cut(header, " ")
		if !strings.EqualFold(scheme, "bearer") {
			return refuse(http.StatusUnauthorized, "token.invalid", "the Authorization header is no bearer token; send Authorization: Bearer and a token that is yours")
		}
		actor, err := s.auth.actor(c.Request().Context(), strings.TrimSpace(secret))
		if err != nil {
			return err
		}
		c.SetRequest(c.Request().WithContext(context.WithValue(c.Request().Context(), actorKey{}, actor)))
		return next(c)
	}
}

// actorOf returns who asks. The generated interface passes only a context on; from here the actor is an argument.
func actorOf(ctx context.Context) trial.Actor {
	actor, _ := ctx.Value(actorKey{}).(trial.Actor)
	return actor
}

// actorIfAny returns who asks, nil when no token was sent.
func actorIfAny(ctx context.Context) *trial.Actor {
	if actor, ok := ctx.Value(actorKey{}).(trial.Actor); ok {
		return &actor
	}
	return nil
}
