package api_test

import (
	"strings"
	"testing"

	"github.com/google/uuid"

	"evenrig/openapi"
)

// What is missing or of the wrong kind is answered with what is accepted in its place, in the contract's own words.
func TestFaultsSayWhatIsAccepted(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Grayling Club")
	r := c.opened(c.ruleSheet()).join("Ida")
	outing, _, period := r.inAPeriod()
	for _, c := range []struct {
		path, body string
		want       map[string]string
	}{
		{"/outings/" + outing.String() + "/end", `{}`, map[string]string{
			"ended_at":   "is missing; accepted: a time with its offset like 2026-09-12T10:41:00+02:00",
			"not_logged": "is missing; accepted: a whole number (0 to 500: fish that were not logged)",
			"reason":     "planned, weather, warm_water, no_fish, tired, tackle, danger or other",
		}},
		{"/catches/" + newID().String(), `{"period": "` + period.ID.String() + `", "species": "other", "caught_at": "2026-09-01T08:00:00Z", "length": {"value": 30}}`, map[string]string{
			"length.unit": "mm, cm or in",
		}},
		{"/catches/" + newID().String(), `{"period": "` + period.ID.String() + `", "species": "other", "caught_at": "2026-09-01T08:00:00Z", "length": 30}`, map[string]string{
			"length": "is the number 30; accepted: an object with unit, value",
		}},
		{"/enrolments/" + newID().String(), `{"code": 1}`, map[string]string{
			"code": "accepted: text", "consent": "is missing; accepted: an object with adult_or_guardian, ",
		}},
	} {
		got := r.send("PUT", r.e.path("%s", c.path), c.body)
		p := got.problem(t)
		if got.status != 422 || len(p.Fields) != len(c.want) {
			t.Errorf("%s with %s answered %d %s", c.path, c.body, got.status, got.body)
		}
		for _, f := range p.Fields {
			if want, ok := c.want[f.Field]; !ok || !strings.Contains(f.Detail, want) {
				t.Errorf("%s: %s %s; want %q", c.path, f.Field, f.Detail, want)
			}
		}
	}
}

// What is sent again is answered 200, as the contract says, an enrolment too, with the receipt that it first had.
func TestEnrolmentSentAgain(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Grayling Club")
	e := c.opened(c.ruleSheet())
	ida := e.invited("angler", "Ida")
	body := text(t, openapi.NewEnrolment{Code: strings.Repeat("ab", 32), Consent: allTicks})
	path := e.path("/enrolments/%s", uuid.New())
	first, again := ida.send("PUT", path, body), ida.send("PUT", path, body)
	if first.status != 201 || again.status != 200 || string(first.body) != string(again.body) {
		t.Errorf("answered %d %s, then %d %s", first.status, first.body, again.status, again.body)
	}
}
