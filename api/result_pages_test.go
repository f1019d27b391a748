package api_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

// A locked trial's result in all its shapes, published through pages, and what a stranger then sees. No name and no water is on any of them.
func TestResultAndPublishedPages(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	e := c.opened(c.ruleSheet())
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
	stranger.get("/published/"+e.trial.String()).shows(http.StatusOK, "evenrig verify", "Creative Commons Zero", "3 anglers", "A &lt;b&gt;wet&lt;/b&gt; season.", "Find my fish")
	namesNobody(t, stranger)
	stranger.post("/published/"+e.trial.String(), "receipt", "no code").shows(http.StatusUnprocessableEntity)
	stranger.post("/published/"+e.trial.String(), "receipt", strings.Repeat("0", 16)).shows(http.StatusOK, strings.Repeat("0", 16))
	stranger.post("/published/"+e.trial.String()+"/repeat", "club", c.id.String()).shows(http.StatusOK, `name="password"`)
	b.get("/published/"+e.trial.String()).shows(http.StatusOK, "Repeat this")
	b.post("/published/"+e.trial.String()+"/repeat", "club", c.id.String()).shows(http.StatusOK, "draft")
	stranger.get("/register").shows(http.StatusOK, "/published/"+e.trial.String())
}

func namesNobody(t *testing.T, b *browser) {
	t.Helper()
	for _, name := range []string{"Egon", "Frida", "Gerd", "Upper Wend"} {
		if strings.Contains(b.body, name) {
			t.Errorf("%s shows %s", b.last.Request.URL, name)
		}
	}
}
