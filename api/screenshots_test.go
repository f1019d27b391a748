package api_test

import (
	"context"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"evenrig/openapi"
	"evenrig/service/trial"
)

var screenshots = flag.String("screenshots", "", "folder to put pictures of every page at the table into")

// findBrowser returns where a browser is that can be driven. Without one the test is skipped and says so; with
// REQUIRE_BROWSER=1 it fails.
func findBrowser(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	const missing = "no browser was found (chromium, chromium-browser, google-chrome): the pages were not looked at"
	if os.Getenv("REQUIRE_BROWSER") == "1" {
		t.Fatal(missing)
	}
	t.Skip("SKIPPED: " + missing)
	return ""
}

// startBrowser starts one that goes nowhere by itself.
func startBrowser(t *testing.T) context.Context {
	t.Helper()
	ctx, cancel := chromedp.NewExecAllocator(t.Context(), chromedp.ExecPath(findBrowser(t)), chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("headless", true), chromedp.Flag("no-sandbox", true), chromedp.Flag("disable-gpu", true), chromedp.Flag("disable-quic", true),
		chromedp.Flag("no-first-run", true), chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true))
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	return ctx
}

// lendTo gives a real browser the cookies of one that has signed in.
func (b *browser) lendTo(ctx context.Context, t *testing.T) {
	t.Helper()
	r, err := b.client.Get(b.w.url + "/clubs")
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	for _, c := range b.client.Jar.Cookies(r.Request.URL) {
		if _, err := chromedp.Call(ctx, network.SetCookie, network.SetCookieParams{Name: c.Name, Value: c.Value, URL: b.w.url, Secure: new(true), Path: "/", HTTPOnly: new(true)}); err != nil {
			t.Fatal(err)
		}
	}
}

// view is a size and colour scheme that a page is looked at in.
type view struct {
	name          string
	width, height int64
	scheme        string
}

var views = []view{{"phone", 375, 780, "light"}, {"desktop", 1200, 900, "light"}, {"phone-dark", 375, 780, "dark"}}

// show opens the page at url in a view.
func (v view) show(ctx context.Context, url string) error {
	size := chromedp.EmulateViewport(v.width, v.height)
	if v.width < 600 {
		size = chromedp.EmulateViewport(v.width, v.height, chromedp.EmulateMobile, chromedp.EmulateTouch)
	}
	if err := chromedp.Do(ctx, size); err != nil {
		return err
	}
	scheme := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: v.scheme}}}
	if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, scheme); err != nil {
		return err
	}
	return chromedp.Do(ctx, chromedp.Navigate(url))
}

// picture puts a picture of the page that is shown into the folder.
func picture(ctx context.Context, t *testing.T, name string) {
	t.Helper()
	png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err == nil {
		err = os.WriteFile(filepath.Join(*screenshots, name+".png"), png, 0o644)
	}
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

// Pictures of every page at the table, to be looked at: go test ./api -run TestScreenshots -screenshots FOLDER
func TestScreenshots(t *testing.T) {
	if *screenshots == "" {
		t.Skip("SKIPPED: it makes pictures to be looked at and proves nothing; -screenshots FOLDER makes them")
	}
	eachPage(t, func(ctx context.Context, name string) { picture(ctx, t, name) })
}

// narrow says whether the page is wider than the screen.
const narrow = `document.scrollingElement.scrollWidth - document.documentElement.clientWidth`

// Every page at the table fits a phone and holds to the rules of access (WCAG 2.2, levels A and AA, as axe-core tests them),
// light and dark. EVENRIG_AXE names the rules' program; without it that part is left out, and fails where a browser is required.
func TestPagesHoldToTheRulesOfAccess(t *testing.T) {
	file := os.Getenv("EVENRIG_AXE")
	var rules []byte
	if file == "" && os.Getenv("REQUIRE_BROWSER") == "1" {
		t.Fatal("EVENRIG_AXE names no axe.min.js: the rules of access were not tested")
	} else if file != "" {
		var err error
		if rules, err = os.ReadFile(file); err != nil {
			t.Fatal(err)
		}
	} else {
		t.Log("SKIPPED: EVENRIG_AXE names no axe.min.js, so only the width of pages is tested")
	}
	eachPage(t, func(ctx context.Context, name string) {
		if over, err := chromedp.Run(ctx, chromedp.Evaluate[int](narrow)); err != nil || over > 0 {
			t.Errorf("%s is %d px wider than the screen: %v", name, over, err)
		}
		if rules == nil {
			return
		}
		if _, err := chromedp.Run(ctx, chromedp.Evaluate[int](string(rules)+";0")); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		faults, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](`axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"], resultTypes: ["violations"] }).then((r) => r.violations.flatMap((v) => v.nodes.map((n) => v.id + ": " + n.html.slice(0, 200))))`, chromedp.EvalAwaitPromise))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for _, fault := range faults {
			t.Errorf("%s: %s", name, fault)
		}
	})
}

// eachPage shows every page at the table in every view, and has each looked at.
func eachPage(t *testing.T, look func(ctx context.Context, name string)) {
	t.Helper()
	ctx, cancel := context.WithTimeout(startBrowser(t), 8*time.Minute)
	defer cancel()
	see := func(url, name string) {
		t.Helper()
		for _, v := range views {
			if err := v.show(ctx, url); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			look(ctx, name+"-"+v.name)
		}
	}
	w := newWorld(t)
	c := w.newClub("Fellside Fly Fishers")
	half := c.ruleSheet()
	half.Waters, half.Rig.HookSize, half.SmallestShare = []openapi.Water{}, "33", 40
	draft := c.drafted(half)
	ok[*openapi.PutProtocolResponse](t, 200)(c.organiser.PutProtocolWithResponse(t.Context(), draft.trial, &openapi.PutProtocolParams{IfMatch: `"1"`}, half))
	e := c.opened(c.ruleSheet())
	recorded := c.ruleSheet()
	recorded.Source = "recorded"
	recordedAt := "/trials/" + c.opened(recorded).trial.String()
	anna := e.join("Anna of the lower beat")
	outing, _, period := anna.inAPeriod()
	fish := anna.land(period.ID, "C")
	anna.land(period.ID, "unknown")
	anna.w.wait(20 * time.Minute)
	anna.land(period.ID, "N")
	ok[*openapi.FileDisputeResponse](t, 201)(c.scrutiny.FileDisputeWithResponse(t.Context(), e.trial, openapi.NewDispute{Subject: fish, Words: "it came while the flies were changed over"}))
	organiser, angler := c.organiser.signedIn("sef@example.org"), anna.signedIn("anna@example.org")
	for _, page := range []struct{ name, path string }{{"front", "/"}, {"sign-in", "/sign-in"}, {"join", "/join"}, {"first-admin", "/first-admin"}, {"nothing", "/nothing"}} {
		see(w.url+page.path, page.name)
	}
	organiser.lendTo(ctx, t)
	trialAt := "/trials/" + e.trial.String()
	for _, page := range []struct{ name, path string }{
		{"me", "/me"},
		{"erase", "/me/erase"},
		{"tokens", "/me/tokens"},
		{"clubs", "/clubs"},
		{"club", "/clubs/" + c.id.String()},
		{"trial-organiser", trialAt},
		{"move", trialAt + "/move/closed"},
		{"members", trialAt + "/members"},
		{"outstanding", trialAt + "/outstanding"},
		{"protocol-form", "/trials/" + draft.trial.String() + "/protocol"},
		{"trial-draft", "/trials/" + draft.trial.String()},
		{"move-registered", "/trials/" + draft.trial.String() + "/move/registered"},
		{"protocol", trialAt + "/protocol"},
		{"version", trialAt + "/protocol/versions/1"},
		{"draw-night", trialAt + "/draw-night"},
		{"progress", trialAt + "/progress"},
		{"print", trialAt + "/print"},
		{"slips", trialAt + "/print/slips"},
		{"disputes", trialAt + "/disputes"},
		{"log", trialAt + "/log"},
		{"questions", trialAt + "/questions"},
		{"flies", trialAt + "/flies"},
		{"rule-change", trialAt + "/protocol/change"},
		{"import", recordedAt + "/import"},
		{"trial-recorded", recordedAt},
	} {
		see(w.url+page.path, page.name)
	}
	angler.lendTo(ctx, t)
	for _, page := range []struct{ name, path string }{
		{"trial-angler", trialAt},
		{"own", trialAt + "/own"},
		{"correct-catch", trialAt + "/own/catches/" + fish.String()},
		{"correct-period", trialAt + "/own/periods/" + period.ID.String()},
		{"noting", trialAt + "/noting"},
		{"cards", trialAt + "/cards"},
		{"correct-outing", trialAt + "/own/outings/" + outing.String()},
		{"leave", trialAt + "/own/leave"},
	} {
		see(w.url+page.path, page.name)
	}
	beth := c.invited("angler", "Beth of the beck").signedIn("beth@example.org")
	beth.lendTo(ctx, t)
	see(w.url+trialAt+"/join", "enrol")
	seeServersWork(ctx, t, e, organiser, see)
}

// seeServersWork shows the pages of who waits for a count and of who looks after the server, whose jobs fail.
func seeServersWork(ctx context.Context, t *testing.T, e *contest, organiser *browser, see func(url, name string)) {
	t.Helper()
	e.move("closed")
	e.w.wait(2 * time.Hour)
	e.move("locked")
	organiser.lendTo(ctx, t)
	result := e.w.url + "/trials/" + e.trial.String() + "/result"
	see(result, "result-waiting")
	stop := e.w.runJobs(t, func(context.Context, trial.ID, int) error { return trial.ErrLasting })
	waitFor(t, "a dead job", func() bool {
		return ok[*openapi.ListJobsResponse](t, 200)(e.w.admin.ListJobsWithResponse(t.Context(), nil)).JSON200.Items[0].State == "dead"
	})
	waitFor(t, "upkeep", func() bool {
		return len(ok[*openapi.ListUpkeepResponse](t, 200)(e.w.admin.ListUpkeepWithResponse(t.Context())).JSON200.Items) > 0
	})
	stop()
	see(result, "result-failed")
	e.w.admin.signedIn("ada@example.org").lendTo(ctx, t)
	see(e.w.url+"/server", "server")
}
