package web_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"evenrig/openapi"
)

// The browser is killed with twelve fish unsent, and once more while sending: each arrives once.
func TestAPhoneThatDiesLosesNothing(t *testing.T) {
	t.Parallel()
	v, token, p := newAngling(t, manyFish)
	v.silence()
	p.opens()
	for i := range 12 {
		p.lands([]string{"C", "N"}[i%2])
	}
	p.dies()
	p.start()
	p.open("/water")
	p.until("the outing goes on by itself", `!!document.querySelector(".lines")`)
	p.shows("14 on the phone · 0 sent")
	v.signal()
	p.signInHere("merle@example.org")
	p.later(time.Minute)
	js[any](p, `dispatchEvent(new Event("online"))`)
	time.Sleep(30 * time.Millisecond)
	p.dies()
	p.start()
	p.open("/water")
	p.signInHere("merle@example.org") // a browser that is killed may lose a fresh cookie
	p.sends()
	p.shows("0 on the phone · 14 sent")
	got, ids := v.catches(token), map[string]bool{}
	for _, c := range got {
		ids[c.ID.String()] = true
		if *c.TakenPattern == "" || c.Derived.Excluded != nil {
			t.Errorf("%+v", c)
		}
	}
	if len(got) != 12 || len(ids) != 12 {
		t.Errorf("%d fish arrived under %d ids, want 12", len(got), len(ids))
	}
}

// Two pages of one phone go on from the same records: a swap is made once, whichever page makes it.
func TestTwoTabs(t *testing.T) {
	t.Parallel()
	v, token, p := newAngling(t)
	p.opens()
	q := p.another()
	defer q.stop()
	q.open("/water")
	q.until("the other page shows the outing", `!!document.querySelector(".lines")`)
	p.lands("C")
	q.lands("N")
	p.shows("Swap the flies now")
	q.shows("Swap the flies now")
	press := fmt.Sprintf(`(() => { setTimeout(() => %s.click(), 50 - Date.now() %% 50); })()`, find("swapped"))
	js[any](p, press)
	js[any](q, press)
	for _, page := range []*phone{p, q} {
		page.until("it is being fished", `!!document.querySelector(".lines")`)
	}
	p.sends()
	q.shows("0 on the phone · 6 sent")
	if ended := js[int](p, records+`.filter((r) => r.kind === "period_end").length)`); ended != 1 {
		t.Errorf("the half ended %d times", ended)
	}
	if got := v.catches(token); len(got) != 2 {
		t.Errorf("%d fish arrived", len(got))
	}
}

// A browser that keeps nothing says so before a fish is lost, and one that stops keeping says so at the fish.
func TestStorageRefused(t *testing.T) {
	t.Parallel()
	v := newValley(t, manyFish)
	v.angler("Merle", "merle@example.org")
	p := v.phone()
	p.before = `indexedDB.open = () => { throw new DOMException("no", "SecurityError"); };`
	p.setClock()
	p.open("/water")
	p.shows("NOT kept", "This browser keeps nothing", "paper card")
	p.before = ""
	p.setClock()
	p.signIn("merle@example.org")
	p.opens()
	js[any](p, `(() => { const add = IDBObjectStore.prototype.add; globalThis.mend = () => { IDBObjectStore.prototype.add = add; };
  IDBObjectStore.prototype.add = () => { throw new DOMException("full", "QuotaExceededError"); }; })()`)
	p.tap("C")
	p.shows("NOT kept", "Write it on the paper card")
	p.shot("broken")
	if said := js[string](p, `document.querySelector("#said").textContent`); strings.Contains(said, "On the phone: Collared") {
		t.Errorf("it said %q of a fish that was not kept", said)
	}
	js[any](p, `mend()`)
	p.tap("I have seen it")
	p.rested = time.Now().Add(1300 * time.Millisecond)
	p.lands("C")
	if n := js[int](p, fishKept); n != 1 {
		t.Errorf("%d fish are kept, want 1", n)
	}
}

// A file of one phone is taken in by another of the same member, once, and by nobody else's.
func TestRescueByFile(t *testing.T) {
	t.Parallel()
	v := newValley(t, manyFish)
	merle := v.angler("Merle", "merle@example.org")
	v.angler("Tansy", "tansy@example.org")
	p := v.phone()
	p.signIn("merle@example.org")
	v.silence()
	p.opens()
	p.lands("C")
	p.lands("N")
	p.open("/water#kept")
	js[any](p, `(() => { const make = URL.createObjectURL; URL.createObjectURL = (b) => { b.text().then((text) => { globalThis.file = text; }); return make(b); }; })()`)
	p.tap("A file, for when nothing else works", "save")
	p.until("there is a file", `!!globalThis.file`)
	file := filepath.Join(t.TempDir(), "records.json")
	v.check(os.WriteFile(file, []byte(js[string](p, `file`)), 0o600))
	p.dies()
	v.signal()
	for i, email := range []string{"tansy@example.org", "merle@example.org"} {
		q := v.phone()
		q.signIn(email)
		q.open("/water#kept")
		q.tap("A file, for when nothing else works")
		for range 2 {
			q.do(chromedp.SetUploadFiles(chromedp.CSS("input[type=file]"), []string{file}))
			if i == 0 {
				q.shows("another member's records")
				continue
			}
			q.shows("taken in")
			q.until("the list is drawn anew", `!!document.querySelector("input[type=file]")`)
			q.tap("A file, for when nothing else works")
		}
		if i == 1 {
			q.sends()
		}
	}
	if got := v.catches(merle); len(got) != 2 {
		t.Errorf("%d fish arrived, want 2", len(got))
	}
}

// Rounds that a lost phone carried are closed by the next one, and new ones are fetched.
func TestALostPhone(t *testing.T) {
	t.Parallel()
	v, token, p := newAngling(t)
	p.dies()
	q := v.phone()
	q.signIn("merle@example.org")
	q.tap("Rounds that another phone fetched")
	q.shows("Rounds 1 to 8 were fetched by another phone")
	q.shot("lost-phone")
	q.tap("lost")
	q.until("new rounds are carried", `!document.body.innerText.includes("another phone fetched")`)
	q.shows("8 rounds are on this phone")
	units := reply[openapi.UnitList](v, token, "GET", v.path("/units"), nil).Items
	lost := 0
	for _, u := range units {
		if u.LostAt != nil {
			lost++
		}
	}
	if len(units) != 16 || lost != 8 {
		t.Errorf("%d units, %d of them lost; want 16 and 8", len(units), lost)
	}
}

// A file that was made up sends no request anywhere but to the records of its own member.
func TestAForgedFile(t *testing.T) {
	t.Parallel()
	v, _, p := newAngling(t)
	p.open("/water#kept")
	p.tap("A file, for when nothing else works")
	me := js[string](p, `fetch("/v1/me").then((r) => r.json()).then((me) => me.id)`)
	id := mustV7(t)
	for _, forged := range []string{
		`no JSON`, `{"form":"another"}`,
		fmt.Sprintf(`{"form":"evenrig records 1","account":%q,"packs":[],"records":[{"key":"outing:x","account":%q,"kind":"outing","id":%q,"trial":"../me/sign-out?","outing":%q,"enrolment":%q,"at":1,"body":{},"sent":"waiting","until":0}]}`, me, me, id, id, id),
		fmt.Sprintf(`{"form":"evenrig records 1","account":%q,"packs":[],"records":[{"key":"x:x","account":%q,"kind":"../../me","id":%q,"trial":%q,"outing":%q,"enrolment":%q,"at":1,"body":{},"sent":"waiting","until":0}]}`, me, me, id, id, id, id),
	} {
		file := filepath.Join(t.TempDir(), "forged.json")
		v.check(os.WriteFile(file, []byte(forged), 0o600))
		js[any](p, `document.querySelector("#said").textContent = ""`)
		p.do(chromedp.SetUploadFiles(chromedp.CSS("input[type=file]"), []string{file}))
		p.shows("no file of records from this page")
	}
	if n := js[int](p, records+`.length)`); n != 0 {
		t.Errorf("%d records were taken in", n)
	}
}

// A phone that has a share sheet hands its rescue file to it, as text that another phone takes in; one that has none offers only to save
// it; who changes his mind is told nothing, and a sheet that fails sends him to saving.
func TestRescueFileByTheShareSheet(t *testing.T) {
	t.Parallel()
	v := newValley(t, manyFish)
	v.angler("Merle", "merle@example.org")
	p := v.phone()
	p.signIn("merle@example.org")
	v.silence()
	p.opens()
	p.lands("C")
	p.open("/water#kept")
	p.shows("A file, for when nothing else works")
	js[any](p, `navigator.canShare = undefined`)
	js[any](p, `location.hash = "#ready"`)
	p.shows("Ready")
	js[any](p, `location.hash = "#kept"`)
	p.tap("A file, for when nothing else works")
	p.shows("Save the file")
	if js[bool](p, `!!document.querySelector('[data-key="share"]')`) {
		t.Error("a phone without a share sheet offers one")
	}

	js[any](p, `(() => { navigator.canShare = ({ files }) => files.length === 1; navigator.share = async (what) => {
  window.shared = { name: what.files[0].name, type: what.files[0].type, title: what.title, text: await what.files[0].text() };
  if (window.refusal) throw new DOMException("no", window.refusal);
}; })()`)
	js[any](p, `location.hash = "#ready"`)
	p.shows("Ready")
	js[any](p, `location.hash = "#kept"`)
	p.tap("A file, for when nothing else works", "share")
	p.until("the file is handed over", `!!window.shared`)
	shared := js[struct{ Name, Type, Title, Text string }](p, `window.shared`)
	if !strings.HasPrefix(shared.Name, "evenrig-20") || !strings.HasSuffix(shared.Name, ".txt") || shared.Type != "text/plain" || shared.Title == "" ||
		strings.Count(shared.Text, `"kind":"catch"`) != 1 || !strings.Contains(shared.Text, `"taken_pattern":"C"`) {
		t.Errorf("shared %+v", shared)
	}
	js[any](p, `void (window.refusal = "AbortError")`)
	p.tap("share")
	time.Sleep(300 * time.Millisecond)
	if strings.Contains(p.seen(), "could not pass it on") {
		t.Error("who changes his mind is told that it failed")
	}
	js[any](p, `void (window.refusal = "NotAllowedError")`)
	p.tap("share")
	p.shows("The phone could not pass it on")
}
