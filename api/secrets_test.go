package api_test

import (
	"fmt"
	"log/slog"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"

	"evenrig/api"
)

// changing is what differs between any two lines of the log: times, ids, how long it took and from which port.
var changing = regexp.MustCompile(`time=\S+|[0-9a-f]{8}-[0-9a-f-]{27}|took=\S+`)

// Who reads the log, at whatever level, cannot tell two fish apart that took different patterns, neither by words nor by
// the length of an answer: the codes, and the words test and control, differ in length.
func TestLogTellsNothingOfAFish(t *testing.T) {
	w := newWorld(t)
	log := &syncBuffer{}
	server := httptest.NewServer(api.NewServer(w.service, api.Options{Log: slog.New(slog.NewTextHandler(log, &slog.HandlerOptions{Level: slog.LevelDebug}))}).Handler())
	t.Cleanup(server.Close)
	w.url = server.URL
	c := w.newClub("Wend Grayling Club")
	p := c.ruleSheet()
	p.Patterns[0].Code, p.Patterns[1].Code = "collared", "N"
	e := c.opened(p)
	r := e.join("Ida")
	_, _, period := r.inAPeriod()
	lines := func(pattern string) string {
		before := len(log.String())
		id := newID()
		fish := r.fish(period.ID, pattern)
		for _, send := range []answer{
			r.send("PUT", e.path("/catches/%s", id), text(t, fish)),
			r.send("PUT", e.path("/catches/%s", id), text(t, fish)),
			r.send("GET", e.path("/catches/%s", id), ""),
			r.send("PATCH", e.path("/catches/%s", id), `{"reason": "measured again", "length": {"value": 32, "unit": "cm"}}`, "If-Match", `"1"`),
			r.send("GET", e.path("/catches/%s/amendments", id), ""),
			r.send("POST", e.path("/catches"), "["+strings.Replace(text(t, fish), "{", fmt.Sprintf(`{"id": %q, `, newID()), 1)+"]"),
		} {
			if send.status > 201 {
				t.Fatalf("answered %d: %s", send.status, send.body)
			}
		}
		return changing.ReplaceAllString(log.String()[before:], "")
	}
	collared, plain := lines("collared"), lines("N")
	if collared != plain {
		t.Errorf("the log tells patterns apart:\n%s\n%s", collared, plain)
	}
	if strings.Count(collared, "\n") != 6 {
		t.Errorf("lines for 6 requests:\n%s", collared)
	}
}
