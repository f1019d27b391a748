package api

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"math"
	"net/netip"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"
	"golang.org/x/time/rate"

	"evenrig/service/trial"
)

// Rate is how much is taken: Burst requests at once, and from then on PerMinute. The zero value sets no limit.
type Rate struct {
	Burst     int
	PerMinute float64
}

// UnmarshalText reads BURST,PER_MINUTE like 1000,1200, or none.
func (r *Rate) UnmarshalText(text []byte) error {
	*r = Rate{}
	if string(text) == "none" {
		return nil
	}
	burst, perMinute, _ := strings.Cut(string(text), ",")
	b, err := strconv.Atoi(burst)
	m, err2 := strconv.ParseFloat(perMinute, 64)
	if errors.Join(err, err2) != nil || b < 1 || !(m > 0) || math.IsInf(m, 1) {
		return fmt.Errorf("%q is no limit; accepted: how many at once and how many a minute after that, like 1000,1200, or none", text)
	}
	*r = Rate{Burst: b, PerMinute: m}
	return nil
}

// Share is the limit of one of several processes that requests are spread over: an n-th, at least one at once.
func (r Rate) Share(n int) Rate {
	if r.Burst == 0 || n <= 1 {
		return r
	}
	return Rate{Burst: max(1, r.Burst/n), PerMinute: r.PerMinute / float64(n)}
}

// Limits are how much one process takes. They are kept in its memory: where several processes answer, each has its share.
type Limits struct {
	Credential    Rate // each token or session
	Address       Rate // each address, an IPv6 one by its first 64 bits
	Costly        Rate // each account, for what costs much
	SignIn        Rate // each account, attempts to sign in or to show that one knows its password
	SignInAddress Rate // each address, attempts to sign in or to use a link
}

// costly operations read or write whole trials, or compute.
var costly = []string{"exportCatches", "exportOwnData", "exportWorkbook", "findFish", "getPackageWorkbook", "importTable", "readPackage", "readMaskedLog", "requestAnalysis", "getReport", "planSize"}

// uncounted operations are asked by what watches over the service.
var uncounted = []string{"getHealth", "getReadiness"}

// limiters hold the limits with what was used of them.
type limiters struct {
	credential, address, costly, signIn, signInAddress limiter
}

func newLimiters(l Limits) *limiters {
	return &limiters{limiter{rate: l.Credential}, limiter{rate: l.Address}, limiter{rate: l.Costly}, limiter{rate: l.SignIn}, limiter{rate: l.SignInAddress}}
}

// limiter limits each of many keys by a token bucket. A key that was not seen for a generation, in which any bucket fills
// up, is forgotten; so is the generation before when there are more keys than keysMost.
type limiter struct {
	rate Rate

	mu         sync.Mutex
	young, old map[string]*rate.Limiter
	turned     time.Time
}

const keysMost = 100_000

// wait takes one from the key's bucket and returns 0, or returns how long to wait until there is one.
func (l *limiter) wait(key string, now time.Time) time.Duration {
	if l.rate.Burst == 0 {
		return 0
	}
	r := l.bucket(key, now).ReserveN(now, 1)
	delay := r.DelayFrom(now)
	if delay > 0 {
		r.CancelAt(now)
	}
	return delay
}

func (l *limiter) bucket(key string, now time.Time) *rate.Limiter {
	l.mu.Lock()
	defer l.mu.Unlock()
	perSecond := l.rate.PerMinute / 60
	generation := time.Duration(float64(l.rate.Burst) / perSecond * float64(time.Second))
	if now.Sub(l.turned) > max(generation, time.Minute) || len(l.young) >= keysMost {
		l.old, l.young, l.turned = l.young, map[string]*rate.Limiter{}, now
	}
	b := l.young[key]
	if b == nil {
		if b = l.old[key]; b == nil {
			b = rate.NewLimiter(rate.Limit(perSecond), l.rate.Burst)
		}
		l.young[key] = b
	}
	return b
}

// limited is the refusal of what is over a limit, and how long to wait.
type limited struct {
	code, detail string
	after        time.Duration
}

func (l *limited) Error() string { return l.code + ": " + l.detail }

// seconds is the time to wait in whole seconds, at least one.
func (l *limited) seconds() int { return max(1, int(math.Ceil(l.after.Seconds()))) }

func tooManyOf(what string, after time.Duration) error {
	l := &limited{code: "request.too_many", after: after}
	l.detail = fmt.Sprintf("more requests %s than are taken; nothing was done, send the same again in %d s", what, l.seconds())
	return l
}

// limitAddress limits each address, before anything is looked up.
func (s *Server) limitAddress(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		address := addressKey(c.RealIP())
		if op := s.contract.operation(c); op == nil || !op.uncounted {
			if after := s.limits.address.wait(address, s.now()); after > 0 {
				return tooManyOf("from this address", after)
			}
		}
		askedOf(c.Request().Context()).address = address
		return next(c)
	}
}

// addressKey is what an address is limited by: an IPv6 address by its network, of which anybody has 2^64 addresses.
func addressKey(ip string) string {
	a, err := netip.ParseAddr(ip)
	if err != nil {
		return ip
	}
	a = a.Unmap().WithZone("")
	if a.Is4() {
		return a.String()
	}
	network, err := a.Prefix(64)
	if err != nil {
		return ip
	}
	return network.String()
}

// limit limits a credential, and its account at what costs much.
func (s *Server) limit(op *operation, actor trial.Actor) error {
	if after := s.limits.credential.wait(string(append(actor.TokenID[:], actor.SessionID[:]...)), s.now()); after > 0 {
		return tooManyOf("with this token", after)
	}
	if op.costly {
		if after := s.limits.costly.wait(string(actor.AccountID[:]), s.now()); after > 0 {
			return tooManyOf("for tables, plans, analyses and reports", after)
		}
	}
	return nil
}

// limitStranger limits an address at what costs much and asks for no sign-in.
func (s *Server) limitStranger(op *operation, ip string) error {
	if !op.costly {
		return nil
	}
	if after := s.limits.costly.wait(addressKey(ip), s.now()); after > 0 {
		return tooManyOf("for workbooks and tables from this address", after)
	}
	return nil
}

// attempt counts an attempt to sign in, before any password is hashed: by whose account is tried, which need not exist,
// and by address. whose may be empty.
func (h *handlers) attempt(ctx context.Context, whose string) error {
	after := h.limits.signInAddress.wait(askedOf(ctx).address, h.now())
	if whose != "" && after == 0 {
		key := sha256.Sum256([]byte(whose))
		after = h.limits.signIn.wait(string(key[:]), h.now())
	}
	if after == 0 {
		return nil
	}
	l := &limited{code: "sign_in.too_many", after: after}
	l.detail = fmt.Sprintf("too many attempts to sign in; the next is taken in %d s", l.seconds())
	return l
}
