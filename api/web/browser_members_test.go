package web_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"evenrig/openapi"
)

// Another member who signs in on the same phone neither sees nor sends what the first one left, and the first one finds it
// again.
func TestAnotherMemberOnTheSamePhone(t *testing.T) {
	t.Parallel()
	v := newValley(t, manyFish)
	merle, tansy := v.angler("Merle", "merle@example.org"), v.angler("Tansy", "tansy@example.org")
	p := v.phone()
	p.signIn("merle@example.org")
	p.opens()
	v.silence()
	p.lands("C")
	v.signal()
	p.later(10 * time.Second)
	p.signInHere("tansy@example.org")
	p.open("/water")
	p.shows("Tansy")
	p.tap("Ready for the valley?", "carry")
	p.shows("The phone carries what there is to carry.", "0 on the phone · 0 sent")
	p.open("/water#kept")
	p.shows("On the phone, and sent")
	if seen := p.seen(); strings.Contains(seen, "Upper Wend") || strings.Contains(seen, "fish") && strings.Contains(seen, "half begun") {
		t.Errorf("Tansy sees Merle's day:\n%s", seen)
	}
	js[any](p, `dispatchEvent(new Event("online"))`)
	time.Sleep(time.Second)
	if n := len(v.catches(tansy)) + len(v.catches(merle)); n != 0 {
		t.Errorf("%d fish were sent in Tansy's session", n)
	}
	p.signInHere("merle@example.org")
	p.open("/water")
	p.sends()
	if got := v.catches(merle); len(got) != 1 {
		t.Errorf("%d of Merle's fish arrived, want 1", len(got))
	}
}

// A member who signs in while another's records are being sent stops them: nothing is taken as hers, nothing is refused for
// good, and they go out when their own angler is back.
func TestAnotherMemberSignsInAmidSending(t *testing.T) {
	t.Parallel()
	v := newValley(t, manyFish)
	merle, tansy := v.angler("Merle", "merle@example.org"), v.angler("Tansy", "tansy@example.org")
	p := v.phone()
	p.before = fmt.Sprintf(`;(() => {
  const really = fetch;
  globalThis.fetch = async (path, how) => {
    const record = globalThis.interloper && how?.method === "PUT" && path.startsWith("/v1/trials/");
    if (record) {
      globalThis.interloper = false;
      await really("/v1/sessions", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ email: "tansy@example.org", password: %q }) });
      globalThis.interloped = true;
    }
    return really(path, how);
  };
})();`, password)
	p.setClock()
	p.signIn("merle@example.org")
	v.silence()
	p.opens()
	p.lands("C")
	js[any](p, `globalThis.interloper = true`)
	v.signal()
	p.later(10 * time.Second)
	js[any](p, `dispatchEvent(new Event("online"))`)
	p.until("Tansy signed in before the outing arrived", `globalThis.interloped === true`)
	p.shows("There is no such outing on this phone") // of hers
	for _, token := range []string{merle, tansy} {
		if got := reply[openapi.OutingList](v, token, "GET", v.path("/outings"), nil).Items; len(got) != 0 {
			t.Errorf("%d outings arrived in Tansy's session", len(got))
		}
	}
	p.signInHere("merle@example.org")
	p.open("/water")
	p.sends()
	if n := js[int](p, records+`.filter((r) => r.sent === "refused").length)`); n != 0 {
		t.Errorf("%d records were refused for good", n)
	}
	if got := v.catches(merle); len(got) != 1 {
		t.Errorf("%d of Merle's fish arrived, want 1", len(got))
	}
}

// A session that ends at the water stops nothing: the page asks to sign in again, and then sends everything.
func TestASessionEndsAtTheWater(t *testing.T) {
	t.Parallel()
	v := newValley(t, manyFish)
	token := v.angler("Merle", "merle@example.org")
	p := v.phone()
	p.signIn("merle@example.org")
	p.opens()
	reply[any](v, token, "POST", "/v1/me/sign-out", map[string]any{"everywhere": true})
	time.Sleep(5100 * time.Millisecond) // a session is remembered for 5 s
	p.lands("C")
	p.later(10 * time.Second)
	js[any](p, `dispatchEvent(new Event("online"))`)
	p.shows("Sign in again to send")
	p.lands("N")
	p.open("/water#")
	p.fill("E-mail address", "merle@example.org")
	p.fill("Password", password)
	p.shot("sign-in-again")
	p.tap("Sign in")
	p.sends()
	p.shows("0 on the phone")
	if n := js[int](p, records+`.filter((r) => r.kind === "catch" && r.sent === "sent").length)`); n != 2 {
		t.Errorf("%d fish are sent, want 2", n)
	}
}

// What the service refuses is shown with its reason and stays on the phone; when the reason is gone it is sent after all.
func TestARefusalIsShown(t *testing.T) {
	t.Parallel()
	v := newValley(t, manyFish)
	token := v.angler("Merle", "merle@example.org")
	p := v.phone()
	p.signIn("merle@example.org")
	p.opens()
	p.sends()
	v.silence()
	p.lands("C")
	js[any](p, records+`.find((r) => r.kind === "catch")).then((r) => { globalThis.fish = r.id; })`)
	fish := js[string](p, `fish`)
	period := js[string](p, records+`.find((r) => r.kind === "period").id)`)
	v.signal()
	other := openapi.NewCatch{Period: uuid.MustParse(period), TakenPattern: ptr("N"), Species: "Salmo trutta", CaughtAt: v.clock()}
	reply[any](v, token, "PUT", v.path("/catches/%s", fish), other)
	p.later(10 * time.Second)
	js[any](p, `dispatchEvent(new Event("online"))`)
	p.shows("1 to look at")
	p.open("/water#kept")
	p.shows("1 record was not taken", "already stands for another record")
	p.shot("refused")
	if n := js[int](p, records+`.filter((r) => r.kind === "catch" && r.sent === "refused").length)`); n != 1 {
		t.Errorf("%d refused fish are kept, want 1", n)
	}
	p.lands2(t, "N")
	p.sends()
	if got := v.catches(token); len(got) != 2 {
		t.Errorf("%d fish stand, want the other's and the one after the refused", len(got))
	}
}

// lands2 goes back to the water for one more fish.
func (p *phone) lands2(t *testing.T, code string) {
	t.Helper()
	p.open("/water#")
	p.tap("Go on fishing")
	p.lands(code)
}

// Two anglers share a phone: who owns it notes for the other, who allowed it, and each fish is its own angler's.
func TestForAnotherAngler(t *testing.T) {
	t.Parallel()
	v := newValley(t, manyFish)
	merle, tansy := v.angler("Merle", "merle@example.org"), v.angler("Tansy", "tansy@example.org")
	me := reply[openapi.Me](v, merle, "GET", "/v1/me", nil)
	reply[any](v, tansy, "PUT", v.path("/enrolment/noters"), map[string]any{"accounts": []uuid.UUID{me.ID}})
	p := v.phone()
	p.signIn("merle@example.org")
	p.shows("(for Tansy): 8 rounds are on this phone")
	v.silence()
	p.opens()
	p.lands("C")
	p.open("/water#")
	p.shows("for Tansy")
	p.tap("Open an outing") // the one that is not open yet is Tansy's
	p.shows("Water temperature", "for Tansy")
	p.tap("Mill Reach")
	p.fill("Water temperature", "12")
	p.tap("open", "rigged")
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	p.shot("shared")
	p.lands("N")
	p.tap("Merle")
	p.shows("Merle", "Tansy")
	p.until("it is Merle's", `document.querySelector("[aria-pressed=true]")?.innerText === "Merle"`)
	p.lands("N")
	v.signal()
	p.sends()
	for _, c := range []struct {
		token string
		want  int
		by    openapi.NotedBy
	}{{merle, 2, openapi.NotedByAngler}, {tansy, 1, openapi.NotedByHelper}} {
		got := v.catches(c.token)
		if len(got) != c.want || got[0].NotedBy != c.by {
			t.Errorf("%d fish, want %d: %+v", len(got), c.want, got)
		}
	}
}
