package trial_test

import (
	"testing"

	"evenrig/service/trial"
)

// Whole names go, in any case, longer ones first; words that only hold a name stay.
func TestVeil(t *testing.T) {
	names := map[string]string{"Wend": "(water 1)", "Upper Wend": "(water 2)", "Jo Alder": "(name withheld)", "Ærø": "(water 3)", "": "nothing", " ": "nothing"}
	for text, want := range map[string]string{
		"":                                    "",
		"Does the Upper Wend tell, or Wend?":  "Does the (water 2) tell, or (water 1)?",
		"UPPER WEND":                          "(water 2)",
		"Wendish flies, a Wendy, unwend":      "Wendish flies, a Wendy, unwend",
		"Jo Alder's nymph; by jo alder":       "(name withheld)'s nymph; by (name withheld)",
		"Jo Alderson and Jo  Alder":           "Jo Alderson and Jo  Alder",
		"på ÆRØ, not Ærøskøbing":              "på (water 3), not Ærøskøbing",
		"the Upper Wend, Upper Wend and Wend": "the (water 2), (water 2) and (water 1)",
	} {
		if got := trial.Veil(text, names); got != want {
			t.Errorf("%q is veiled as %q, want %q", text, got, want)
		}
	}
}

// A registration carries the reason and the fish of an abandoned trial only, and names nobody.
func TestRegistration(t *testing.T) {
	p := complete()
	p.Waters = []trial.Water{{Name: "Upper Wend", WaterType: "river"}}
	p.Title, p.Question = "A collar on the Upper Wend", "Does Jo Alder's collar take more?"
	running := trial.NewRegistration(trial.Trial{ID: madeUp(1), State: trial.Open}, p, []trial.StateChange{{To: trial.Open, Reason: "Jo Alder is back"}}, []string{"Jo Alder"}, 17)
	if running.Title != "A collar on the (water 1)" || running.Question != "Does (name withheld)'s collar take more?" || running.Reason != "" || running.Fish != 0 || running.AbandonedAt != nil {
		t.Errorf("running: %+v", running)
	}
	given := trial.NewRegistration(trial.Trial{ID: madeUp(1), State: trial.Abandoned}, p, []trial.StateChange{{To: trial.Open}, {To: trial.Abandoned, At: noon, Reason: "Jo Alder fell in"}}, []string{"Jo Alder"}, 17)
	if given.Reason != "(name withheld) fell in" || given.Fish != 17 || given.AbandonedAt == nil || !given.AbandonedAt.Equal(noon) {
		t.Errorf("abandoned: %+v", given)
	}
}
