package web_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/google/uuid"

	"evenrig/api"
	"evenrig/db/dbtest"
	"evenrig/openapi"
	"evenrig/service/conduct"
)

// valley is a service that can lose its signal: a real server on its own database, that answers at one address, can be
// stopped and started there again, and whose clock moves when told.
type valley struct {
	t       *testing.T
	service *conduct.Service
	address string
	handler http.Handler
	trial   uuid.UUID
	club    uuid.UUID
	admin   string

	mu     sync.Mutex
	now    time.Time
	server *http.Server
}

// dawn is the first morning of the invented season.
var dawn = time.Date(2026, 9, 12, 7, 0, 0, 0, time.FixedZone("", 2*60*60))

// patience is what a busy machine is given for what takes no time on an idle one.
const patience = 90 * time.Second

const password = "seven quiet pools in the upper water"

func newValley(t *testing.T, change ...func(p *openapi.Protocol)) *valley {
	t.Helper()
	v := &valley{t: t, now: dawn}
	v.service = conduct.New(dbtest.New(t), conduct.Options{Clock: v.clock, Random: rand.Reader, Key: conduct.SealKey{1, 2, 3}, Program: "test"})
	t.Cleanup(v.service.Close)
	v.handler = api.NewServer(v.service, api.Options{Log: slog.New(slog.DiscardHandler)}).Handler()
	v.address = "127.0.0.1:0"
	v.signal()
	t.Cleanup(v.silence)
	var err error
	v.admin, err = v.service.FirstAdmin(t.Context(), "Ada of the server")
	v.check(err)
	v.club = reply[openapi.Club](v, v.admin, "POST", "/v1/clubs", openapi.NewClub{Name: "Wend Fly Fishers"}).ID
	organiser := v.member("organiser", "Sef")
	p := reply[openapi.Protocol](v, organiser, "GET", "/v1/protocol-template", nil)
	p.Title, p.Question = "Collar on the weighted nymph", "Does a collar on the weighted nymph change the share of takes?"
	p.FeatureChanged = "an orange collar behind the bead"
	p.SeasonStart, p.SeasonEnd = "2026-09-01", "2026-11-30"
	p.Patterns = []openapi.Pattern{{Code: "C", Name: "Collared nymph", Part: "test", Shape: "collar", Colour: "orange"}, {Code: "N", Name: "Plain nymph", Part: "control", Shape: "smooth", Colour: "olive"}}
	p.Species = []string{"Thymallus thymallus", "Salmo trutta"}
	p.Waters = []openapi.Water{{Name: "Upper Wend", WaterType: "river"}, {Name: "Mill Reach", WaterType: "river"}}
	p.Rig.TippetMm, p.Rig.HookModel, p.Rig.HookSize = .14, "straight shank", "14"
	for _, c := range change {
		c(&p)
	}
	v.trial = reply[openapi.Trial](v, organiser, "POST", fmt.Sprintf("/v1/clubs/%s/trials", v.club), openapi.NewTrial{Protocol: &p}).ID
	for _, state := range []string{"registered", "open"} {
		reply[openapi.Trial](v, organiser, "POST", v.path("/state"), openapi.TrialMove{State: state})
	}
	return v
}

// newAngling is a valley with one angler, her token, and her phone, on which she is signed in and carries what there is to carry.
func newAngling(t *testing.T, change ...func(p *openapi.Protocol)) (v *valley, token string, p *phone) {
	t.Helper()
	v = newValley(t, change...)
	token, p = v.angler("Merle", "merle@example.org"), v.phone()
	p.signIn("merle@example.org")
	return v, token, p
}

func (v *valley) check(err error) {
	v.t.Helper()
	if err != nil {
		v.t.Fatal(err)
	}
}

func (v *valley) clock() time.Time {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.now
}

// signal lets the service answer, silence takes the way to it away, with all connections.
func (v *valley) signal() {
	v.t.Helper()
	l, err := net.Listen("tcp", v.address)
	v.check(err)
	v.address = l.Addr().String()
	v.server = &http.Server{Handler: v.handler, ReadHeaderTimeout: time.Minute}
	go v.server.Serve(l) //nolint:errcheck // it ends with silence
}

func (v *valley) silence() { v.server.Close() }

func (v *valley) url() string {
	_, port, _ := net.SplitHostPort(v.address)
	return "http://localhost:" + port
}

func (v *valley) path(format string, args ...any) string {
	return fmt.Sprintf("/v1/trials/%s", v.trial) + fmt.Sprintf(format, args...)
}

// send sends a request with a token.
func (v *valley) send(token, method, path string, body any) (int, []byte) {
	v.t.Helper()
	var text []byte
	if body != nil {
		var err error
		text, err = json.Marshal(body)
		v.check(err)
	}
	r, err := http.NewRequestWithContext(v.t.Context(), method, v.url()+path, bytes.NewReader(text))
	v.check(err)
	r.Header.Set("Content-Type", "application/json")
	if token != "" {
		r.Header.Set("Authorization", "Bearer "+token)
	}
	answer, err := http.DefaultClient.Do(r)
	v.check(err)
	defer answer.Body.Close()
	got, err := io.ReadAll(answer.Body)
	v.check(err)
	return answer.StatusCode, got
}

// reply is what a request that succeeds is answered.
func reply[T any](v *valley, token, method, path string, body any) (out T) {
	v.t.Helper()
	status, text := v.send(token, method, path, body)
	if status >= 300 {
		v.t.Fatalf("%s %s answered %d: %s", method, path, status, text)
	}
	if len(text) > 0 {
		v.check(json.Unmarshal(text, &out))
	}
	return out
}

// member is somebody of the club, by a token.
func (v *valley) member(role, name string) (token string) {
	v.t.Helper()
	inv := reply[openapi.InvitationSecret](v, v.admin, "POST", fmt.Sprintf("/v1/clubs/%s/invitations", v.club), openapi.NewInvitation{Role: role})
	return *reply[openapi.Joined](v, "", "POST", "/v1/invitations/accept", openapi.AcceptInvitation{Secret: inv.Secret, Name: &name}).Token
}

// angler is a member who has joined the trial and signs in with an address.
func (v *valley) angler(name, email string) (token string) {
	v.t.Helper()
	token = v.member("angler", name)
	code := make([]byte, 32)
	_, err := rand.Read(code)
	v.check(err)
	reply[openapi.Enrolment](v, token, "PUT", v.path("/enrolments/%s", uuid.New()), openapi.NewEnrolment{
		Code: hex.EncodeToString(code), Consent: openapi.Consent{TakePart: true, Store: true, SharePseudonymous: true, LicenceConfirmed: true, AdultOrGuardian: true},
	})
	reply[any](v, token, "PUT", "/v1/me/sign-in", map[string]any{"email": email, "password": password})
	return token
}

// catches are what has arrived of an angler's fish.
func (v *valley) catches(token string) []openapi.Catch {
	v.t.Helper()
	return reply[openapi.CatchList](v, token, "GET", v.path("/catches?limit=500"), nil).Items
}

// chromium returns the browser's program. Without one the test is skipped, or fails with REQUIRE_BROWSER=1.
func chromium(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if program, err := exec.LookPath(name); err == nil {
			return program
		}
	}
	if os.Getenv("REQUIRE_BROWSER") == "1" {
		t.Fatal("REQUIRE_BROWSER is 1, but there is no chromium, chromium-browser or google-chrome")
	}
	t.Skip("SKIPPED, NOT TESTED: there is no chromium, chromium-browser or google-chrome (REQUIRE_BROWSER=1 makes this a failure)")
	return ""
}

// phone is a browser with a screen of a phone and a clock that moves with the valley's. It keeps its storage when it dies.
type phone struct {
	v      *valley
	folder string
	before string // a script that runs before any of a page's own

	ctx  context.Context
	stop func()
	from page.ScriptIdentifier

	rested  time.Time // when a fly may be tapped again
	pressed map[string]time.Time
}

func (v *valley) phone() *phone {
	v.t.Helper()
	chromium(v.t)
	folder, err := os.MkdirTemp("", "phone-")
	v.check(err)
	p := &phone{v: v, folder: folder}
	v.t.Cleanup(func() {
		p.stop()
		for range 50 { // a browser's helpers write for a moment longer
			if os.RemoveAll(folder) == nil {
				return
			}
			time.Sleep(100 * time.Millisecond)
		}
	})
	p.start()
	return p
}

// start turns the phone on.
func (p *phone) start() {
	p.v.t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromium(p.v.t)), chromedp.NoSandbox, chromedp.UserDataDir(p.folder),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-background-networking", true), chromedp.Flag("autoplay-policy", "no-user-gesture-required"))
	ctx, cancel := chromedp.NewExecAllocator(context.Background(), options...)
	tab, closeTab := chromedp.NewContext(ctx)
	p.from = ""
	p.ctx, p.stop = tab, func() { closeTab(); cancel() }
	p.v.check(chromedp.Do(tab)) // the browser lives as long as this context, not as the first step's
	p.do(chromedp.EmulateViewport(375, 740, chromedp.EmulateMobile))
	_, err := chromedp.Call(tab, emulation.SetTimezoneOverride, emulation.SetTimezoneOverrideParams{TimezoneID: "Europe/Vienna"})
	p.v.check(err)
	p.setClock()
}

// dies takes the phone's power away.
func (p *phone) dies() { p.stop() }

// another is a second tab of the same phone.
func (p *phone) another() *phone {
	p.v.t.Helper()
	ctx, cancel := chromedp.NewContext(p.ctx)
	q := &phone{v: p.v, folder: p.folder, ctx: ctx, stop: cancel, before: p.before}
	q.v.check(chromedp.Do(ctx))
	q.do(chromedp.EmulateViewport(375, 740, chromedp.EmulateMobile))
	q.setClock()
	return q
}

func (p *phone) do(steps ...chromedp.Action[chromedp.Void]) {
	p.v.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		p.v.t.Fatalf("%v\n%s", err, p.seen())
	}
}

// setClock makes the page's Date say the valley's time, in pages to come and in the one that is open.
func (p *phone) setClock() {
	p.v.t.Helper()
	ahead := time.Until(p.v.clock()).Milliseconds()
	script := fmt.Sprintf(`(() => {
  if (globalThis.setAhead) return globalThis.setAhead(%[1]d);
  globalThis.faults = [];
  addEventListener("error", (e) => faults.push(String(e.error?.stack ?? e.message)));
  addEventListener("unhandledrejection", (e) => faults.push(String(e.reason?.stack ?? e.reason)));
  let ahead = %[1]d;
  const Real = Date, now = () => Real.now() + ahead;
  globalThis.setAhead = (ms) => { ahead = ms; };
  globalThis.Date = class extends Real {
    constructor(...a) { super(...(a.length ? a : [now()])); }
    static now() { return now(); }
  };
})();`, ahead)
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	if p.from != "" {
		_, err := chromedp.Call(ctx, page.RemoveScriptToEvaluateOnNewDocument, page.RemoveScriptToEvaluateOnNewDocumentParams{Identifier: p.from})
		p.v.check(err)
	}
	added, err := chromedp.Call(ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: script + p.before})
	p.v.check(err)
	p.from = added.Identifier
	_, err = chromedp.Run(ctx, chromedp.Evaluate[any](script+"0"))
	p.v.check(err)
}

// at moves the clocks of service and phone to hour:minute of the day.
func (p *phone) at(words string) {
	p.v.t.Helper()
	hm, err := time.Parse("15:04", words)
	p.v.check(err)
	p.v.mu.Lock()
	n := p.v.now
	p.v.now = time.Date(n.Year(), n.Month(), n.Day(), hm.Hour(), hm.Minute(), 0, 0, n.Location())
	p.v.mu.Unlock()
	p.setClock()
}

// later moves the clocks on.
func (p *phone) later(d time.Duration) {
	p.v.t.Helper()
	p.v.later(d)
	p.setClock()
}

func (v *valley) later(d time.Duration) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.now = v.now.Add(d)
}

// js is what a script in the page comes to.
func js[T any](p *phone, script string) T {
	p.v.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	got, err := chromedp.Run(ctx, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
	if err != nil {
		p.v.t.Fatalf("%s: %v", script, err)
	}
	return got
}

// seen is the page's text.
func (p *phone) seen() string {
	ctx, cancel := context.WithTimeout(p.ctx, 10*time.Second)
	defer cancel()
	got, err := chromedp.Run(ctx, chromedp.Evaluate[string](`location.href + "\n" + document.body.innerText + (globalThis.faults ?? []).map((f) => "\nSCRIPT FAULT: " + f).join("")`))
	if err != nil {
		return err.Error()
	}
	return got
}

// shows waits until the page shows all of the texts.
func (p *phone) shows(texts ...string) {
	p.v.t.Helper()
	var missing string
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(30 * time.Millisecond) {
		text := p.seen()
		missing = ""
		for _, want := range texts {
			if !strings.Contains(text, want) {
				missing = want
			}
		}
		if missing == "" {
			return
		}
	}
	p.v.t.Fatalf("the page does not show %q:\n%s", missing, p.seen())
}

// find is a script that finds a button, a choice, a link or a summary by its key or its words.
func find(what string) string {
	return fmt.Sprintf(`(() => { const w = %q, fits = (e) => e.offsetParent && (e.dataset.key === w || e.innerText.trim() === w || e.getAttribute("aria-label") === w);
  return [...document.querySelectorAll("[data-key], button, a, label, summary")].find(fits); })()`, what)
}

// tap presses what carries the words or the key, as soon as it is there.
func (p *phone) tap(whats ...string) {
	p.v.t.Helper()
	for _, what := range whats {
		p.until("there is "+what, fmt.Sprintf(`!!%s`, find(what)))
		if p.pressed == nil {
			p.pressed = map[string]time.Time{}
		}
		if !strings.HasSuffix(what, ": more") {
			time.Sleep(time.Until(p.pressed[what].Add(950 * time.Millisecond))) // the same button soon after is an echo
		}
		js[any](p, fmt.Sprintf(`(() => { const e = %s; (e.tagName === "LABEL" ? e.querySelector("input") ?? e : e).click(); })()`, find(what)))
		p.pressed[what] = time.Now() // not before: a busy machine may take its time over the press
	}
}

// until waits for a script to come true.
func (p *phone) until(what, script string) {
	p.v.t.Helper()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if js[bool](p, script) {
			return
		}
	}
	p.v.t.Fatalf("never: %s\n%s", what, p.seen())
}

// fill types into the field with the label.
func (p *phone) fill(label, value string) {
	p.v.t.Helper()
	field := fmt.Sprintf(`[...document.querySelectorAll("label")].find((l) => l.offsetParent && l.innerText.trim() === %q)?.control`, label)
	p.until("there is a field "+label, "!!"+field)
	js[any](p, fmt.Sprintf(`(() => { const e = %s; e.value = %q; e.dispatchEvent(new Event("input", { bubbles: true })); e.dispatchEvent(new Event("change", { bubbles: true })); })()`, field, value))
}

func (p *phone) open(path string) {
	p.v.t.Helper()
	p.do(chromedp.Navigate(p.v.url() + path))
}

// signIn signs an angler in on the page itself and carries what there is to carry.
func (p *phone) signIn(email string) {
	p.v.t.Helper()
	p.open("/water")
	p.fill("E-mail address", email)
	p.fill("Password", password)
	p.tap("Sign in")
	p.shows("Ready for the valley?")
	p.tap("carry")
	p.shows("The phone carries what there is to carry.")
	p.until("the page is kept", `caches.keys().then((n) => n.length > 0)`)
}

// signInHere gives the browser a session as another page of the site does.
func (p *phone) signInHere(email string) {
	p.v.t.Helper()
	status := js[int](p, fmt.Sprintf(`fetch("/v1/sessions", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ email: %q, password: %q }) }).then((r) => r.status)`, email, password))
	if status != http.StatusCreated {
		p.v.t.Fatalf("signing in answered %d", status)
	}
}

// opens opens an outing and rigs the first round as drawn.
func (p *phone) opens() {
	p.v.t.Helper()
	p.open("/water#")
	p.tap("Open an outing", "Upper Wend")
	p.fill("Water temperature", "11.5")
	p.tap("open", "rigged")
	p.until("it is being fished", `!!document.querySelector(".lines")`)
}

// lands taps a fly; the taps of one hand are never closer than this.
func (p *phone) lands(code string) {
	p.v.t.Helper()
	before := js[int](p, records+`.filter((r) => r.kind === "catch").length)`)
	time.Sleep(time.Until(p.rested))
	p.tap(code)
	p.rested = time.Now().Add(1300 * time.Millisecond)
	p.until("the fish is on the phone", fmt.Sprintf(records+`.filter((r) => r.kind === "catch").length > %d)`, before))
	p.until("the screen tells of no fish before it", records+`.filter((r) => r.kind === "catch").at(-1)).then((f) => (document.querySelector(".saved")?.dataset.fish ?? f.id) === f.id)`)
}

// records begins a script about what the phone keeps; it ends with a bracket.
const records = `new Promise((done, failed) => { const r = indexedDB.open("evenrig-water"); r.onerror = failed; r.onsuccess = () => {
  const a = r.result.transaction("records").objectStore("records").getAll(); a.onsuccess = () => { r.result.close(); done(a.result); }; }; }).then((all) => all`

// unsent is how many records still wait on the phone.
func (p *phone) unsent() int {
	p.v.t.Helper()
	return js[int](p, records+`.filter((r) => r.sent === "waiting").length)`)
}

// sends has the phone send, and waits until nothing waits.
func (p *phone) sends() {
	p.v.t.Helper()
	p.later(10 * time.Second) // past what can be taken back
	js[any](p, `dispatchEvent(new Event("online"))`)
	p.until("everything is sent", records+`.every((r) => r.sent !== "waiting"))`)
}

// shot keeps a picture of the screen in the folder that SCREENSHOTS names, light and dark, at both widths.
func (p *phone) shot(name string) {
	p.v.t.Helper()
	folder := os.Getenv("SCREENSHOTS")
	if folder == "" {
		return
	}
	for _, width := range []int64{375, 320} {
		for _, scheme := range []string{"light", "dark"} {
			_, err := chromedp.Call(p.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
			p.v.check(err)
			p.do(chromedp.EmulateViewport(width, width*2-80, chromedp.EmulateMobile))
			picture, err := chromedp.Run(p.ctx, chromedp.FullScreenshot(100))
			p.v.check(err)
			p.v.check(os.WriteFile(filepath.Join(folder, fmt.Sprintf("%s-%d-%s.png", name, width, scheme)), picture, 0o644))
		}
	}
	p.do(chromedp.EmulateViewport(375, 740, chromedp.EmulateMobile))
}
