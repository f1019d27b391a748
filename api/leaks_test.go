package api_test

import (
	"encoding/json"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"evenrig/openapi"
	"evenrig/service/trial"
)

// reader is somebody who reads everything that can be asked for.
type reader struct {
	name  string
	who   *person
	in    bool     // the club that is read
	knows []string // what only he, of all readers, may be answered: his own name, address, note
}

// mayName says which addresses name people of the club, and to whom: who runs the club must know its members, whoever joined is known to
// the organiser, and what happened to an account stands in its club's events.
var mayName = map[string][]string{
	"/v1/clubs/{club}/members":            {"organiser", "auditor", "angler", "owner"},
	"/v1/clubs/{club}/invitations":        {"organiser"},
	"/v1/clubs/{club}/handovers":          {"organiser", "auditor", "angler", "owner"},
	"/v1/clubs/{club}/events":             {"organiser", "auditor"},
	"/v1/trials/{trial}/enrolments":       {"organiser"},
	"/v1/trials/{trial}/guests":           {"organiser"},
	"/v1/trials/{trial}/outstanding":      {"organiser"},
	"/v1/trials/{trial}/enrolment/noters": {"owner"},
	"/v1/trials/{trial}/noting":           {"owner", "angler", "organiser"},
}

// open is what answers whoever asks.
var open = regexp.MustCompile(`^/(healthz|readyz|openapi\.yaml|v1/(register|published/|protocol-template|plans|me$|me/|clubs$))`)

// TestNoAnswerLeaks reads every address as everybody, while the trial is fished and after it is locked, and looks for what may not be there:
// names, addresses, notes, waters for strangers, and, while the running effect is hidden, which pattern a fish took and which way round
// a unit goes.
func TestNoAnswerLeaks(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	e := c.opened(c.ruleSheet())
	owner, other := e.join("Berengar Ottershaw"), e.join("Friedlind Quillfeather")
	third := e.join("Gismara Tench")
	other2 := w.newClub("Sallow Mere Club")
	e2 := other2.opened(other2.ruleSheet())
	foreign := e2.join("Hadubrand Vole")

	outing, unit, period := owner.inAPeriod()
	secret := "the heron's stump below the weir"
	fish := newID()
	body := owner.fish(period.ID, "C")
	body.Note = &secret
	ok[*openapi.PutCatchResponse](t, 201)(owner.PutCatchWithResponse(t.Context(), e.trial, fish, body))
	owner.land(period.ID, "C")
	owner.land(period.ID, "N")
	deviation := newID()
	ok[*openapi.PutDeviationResponse](t, 201)(owner.PutDeviationWithResponse(t.Context(), e.trial, deviation, openapi.NewDeviation{Outing: outing, Kind: "could_not_swap", Period: &period.ID, From: w.clock(), Note: &secret}))
	fishOneBlock(t, other, 1)
	fishOneBlock(t, third, 2)
	for who, address := range map[*person]string{owner.person: "berengar@example.org", other.person: "friedlind@example.org", c.organiser: "sef@example.org", c.scrutiny: "odo@example.org", foreign.person: "hadubrand@example.org"} {
		if a := who.send(http.MethodPut, "/v1/me/sign-in", text(t, map[string]any{"email": address, "password": "seven quiet pools in the upper water"})); a.status != 204 {
			t.Fatalf("an address was answered %d: %s", a.status, a.body)
		}
	}
	readers := []reader{
		{"stranger", w.person(""), false, nil},
		{"organiser elsewhere", other2.organiser, false, []string{"Sef, secretary"}},
		{"angler elsewhere", foreign.person, false, []string{"Hadubrand Vole", "hadubrand@example.org"}},
		{"organiser", c.organiser, true, []string{"Sef, secretary", "sef@example.org"}},
		{"auditor", c.scrutiny, true, []string{"Odo, scrutineer", "odo@example.org"}},
		{"angler", other.person, true, []string{"Friedlind Quillfeather", "friedlind@example.org"}},
		{"owner", owner.person, true, []string{"Berengar Ottershaw", "berengar@example.org", secret}},
		{"organiser", w.admin, true, nil}, // who founds a club runs it
	}
	ids := map[string]string{
		"club": c.id.String(), "trial": e.trial.String(), "enrolment": owner.enrolment.String(), "outing": outing.String(), "unit": unit.ID.String(),
		"period": period.ID.String(), "catch": fish.String(), "deviation": deviation.String(), "n": "1", "version": "1",
	}
	people := []string{
		"Berengar Ottershaw", "Friedlind Quillfeather", "Gismara Tench", "Hadubrand Vole", "Odo, scrutineer", "berengar@example.org",
		"friedlind@example.org", "sef@example.org", "odo@example.org", "hadubrand@example.org", secret,
	}
	look := func(hidden bool) {
		for _, path := range slices.Sorted(mapKeys(document().Paths.Map())) {
			if document().Paths.Value(path).Get == nil {
				continue
			}
			at := regexp.MustCompile(`\{(\w+)\}`).ReplaceAllStringFunc(path, func(p string) string {
				if id := ids[strings.Trim(p, "{}")]; id != "" {
					return id
				}
				return newID().String()
			})
			for _, r := range readers {
				a := r.who.send(http.MethodGet, at, "")
				r.judge(t, path, a, people, hidden)
			}
		}
	}
	look(true)
	e.move("closed")
	w.wait(2 * time.Hour)
	e.move("locked")
	if err := w.service.Analyse(t.Context(), trial.ID(e.trial), 1); err != nil {
		t.Fatal(err)
	}
	look(false)
}

// judge fails the test for whatever the answer should not hold.
func (r reader) judge(t *testing.T, path string, a answer, people []string, hidden bool) {
	t.Helper()
	said := string(a.body)
	if path == "/openapi.yaml" {
		return
	}
	if !r.in && a.status < 300 && !open.MatchString(path) {
		t.Errorf("%s of another club or none may read %s: %s", r.name, path, said)
	}
	for _, one := range people {
		if !strings.Contains(said, one) || slices.Contains(r.knows, one) || slices.Contains(mayName[path], r.name) && !strings.Contains(one, "@") && !strings.Contains(one, "heron") {
			continue
		}
		t.Errorf("%s (hidden: %t) tells %s of %q", path, hidden, r.name, one)
	}
	if !r.in && strings.Contains(said, "Upper Wend") && !strings.HasPrefix(path, "/v1/me/") {
		t.Errorf("%s tells %s of a water", path, r.name)
	}
	if !hidden || r.name == "owner" || r.name == "angler" && !strings.Contains(path, "{catch}") && !strings.Contains(path, "{period}") && !strings.Contains(path, "{unit}") {
		return // anglers read their own
	}
	var v any
	if json.Unmarshal(a.body, &v) == nil && a.status < 300 && path != "/v1/protocol-template" {
		if found := revealing(v); found != "" {
			t.Errorf("%s tells %s what is hidden: %s in %s", path, r.name, found, said)
		}
	}
}

// revealing returns the name of a value in the answer that tells a fish's pattern or a unit's order, "" where there is none.
func revealing(v any) string {
	switch v := v.(type) {
	case map[string]any:
		for name, value := range v {
			if slices.Contains([]string{"taken_pattern", "taken_position", "first", "drawn", "fished", "taken", "test_lower", "control_lower", "verdict", "headline"}, name) && value != nil && value != "" {
				return name
			}
			if found := revealing(value); found != "" {
				return found
			}
		}
	case []any:
		for _, value := range v {
			if found := revealing(value); found != "" {
				return found
			}
		}
	}
	return ""
}
