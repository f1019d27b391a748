package api

import (
	"context"
	"crypto/sha256"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"

	"evenrig/api/web"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// A token is looked up at most tokenAge late, so a revoked one may live so long. At most tokensKept are remembered.
const (
	tokenAge   = 5 * time.Second
	tokensKept = 10_000
)

// authenticator remembers whose a token or a cookie is, so that a phone that sends ten fish does not cost ten look-ups.
// Secrets are remembered as SHA-256, with what they were sent as: a cookie's is none of a token.
type authenticator struct {
	lookUp map[carrier]func(context.Context, string) (trial.Actor, error)
	now    func() time.Time

	mu    sync.Mutex
	known map[sentSecret]remembered
}

// carrier is how a secret is sent.
type carrier int

const (
	bearer carrier = iota
	cookie
)

type sentSecret struct {
	as   carrier
	hash [32]byte
}

type remembered struct {
	actor trial.Actor
	until time.Time
}

func newAuthenticator(service *conduct.Service, now func() time.Time) *authenticator {
	return &authenticator{
		lookUp: map[carrier]func(context.Context, string) (trial.Actor, error){bearer: service.Authenticate, cookie: service.AuthenticateSession},
		now:    now, known: map[sentSecret]remembered{},
	}
}

// actor returns whose the secret is, or an Unauthenticated error.
func (a *authenticator) actor(ctx context.Context, as carrier, secret string) (trial.Actor, error) {
	sent, now := sentSecret{as, sha256.Sum256([]byte(secret))}, a.now()
	a.mu.Lock()
	known, ok := a.known[sent]
	a.mu.Unlock()
	if ok && now.Before(known.until) {
		return known.actor, nil
	}
	actor, err := a.lookUp[as](ctx, secret)
	if err != nil {
		return trial.Actor{}, err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if len(a.known) >= tokensKept {
		clear(a.known)
	}
	// Counted from before the look-up: what it read may be that old.
	a.known[sent] = remembered{actor, now.Add(tokenAge)}
	return actor, nil
}

func (a *authenticator) forget() {
	a.mu.Lock()
	defer a.mu.Unlock()
	clear(a.known)
}

// authenticate finds out who asks, where the contract wants to know, and whether the credential is good for it. It comes
// before anything of the request is looked at, so that a stranger learns nothing from faults.
func (s *Server) authenticate(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		op := s.contract.operation(c)
		if op == nil {
			return next(c)
		}
		actor, known, err := s.whoAsks(c.Request(), op.access)
		if err != nil {
			stale := cookieOf(c.Request()) != "" && trial.KindOf(err) == trial.Unauthenticated
			if stale {
				c.Response().Header().Set(echo.HeaderSetCookie, *sessionCookie(""))
			}
			if stale && op.page {
				return next(c)
			}
			return err
		}
		if !known {
			if err := s.limitStranger(op, c.RealIP()); err != nil {
				return err
			}
			return next(c)
		}
		if err := s.limit(op, actor); err != nil {
			return err
		}
		if err := op.allow(actor); err != nil {
			return err
		}
		if err := isMeant(c.Request(), actor); err != nil {
			return err
		}
		ctx := c.Request().Context()
		askedOf(ctx).actor = &actor
		if op.page {
			c.SetRequest(c.Request().WithContext(web.WithActor(ctx, actor)))
		}
		return next(c)
	}
}

// whoAsks returns whose token or, without one, whose cookie was sent. It reports false where nobody needs to be known and
// nothing was sent. Without a token, what changes anything must come from a page of this site, or from no page at all.
func (s *Server) whoAsks(r *http.Request, access access) (actor trial.Actor, known bool, err error) {
	header, secret := r.Header.Get(echo.HeaderAuthorization), cookieOf(r)
	if access == anyone {
		header, secret = "", ""
	}
	if access == anyoneOrCookie {
		header = ""
	}
	switch {
	case header != "":
		scheme, token, _ := strings.Cut(header, " ")
		if !strings.EqualFold(scheme, "bearer") {
			return actor, false, refuse(http.StatusUnauthorized, "token.invalid", "the Authorization header is no bearer token; send Authorization: Bearer and a token that is yours")
		}
		actor, err = s.auth.actor(r.Context(), bearer, strings.TrimSpace(token))
		return actor, err == nil, err
	case secret == "" && access == tokenOnly:
		return actor, false, refuse(http.StatusUnauthorized, "token.missing", "no token was sent; send Authorization: Bearer and a token that is yours")
	}
	if err := s.ownPage(r, secret != ""); err != nil || secret == "" {
		return actor, false, err
	}
	actor, err = s.auth.actor(r.Context(), cookie, secret)
	return actor, err == nil, err
}

// accountHeader says whose a request is, where the sender knows: a phone that several members use keeps each one's records,
// and who has signed in on it may change between two requests.
const accountHeader = "Evenrig-Account"

// isMeant refuses a request that says it is another account's than the one that asks.
func isMeant(r *http.Request, actor trial.Actor) error {
	if meant := r.Header.Get(accountHeader); meant != "" && !strings.EqualFold(meant, actor.AccountID.String()) {
		return refuse(http.StatusUnauthorized, "session.other", "the request is account %q's by its %s, and the session or token is another's; sign in as that account, or leave the header out", meant, accountHeader)
	}
	return nil
}

// actorOf returns who asks. The generated interface passes only a context on; from here the actor is an argument.
func actorOf(ctx context.Context) (actor trial.Actor) {
	if known := askedOf(ctx).actor; known != nil {
		actor = *known
	}
	return actor
}

// actorIfAny returns who asks, nil when no token was sent.
func actorIfAny(ctx context.Context) *trial.Actor { return askedOf(ctx).actor }
