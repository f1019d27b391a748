package api_test

import (
	"archive/zip"
	"io/fs"
	"net/http"
	"strings"
	"testing"
	"time"

	"evenrig/openapi"
	"evenrig/service/trial"
)

// A locked trial's result in all its shapes, published through pages, and what a stranger then sees. No name and no water is on any of them.
func TestResultAndPublishedPages(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	p := c.ruleSheet()
	p.Funding, p.Conflicts = ptr("Sef, secretary of Wend Fly Fishers and the keeper of Mill Reach paid for the hooks"), ptr("nobody here sells either fly")
	e := c.opened(p)
	open := allTicks
	open.PublishOpen = true
	for i, name := range []string{"Egon", "Frida", "Gerd"} {
		fishOneBlock(t, e.joinWith(name, open), i)
	}
	at := "/trials/" + e.trial.String()
	b := c.organiser.signedIn("sef@example.org")
	b.get(at+"/result").shows(http.StatusConflict, "hidden")
	e.move("closed")
	w.wait(2 * time.Hour)
	e.move("locked")
	if err := w.service.Analyse(t.Context(), trial.ID(e.trial), 1); err != nil {
		t.Fatal(err)
	}
	for path, text := range map[string]string{"": `class="report`, "/summary": `class="report`, "/club-night": "data-pseudonym", "/picture": "wide.svg", "/wide.svg": "<svg", "/square.svg": "<svg", "/wide.png": "PNG", "/square.png": "PNG"} {
		b.get(at+"/result"+path).shows(http.StatusOK, text)
		namesNobody(t, b)
	}
	b.get(at+"/publish").shows(http.StatusOK, "Creative Commons Zero")
	b.post(at+"/publish", "licence", "none of these").shows(http.StatusUnprocessableEntity)
	b.post(at+"/publish", "licence", "CC0-1.0", "remarks", "A <b>wet</b> season.").shows(http.StatusOK, "being made")

	stranger := w.browser()
	stranger.get("/published/" + e.trial.String()).shows(http.StatusNotFound)
	if err := w.service.MakePackage(t.Context(), trial.ID(e.trial), 1); err != nil {
		t.Fatal(err)
	}
	stranger.get("/published/"+e.trial.String()).shows(http.StatusOK, "evenrig verify", "Creative Commons Zero", "3 anglers", "A &lt;b&gt;wet&lt;/b&gt; season.", "Find my fish", "Paid for by", "paid for the hooks", "nobody here sells either fly")
	namesNobody(t, stranger)
	for _, name := range []string{"plan.json", "report.html"} { // in the package too, as far as they name nobody
		text := packed(t, stranger.get("/v1/published/"+e.trial.String()+"/package.zip").body, name)
		if !strings.Contains(text, "paid for the hooks") || !strings.Contains(text, "nobody here sells either fly") || strings.Contains(text, "Sef") || strings.Contains(text, "Mill Reach") {
			t.Errorf("%s does not say who paid, or names somebody", name)
		}
	}
	stranger.post("/published/"+e.trial.String(), "receipt", "no code").shows(http.StatusUnprocessableEntity)
	stranger.post("/published/"+e.trial.String(), "receipt", strings.Repeat("0", 16)).shows(http.StatusOK, strings.Repeat("0", 16))
	stranger.post("/published/"+e.trial.String()+"/repeat", "club", c.id.String()).shows(http.StatusOK, `name="password"`)
	b.get("/published/"+e.trial.String()).shows(http.StatusOK, "Repeat this")
	b.post("/published/"+e.trial.String()+"/repeat", "club", c.id.String()).shows(http.StatusOK, "draft")
	stranger.get("/register").shows(http.StatusOK, "/published/"+e.trial.String())
}

// packed is a file of a zip archive.
func packed(t *testing.T, archive, name string) string {
	t.Helper()
	files, err := zip.NewReader(strings.NewReader(archive), int64(len(archive)))
	if err != nil {
		t.Fatal(err)
	}
	text, err := fs.ReadFile(files, name)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func namesNobody(t *testing.T, b *browser) {
	t.Helper()
	for _, name := range []string{"Egon", "Frida", "Gerd", "Upper Wend"} {
		if strings.Contains(b.body, name) {
			t.Errorf("%s shows %s", b.last.Request.URL, name)
		}
	}
}

// An angler whose phone is gone notes its carried rounds as lost, all at once and only when he says that he is sure of as many as there
// are; they are never handed out again.
func TestLostRoundsForm(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	e := c.opened(c.ruleSheet())
	r := e.join("Egon")
	for range 3 {
		r.unit()
	}
	at := "/trials/" + e.trial.String() + "/own"
	b := r.signedIn("egon@example.org")
	lost := func() (n int) {
		for _, u := range ok[*openapi.ListUnitsResponse](t, 200)(r.ListUnitsWithResponse(t.Context(), e.trial, nil)).JSON200.Items {
			if u.LostAt != nil {
				n++
			}
		}
		return n
	}
	b.get(at).shows(http.StatusOK, "My phone is lost", "3 rounds are lost with it")
	for _, form := range [][]string{{"rounds", "3"}, {"sure", "yes"}, {"sure", "yes", "rounds", "2"}} {
		b.post(at+"/lost", form...).shows(http.StatusOK, "3 rounds are lost with it")
		if lost() != 0 {
			t.Fatalf("%v loses rounds", form)
		}
	}
	b.post(at+"/lost", "sure", "yes", "rounds", "3").shows(http.StatusOK, "Noted as lost")
	if n := lost(); n != 3 || strings.Contains(b.body, "My phone is lost") {
		t.Errorf("%d rounds are lost, want 3", n)
	}
	b.post(at+"/lost", "sure", "yes", "rounds", "3").shows(http.StatusOK)
	if r.unit(); lost() != 3 {
		t.Error("a form sent twice loses what was fetched since")
	}
}
