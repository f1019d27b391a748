package api_test

import (
	"bytes"
	"io"
	"mime/multipart"
	"net/http"
	"strings"
	"testing"
)

// Whoever asks sees the register, its years and the interface; nobody's name, no club and no water stands there.
func TestPublicPages(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	c.opened(c.ruleSheet())
	p := w.browser()
	p.get("/register").shows(http.StatusOK, "Register of trials", "being fished")
	p.get("/year/2026").shows(http.StatusOK, "Still open")
	p.get("/year/26").shows(http.StatusNotFound)
	p.get("/register?after=nothing").shows(http.StatusNotFound)
	p.get("/reference").shows(http.StatusOK, "/v1/trials/{trial}/catches/{catch}", "catch.disagrees", "schema-Receipt")
}

// A stranger's table comes back as a report; its faults are named; nothing of it is kept.
func TestATableIsCountedForWhoeverAsks(t *testing.T) {
	w := newEmptyWorld(t)
	b := w.browser()
	b.get("/").shows(http.StatusOK, `enctype="multipart/form-data"`)
	b.get("/sample").shows(http.StatusOK, "An invented season of eight anglers", `class="report"`)
	b.get("/sample/catches.csv").shows(http.StatusOK, "lower_pattern")
	table := b.body
	b.sendTable("/drop", table, "test", "A").shows(http.StatusOK, `class="report"`, "Your table, counted")
	b.sendTable("/drop", strings.Replace(table, "landed", "flown", 1), "test", "A").shows(http.StatusUnprocessableEntity, "line 2", "flown")
	b.sendTable("/drop", table, "test", "C").shows(http.StatusUnprocessableEntity, "has no pattern")
	b.sendTable("/drop", "", "test", "A").shows(http.StatusUnprocessableEntity, "empty")
	b.sendTable("/drop", `a,lower_pattern,taken_position`+"\n"+`<script>alert(1)</script>,A,sideways`, "test", "A").shows(http.StatusUnprocessableEntity)
	if strings.Contains(b.body, "<script>alert") {
		t.Error("the page runs what stood in the table")
	}
}

// sendTable sends a form with a file.
func (b *browser) sendTable(path, table string, fields ...string) *browser {
	b.w.t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	part, err := form.CreateFormFile("table", "table.csv")
	if err != nil {
		b.w.t.Fatal(err)
	}
	if _, err := io.WriteString(part, table); err != nil {
		b.w.t.Fatal(err)
	}
	for i := 0; i+1 < len(fields); i += 2 {
		if err := form.WriteField(fields[i], fields[i+1]); err != nil {
			b.w.t.Fatal(err)
		}
	}
	if err := form.Close(); err != nil {
		b.w.t.Fatal(err)
	}
	r, err := http.NewRequestWithContext(b.w.t.Context(), http.MethodPost, b.w.url+path, &body)
	if err != nil {
		b.w.t.Fatal(err)
	}
	r.Header.Set("Content-Type", form.FormDataContentType())
	r.Header.Set("Accept", "text/html")
	r.Header.Set("Origin", b.w.url)
	return b.do(r)
}
