package api_test

import (
	"bufio"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"evenrig/openapi"
)

// What does not exist and what is not yours answer with the same bytes, but for the request's id.
func TestNotYoursIsNotThere(t *testing.T) {
	w := newWorld(t)
	e := w.newClub("Wend Fly Fishers").opened(w.newClub("Alder Anglers").ruleSheet())
	r := e.join("Bert")
	outing, unit, period := r.inAPeriod()
	fish := r.land(period.ID, "C")
	deviation := newID()
	ok[*openapi.PutDeviationResponse](t, 201)(r.PutDeviationWithResponse(t.Context(), e.trial, deviation, openapi.NewDeviation{Outing: outing, Kind: "off_trial", From: w.clock()}))
	outsider := w.newClub("Beck Casters").organiser
	neighbour := e.join("Cleo")

	none := newID()
	fault := `{"water":"Nowhere","started_at":"2026-09-01T08:00:00Z"}`
	badFish := fmt.Sprintf(`{"period":%q,"taken_pattern":"ZZ","species":"x","caught_at":"2026-09-01T08:00:00Z"}`, period.ID)
	for _, c := range []struct{ method, path, body string }{
		{"GET", "", ""},
		{"GET", "/protocol", ""},
		{"GET", "/progress", ""},
		{"GET", "/checkpoints", ""},
		{"GET", "/protocol/versions", ""},
		{"GET", "/welfare-overrides", ""},
		{"GET", "/disputes", ""},
		{"POST", "/disputes", `{"subject":"` + fish.String() + `","words":"hooked on the walk back"}`},
		{"PATCH", "/outings/" + outing.String(), `{"reason":"because","void":true}`},
		{"GET", "/enrolments", ""},
		{"GET", "/enrolment", ""},
		{"GET", "/outings", ""},
		{"GET", "/units", ""},
		{"GET", "/catches", ""},
		{"GET", "/catches.csv", ""},
		{"GET", "/catches.xlsx", ""},
		{"GET", "/analyses", ""},
		{"GET", "/analyses/1", ""},
		{"GET", "/analyses/1/report", ""},
		{"POST", "/analyses", ""},
		{"POST", "/state", `{"state":"paused"}`},
		{"POST", "/enrolment/withdrawal", `{"erase":true}`},
		{"PUT", "/outings/" + none.String(), fault},
		{"PUT", "/units/" + none.String(), ""},
		{"PUT", "/catches/" + none.String(), badFish},
		{"POST", "/catches", "[" + strings.Replace(badFish, "{", fmt.Sprintf(`{"id":%q,`, none), 1) + "]"},
		{"PATCH", "/catches/" + fish.String(), `{"reason":"because","void":true}`},
		{"PATCH", "/periods/" + period.ID.String(), `{"reason":"because","confirmed":false}`},
	} {
		headers := []string{"If-Match", `"1"`}
		there := outsider.send(c.method, e.path("%s", c.path), c.body, headers...)
		nowhere := outsider.send(c.method, "/v1/trials/"+none.String()+c.path, c.body, headers...)
		if there.status != http.StatusNotFound || masked(there) != masked(nowhere) {
			t.Errorf("%s %s of another club's trial answered\n%d %s\nof none at all\n%d %s", c.method, c.path, there.status, there.body, nowhere.status, nowhere.body)
		}
	}

	// Within the trial, another angler's records.
	for _, c := range []struct{ method, path, body string }{
		{"GET", "/outings/%s", ""},
		{"GET", "/outings/%s/periods", ""},
		{"GET", "/outings/%s/deviations", ""},
		{"GET", "/outings/%s/temperatures", ""},
		{"GET", "/outings/%s/amendments", ""},
		{"PATCH", "/outings/%s", `{"reason":"because","void":true}`},
		{"PUT", "/outings/%s/end", `{"ended_at":"2026-09-01T09:00:00Z","reason":"planned","not_logged":0}`},
		{"GET", "/periods/%s", ""},
		{"PATCH", "/periods/%s", `{"reason":"because","confirmed":false}`},
		{"PUT", "/periods/%s/end", `{"ended_at":"2026-09-01T09:00:00Z","reason":"moved"}`},
		{"GET", "/deviations/%s", ""},
		{"GET", "/catches/%s", ""},
		{"PATCH", "/catches/%s", `{"reason":"because","void":true}`},
	} {
		id := map[string]string{"outings": outing.String(), "periods": period.ID.String(), "deviations": deviation.String(), "catches": fish.String()}[strings.Split(c.path, "/")[1]]
		there := neighbour.send(c.method, e.path(c.path, id), c.body, "If-Match", `"1"`)
		nowhere := neighbour.send(c.method, e.path(c.path, none), c.body, "If-Match", `"1"`)
		if there.status != http.StatusNotFound || masked(there) != masked(nowhere) {
			t.Errorf("%s %s of another angler answered\n%d %s\nof none\n%d %s", c.method, c.path, there.status, there.body, nowhere.status, nowhere.body)
		}
	}
	// Corrections of another's record are an empty list, as for none.
	for _, path := range []string{"/catches/%s/amendments", "/periods/%s/amendments"} {
		there, nowhere := neighbour.send("GET", e.path(path, fish), ""), neighbour.send("GET", e.path(path, none), "")
		if masked(there) != masked(nowhere) {
			t.Errorf("%s of another angler answered %d %s, of none %d %s", path, there.status, there.body, nowhere.status, nowhere.body)
		}
	}
	// An id that is another angler's says nothing of him.
	for _, c := range []struct{ path, body string }{
		{"/catches/" + fish.String(), text(t, neighbour.fish(period.ID, "C"))},
		{"/outings/" + outing.String(), `{"water":"Upper Wend","started_at":"2026-09-01T08:00:00Z"}`},
	} {
		if a := neighbour.send("PUT", e.path("%s", c.path), c.body); a.status != http.StatusConflict || strings.Contains(string(a.body), "Upper Wend") {
			t.Errorf("PUT %s of another angler's id answered %d %s, want 409 without content", c.path, a.status, a.body)
		}
	}
	_ = unit
}

var requestIDs = regexp.MustCompile(`"request_id":"[^"]*"`)

func masked(a answer) string {
	return fmt.Sprint(a.status, " ", a.header.Get("Content-Type"), " ", requestIDs.ReplaceAllString(string(a.body), ""))
}

// One record, sent in every way in which it can be sent again.
func TestACatchSentAgain(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	e := c.opened(c.ruleSheet())
	r := e.join("Bert")
	_, _, period := r.inAPeriod()
	id, fish := newID(), r.fish(period.ID, "C")

	first := ok[*openapi.PutCatchResponse](t, 201)(r.PutCatchWithResponse(t.Context(), e.trial, id, fish))
	if at := first.HTTPResponse.Header.Get("Location"); at != e.path("/catches/%s", id) || first.JSON201.Receipt == nil {
		t.Errorf("a new catch has its Location %q and a receipt: %s", at, first.Body)
	}
	again := ok[*openapi.PutCatchResponse](t, 200)(r.PutCatchWithResponse(t.Context(), e.trial, id, fish))
	if *again.JSON200.Receipt != *first.JSON201.Receipt {
		t.Errorf("a replay has the first receipt: %s after %s", again.Body, first.Body)
	}
	// The same moment written in another zone, and the default written out, are the same record.
	same := fish
	same.CaughtAt, same.RigIntact = fish.CaughtAt.In(time.FixedZone("", 2*3600)), ptr(true)
	ok[*openapi.PutCatchResponse](t, 200)(r.PutCatchWithResponse(t.Context(), e.trial, id, same))
	other := fish
	other.TakenPattern = ptr("N")
	if a := ok[*openapi.PutCatchResponse](t, 409)(r.PutCatchWithResponse(t.Context(), e.trial, id, other)); a.ApplicationProblemJSON409.Code != "record.conflict" {
		t.Errorf("other content under the id: %s", a.Body)
	}
	ok[*openapi.AmendCatchResponse](t, 200)(r.AmendCatchWithResponse(t.Context(), e.trial, id, &openapi.AmendCatchParams{IfMatch: `"1"`}, openapi.CatchAmendment{Reason: "a slip", Void: ptr(true)}))
	if a := ok[*openapi.PutCatchResponse](t, 200)(r.PutCatchWithResponse(t.Context(), e.trial, id, fish)); !a.JSON200.Void || a.JSON200.Version != 2 {
		t.Errorf("a replay after a correction has the present state: %s", a.Body)
	}
	e.move("closed")
	ok[*openapi.PutCatchResponse](t, 200)(r.PutCatchWithResponse(t.Context(), e.trial, id, fish))
	ok[*openapi.WithdrawResponse](t, 204)(r.WithdrawWithResponse(t.Context(), e.trial, openapi.Withdrawal{Erase: true}))
	if a := ok[*openapi.PutCatchResponse](t, 410)(r.PutCatchWithResponse(t.Context(), e.trial, id, fish)); a.ApplicationProblemJSON410.Code != "record.erased" {
		t.Errorf("a replay of what was erased: %s", a.Body)
	}
}

// Each refusal of HTTP itself has its status.
func TestRefusals(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	e := c.opened(c.ruleSheet())
	r := e.join("Bert")
	_, _, period := r.inAPeriod()
	id := r.land(period.ID, "C")
	fish := text(t, r.fish(period.ID, "C"))
	at := e.path("/catches/%s", newID())

	for _, c := range []struct {
		what         string
		got          answer
		status       int
		code, detail string
	}{
		{"no address", r.send("GET", "/v2/trials", ""), 404, "not_found", "/openapi.yaml"},
		{"no method", r.send("DELETE", at, ""), 405, "method.not_allowed", "Allow"},
		{"no JSON", r.send("PUT", at, `{"period":`), 400, "request.malformed", "no JSON"},
		{"an empty body", r.send("PUT", at, " "), 400, "request.malformed", "empty"},
		{"no body", r.send("PUT", at, ""), 400, "request.malformed", "missing"},
		{"trailing data", r.send("PUT", at, fish+"{}"), 400, "request.malformed", "follows"},
		{"no UTF-8", r.send("PUT", at, `{"note":"`+"\xff"+`"}`), 400, "request.malformed", "UTF-8"},
		{"text", r.send("PUT", at, fish, "Content-Type", "text/plain"), 415, "request.content_type", "application/json"},
		{"another charset", r.send("PUT", at, fish, "Content-Type", "application/json; charset=latin1"), 415, "request.content_type", "UTF-8"},
		{"a kind that is none", r.send("PUT", at, fish, "Content-Type", ";"), 415, "request.content_type", "application/json"},
		{"a body of 1 MB and a byte", r.send("PUT", at, strings.Repeat(" ", 1<<20+1)), 413, "request.too_large", "1048576"},
		{"a batch of 2 MB and a byte", r.send("POST", e.path("/catches"), strings.Repeat(" ", 2<<20+1)), 413, "request.too_large", "2097152"},
		{"a table of 256 MB and a byte", e.organiser.announce(e.path("/imports?dry_run=true"), "text/csv", 256<<20+1), 413, "request.too_large", "268435456"},
		{"a correction without If-Match", r.send("PATCH", e.path("/catches/%s", id), `{"reason":"a slip"}`), 428, "precondition.required", "ETag"},
		{"an If-Match that is none", r.send("PATCH", e.path("/catches/%s", id), `{"reason":"a slip"}`, "If-Match", "1"), 422, "request.invalid", ""},
		{"an old If-Match", r.send("PATCH", e.path("/catches/%s", id), `{"reason":"a slip","void":true}`, "If-Match", `"7"`), 412, "version.stale", "version"},
		{"an angler at the organiser's desk", r.send("POST", e.path("/state"), `{"state":"closed"}`), 403, "forbidden", "organiser"},
		{"an unknown state", e.organiser.send("POST", e.path("/state"), `{"state":"won"}`), 409, "trial.state", "cannot become"},
		{"an id that is none", r.send("GET", "/v1/trials/1", ""), 422, "request.invalid", ""},
		{"an unknown query", r.send("GET", e.path("/catches?page=2"), ""), 422, "request.invalid", ""},
		{"a page too long", r.send("GET", e.path("/catches?limit=501"), ""), 422, "request.invalid", ""},
		{"a page of text", r.send("GET", e.path("/catches?limit=many"), ""), 422, "request.invalid", ""},
		{"a query twice", r.send("GET", e.path("/catches?limit=1&limit=2"), ""), 422, "request.invalid", ""},
	} {
		p := c.got.problem(t)
		if c.got.status != c.status || p.Code != c.code || !strings.Contains(p.Detail, c.detail) {
			t.Errorf("%s answered %d %s (%s), want %d %s with %q", c.what, c.got.status, p.Code, p.Detail, c.status, c.code, c.detail)
		}
		if c.got.status == http.StatusUnprocessableEntity && len(p.Fields) == 0 {
			t.Errorf("%s: no field is named: %s", c.what, c.got.body)
		}
	}
	if chunked := r.sendChunked(at, strings.Repeat(" ", 1<<20+1)); chunked != http.StatusRequestEntityTooLarge {
		t.Errorf("a body too long that does not say so answered %d", chunked)
	}
}

// announce says how long a body will be, and sends nothing of it.
func (p *person) announce(path, kind string, length int64) answer {
	p.w.t.Helper()
	conn, err := net.Dial("tcp", strings.TrimPrefix(p.w.url, "http://"))
	if err != nil {
		p.w.t.Fatal(err)
	}
	defer conn.Close()
	_, err = fmt.Fprintf(conn, "POST %s HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\nContent-Type: %s\r\nContent-Length: %d\r\n\r\n", path, p.token, kind, length)
	if err != nil {
		p.w.t.Fatal(err)
	}
	got, err := http.ReadResponse(bufio.NewReader(conn), nil)
	if err != nil {
		p.w.t.Fatal(err)
	}
	return p.w.read(got)
}

// sendChunked sends a body that does not say how long it is.
func (p *person) sendChunked(path, body string) int {
	p.w.t.Helper()
	r, err := http.NewRequestWithContext(p.w.t.Context(), http.MethodPut, p.w.url+path, struct{ *strings.Reader }{strings.NewReader(body)})
	if err != nil {
		p.w.t.Fatal(err)
	}
	r.ContentLength = -1
	r.Header.Set("Authorization", "Bearer "+p.token)
	r.Header.Set("Content-Type", "application/json")
	got, err := checking{p.w.t}.RoundTrip(r)
	if err != nil {
		p.w.t.Fatal(err)
	}
	return got.StatusCode
}

// All faults are named at once: those of the form, and those of the rules.
func TestAllFaultsAreNamed(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	e := c.opened(c.ruleSheet())
	r := e.join("Bert")
	_, _, period := r.inAPeriod()

	at := e.path("/catches/%s", newID())
	form := r.send("PUT", at, `{"period":"x","foul_hooked":"no","length":{"value":"31","unit":2,"of":"tail"},"weight":3,"caught_at":"yesterday","origin":null}`)
	wantFields(t, "the form", form, "caught_at", "foul_hooked", "length.of", "length.unit", "length.value", "origin", "period", "species", "weight")
	rules := r.send("PUT", at, fmt.Sprintf(`{"period":%q,"taken_pattern":"Z","taken_position":"middle","outcome":"kept","origin":"farmed","species":"fish",
		"caught_at":"2026-09-01T08:00:00Z","noted_at":"2026-09-01T07:00:00Z","length":{"value":40,"unit":"ft"}}`, period.ID))
	wantFields(t, "the rules", rules, "length", "noted_at", "origin", "outcome", "species", "taken_pattern", "taken_position")
	disagrees := r.fish(period.ID, period.Lower)
	disagrees.TakenPosition = ptr("upper")
	if a := r.send("PUT", at, text(t, disagrees)); a.status != 422 || a.problem(t).Code != "catch.disagrees" {
		t.Errorf("pattern and position that do not fit answered %d %s", a.status, a.body)
	}
	numbers := r.send("PUT", e.path("/outings/%s/end", newID()), `{"ended_at":"2026-09-01T08:00:00Z","reason":"planned","not_logged":1e99}`)
	wantFields(t, "a number too great", numbers, "not_logged")

	p := c.ruleSheet()
	p.Title, p.Alpha, p.Rig.SpacingCm, p.Waters[1].Name, p.Patterns[0].Code = "x", 3, 900, "", "unknown"
	draft := c.drafted(p)
	sheet := c.organiser.send("POST", draft.path("/state"), `{"state":"registered"}`)
	wantFields(t, "a rule sheet", sheet, "alpha", "patterns[0].code", "rig.spacing_cm", "title", "waters[1].name")
}

func wantFields(t *testing.T, what string, a answer, want ...string) {
	t.Helper()
	p := a.problem(t)
	var got []string
	for _, f := range p.Fields {
		got = append(got, f.Field)
		if !strings.Contains(f.Detail, "accepted") && !strings.Contains(f.Detail, "missing") && !strings.Contains(f.Detail, "reserved") && !strings.Contains(f.Detail, "before") {
			t.Errorf("%s: %s does not say what is accepted: %s", what, f.Field, f.Detail)
		}
	}
	slices.Sort(got)
	if a.status != http.StatusUnprocessableEntity || !slices.Equal(got, want) {
		t.Errorf("%s: answered %d with faults in %q, want 422 with %q\n%s", what, a.status, got, want, a.body)
	}
}

// No secret, body or query reaches the log, and every request has a line there with its id.
func TestTheLogKeepsSecrets(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	a := c.organiser.send("GET", "/v1/clubs/"+c.id.String()+"/members?after="+newID().String(), "")
	log := w.log.String()
	for _, secret := range []string{w.admin.token, c.organiser.token, "rig_", "join_", "Bearer", "after=", "secretary"} {
		if strings.Contains(log, secret) {
			t.Errorf("the log has %q", secret)
		}
	}
	if !strings.Contains(log, a.header.Get("X-Request-Id")) || !strings.Contains(log, "/members") {
		t.Errorf("the log does not have the request:\n%s", log)
	}
}

// Every code that the program can answer with stands in the contract's table.
func TestEveryCodeIsDocumented(t *testing.T) {
	codes := regexp.MustCompile(`(?:Fail\([^,]+, |Code: +|\.Err\(|refuse\([^,]+, |p\.Code, [^=]*= *(?:[^,]+, )?|trial\.(?:Conflict|Stale|Gone), )"([a-z_]+(?:\.[a-z_]+)?)"`)
	n := 0
	for _, folder := range []string{".", "../service/trial", "../service/conduct", "../service/exchange", "../db"} {
		files, err := filepath.Glob(filepath.Join(folder, "*.go"))
		if err != nil {
			t.Fatal(err)
		}
		for _, file := range files {
			// A kit's folder is read on the angler's own machine, never by the service.
			if strings.HasSuffix(file, "_test.go") || strings.Contains(file, "exchange/kit") {
				continue
			}
			source, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range codes.FindAllStringSubmatch(string(source), -1) {
				n++
				if !strings.Contains(document().Info.Description, "`"+m[1]+"`") {
					t.Errorf("%s answers with the code %s, which the document does not list", file, m[1])
				}
			}
		}
	}
	if n < 60 {
		t.Errorf("only %d codes were looked at", n)
	}
}
