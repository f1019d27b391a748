package web_test

import (
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"time"
)

// A service that asks for time gets it: the phone leaves it alone as long as Retry-After says (RFC 9110, section 10.2.3), keeps
// the fish meanwhile, and sends it once the service is well.
func TestAServiceThatAsksForTime(t *testing.T) {
	t.Parallel()
	v, token, p := newAngling(t, manyFish)
	p.opens()
	p.sends()
	var ill atomic.Bool
	var asked atomic.Int32
	well := v.handler
	v.silence()
	v.handler = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !ill.Load() || r.Method == http.MethodGet || !strings.HasPrefix(r.URL.Path, "/v1/trials/") {
			well.ServeHTTP(w, r)
			return
		}
		asked.Add(1)
		w.Header().Set("Retry-After", "600")
		w.WriteHeader(http.StatusServiceUnavailable)
	})
	v.signal()
	ill.Store(true)
	p.lands("C")
	p.later(10 * time.Second)
	js[any](p, `dispatchEvent(new Event("online"))`)
	for end := time.Now().Add(patience); asked.Load() == 0 && time.Now().Before(end); {
		time.Sleep(50 * time.Millisecond)
	}
	time.Sleep(6 * time.Second) // without Retry-After it tries again after 4
	if n := asked.Load(); n != 1 {
		t.Errorf("the phone asked %d times within 6 s of a service that asked for ten minutes", n)
	}
	ill.Store(false)
	p.sends()
	if got := v.catches(token); len(got) != 1 {
		t.Errorf("%d fish stand, want 1", len(got))
	}
}
