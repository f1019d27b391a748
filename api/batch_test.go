package api_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"github.com/google/uuid"

	"evenrig/openapi"
)

// A batch with bad items in its middle: each item has its own outcome, in both forms, and a replay of the whole.
func TestOneBadLineSpoilsNoOther(t *testing.T) {
	for _, form := range []string{"array", "lines"} {
		t.Run(form, func(t *testing.T) {
			w := newWorld(t)
			c := w.newClub("Wend Fly Fishers")
			e := c.opened(c.ruleSheet())
			r := e.join("Bert")
			_, _, period := r.inAPeriod()
			good := func(id uuid.UUID, pattern string) string {
				fish := r.fish(period.ID, pattern)
				return text(t, openapi.BatchCatch{ID: id, Period: fish.Period, TakenPattern: fish.TakenPattern, Species: fish.Species, CaughtAt: fish.CaughtAt})
			}
			ids := []uuid.UUID{newID(), newID(), newID()}
			items := []string{
				good(ids[0], "C"),
				`{"period":3}`,
				`"fish"`,
				fmt.Sprintf(`{"id":%q,"period":%q,"species":"Thymallus thymallus","caught_at":"2026-09-01T08:00:00Z","weight":2}`, newID(), period.ID),
				strings.Replace(good(newID(), "C"), `"C"`, `"Z"`, 1),
				good(ids[1], "N"),
				good(ids[0], "C"),
				good(ids[0], "N"),
				good(ids[2], "C"),
			}
			wantStatus := []int{201, 422, 422, 422, 422, 201, 200, 409, 201}
			if form == "lines" {
				items = append(items, `{"id":`, good(uuid.UUID{}, "C"))
				wantStatus = append(wantStatus, 400, 422)
			}
			outcomes := sendBatch(t, r, form, items)
			for i, o := range outcomes {
				if o.HTTPStatus != wantStatus[i] || o.Line != i+1 {
					t.Errorf("item %d: line %d, status %d (%+v), want line %d, status %d", i+1, o.Line, o.HTTPStatus, o.Problem, i+1, wantStatus[i])
				}
				if refused := o.HTTPStatus >= 400; refused != (o.Status == openapi.BatchOutcomeStatusRefused) || refused != (o.Problem != nil) || refused != (o.Receipt == nil) {
					t.Errorf("item %d has the status %s, problem %v, receipt %v", i+1, o.Status, o.Problem, o.Receipt)
				}
			}
			if len(outcomes) != len(items) {
				t.Fatalf("%d outcomes for %d items", len(outcomes), len(items))
			}
			if outcomes[0].ID == nil || *outcomes[0].ID != ids[0] || outcomes[1].ID != nil || outcomes[3].ID == nil {
				t.Errorf("outcomes carry the ids that could be read: %v, %v, %v", outcomes[0].ID, outcomes[1].ID, outcomes[3].ID)
			}
			var named []string
			for _, f := range outcomes[1].Problem.Fields {
				named = append(named, f.Field)
			}
			if got := strings.Join(named, " "); !strings.Contains(got, "period") || !strings.Contains(got, "id") || !strings.Contains(got, "species") {
				t.Errorf("all faults of an item are named, got %q", got)
			}
			for i, o := range sendBatch(t, r, form, []string{items[0], items[5], items[8]}) {
				if o.Status != openapi.BatchOutcomeStatusReplayed {
					t.Errorf("item %d sent again is %s", i+1, o.Status)
				}
			}
			own := ok[*openapi.ListCatchesResponse](t, 200)(r.ListCatchesWithResponse(t.Context(), e.trial, nil))
			if len(own.JSON200.Items) != 3 {
				t.Errorf("%d catches were saved, want 3", len(own.JSON200.Items))
			}
		})
	}
}

func sendBatch(t *testing.T, r *rod, form string, items []string) []openapi.BatchOutcome {
	t.Helper()
	body, kind := "\n ["+strings.Join(items, ",\n")+"]\n", "application/json"
	if form == "lines" {
		body, kind = strings.Join(items, "\r\n"), "application/x-ndjson"
	}
	a := r.send("POST", r.e.path("/catches"), body, "Content-Type", kind)
	if a.status != 200 || a.header.Get("Content-Type") != kind {
		t.Fatalf("the batch answered %d %s: %s", a.status, a.header.Get("Content-Type"), a.body)
	}
	var outcomes []openapi.BatchOutcome
	if form == "array" {
		if err := json.Unmarshal(a.body, &outcomes); err != nil {
			t.Fatal(err)
		}
		return outcomes
	}
	for line := range bytes.Lines(a.body) {
		var o openapi.BatchOutcome
		if err := json.Unmarshal(line, &o); err != nil {
			t.Fatal(err)
		}
		outcomes = append(outcomes, o)
	}
	return outcomes
}

// What is no batch at all is refused whole, and saves nothing.
func TestBrokenBatchesSaveNothing(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	e := c.opened(c.ruleSheet())
	r := e.join("Bert")
	_, _, period := r.inAPeriod()
	item := func() string {
		fish := r.fish(period.ID, "C")
		return text(t, openapi.BatchCatch{ID: newID(), Period: fish.Period, TakenPattern: fish.TakenPattern, Species: fish.Species, CaughtAt: fish.CaughtAt})
	}
	many := make([]string, 501)
	for i := range many {
		many[i] = item()
	}
	for _, c := range []struct {
		what, body, kind string
		status           int
	}{
		{"an array that breaks off", "[" + item() + "," + item(), "application/json", 400},
		{"an array with a hole", "[" + item() + ",," + item() + "]", "application/json", 400},
		{"an array and more", "[" + item() + "]" + item(), "application/json", 400},
		{"nothing", " \n ", "application/json", 400},
		{"501 in an array", "[" + strings.Join(many, ",") + "]", "application/json", 422},
		{"501 lines", strings.Join(many, "\n"), "application/x-ndjson", 422},
		{"a table", "id,period", "text/csv", 415},
	} {
		if a := r.send("POST", e.path("/catches"), c.body, "Content-Type", c.kind); a.status != c.status {
			t.Errorf("%s answered %d, want %d: %.300s", c.what, a.status, c.status, a.body)
		}
	}
	if own := ok[*openapi.ListCatchesResponse](t, 200)(r.ListCatchesWithResponse(t.Context(), e.trial, nil)); len(own.JSON200.Items) != 0 {
		t.Errorf("%d catches of broken batches were saved", len(own.JSON200.Items))
	}
	// 500 are taken.
	all := sendBatch(t, r, "array", many[:500])
	for _, o := range all {
		if o.Status != openapi.BatchOutcomeStatusCreated {
			t.Fatalf("line %d of 500 was %s: %+v", o.Line, o.Status, o.Problem)
		}
	}
	// Lines that are empty are passed over and counted.
	a := r.send("POST", e.path("/catches"), "\n\n"+item()+"\n\n", "Content-Type", "application/x-ndjson")
	if !strings.HasPrefix(string(a.body), `{`) || !strings.Contains(string(a.body), `"line":3`) {
		t.Errorf("a catch on line 3 answered %d %s", a.status, a.body)
	}
}
