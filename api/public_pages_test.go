package api_test

import (
	"net/http"
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
