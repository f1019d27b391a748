package conduct_test

import (
	"encoding/json"
	"strings"
	"testing"

	"evenrig/service/trial"
)

// The register lists every registered trial of every club to anybody, abandoned ones with their reason and fish, and tells no
// names of people or waters; drafts are not in it, also when they were dropped.
func TestRegister(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	wend := w.newClub("Wend Grayling Club", 2)
	sheet := ruleSheet()
	sheet.Title = "Collar on the weighted nymph, Upper Wend"
	sheet.Question = "Does the collar that angler 1 of Wend Grayling Club ties change the share of takes?"
	e := wend.opened(sheet)
	r, _, _, period := e.inAPeriod(e.anglers[0])
	r.land(period, "C")
	r.land(period, "N")
	other := w.newClub("Mill Anglers", 1).opened(ruleSheet())
	draft := must(w.s.CreateTrial(w.ctx, wend.organiser, wend.id, ruleSheet()))(t)
	_, err := w.s.MoveTrial(w.ctx, wend.organiser, draft.Trial.ID, trial.Abandoned, "never begun")
	w.ok(err)

	before := must(w.s.Register(w.ctx, everything))(t)
	if len(before) != 2 || before[0].Trial.ID != e.trial || before[1].Trial.ID != other.trial || before[0].Fish != 0 {
		t.Fatalf("the register is %+v", before)
	}
	_, err = w.s.MoveTrial(w.ctx, wend.organiser, e.trial, trial.Abandoned, "the flood took the Mill Reach")
	w.ok(err)
	all := must(w.s.Register(w.ctx, everything))(t)
	given := all[0]
	if given.Title != "Collar on the weighted nymph, (water 1)" || given.Question != "Does the collar that (name withheld) ties change the share of takes?" ||
		given.Reason != "the flood took the (water 2)" || given.AbandonedAt == nil || given.Fish != 2 || given.Trial.Commitment.IsZero() || given.Trial.Fingerprint.IsZero() {
		t.Errorf("abandoned: %+v", given)
	}
	for _, c := range []struct {
		page trial.Page
		want []trial.ID
	}{{trial.Page{Limit: 1}, []trial.ID{e.trial}}, {trial.Page{After: e.trial, Limit: 5}, []trial.ID{other.trial}}, {trial.Page{After: other.trial, Limit: 5}, nil}} {
		got := must(w.s.Register(w.ctx, c.page))(t)
		if len(got) != len(c.want) || len(got) > 0 && got[0].Trial.ID != c.want[0] {
			t.Errorf("page %+v: %+v, want %v", c.page, got, c.want)
		}
	}
	// The caller writes title, question, reason, dates and check codes; none of these names anybody.
	text, err := json.Marshal([]string{given.Title, given.Question, given.Reason, all[1].Title, all[1].Question, all[1].Reason})
	w.ok(err)
	for _, name := range []string{"Upper Wend", "Mill Reach", "angler 1 of", "secretary", "founder"} {
		if strings.Contains(string(text), name) {
			t.Errorf("the register tells %q: %s", name, text)
		}
	}
}
