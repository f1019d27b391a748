package report

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// The wording rule for evidence, with the value of the worked example of 12 rounds (its conditional evidence is 176.4635).
func TestEvidenceWords(t *testing.T) {
	r := analysis.Result{Monitoring: &analysis.Monitoring{Evidence: &analysis.Evidence{Threshold: 20, Draw: at(176.4635)}, SequenceShareLow: at(.533), SequenceShareHigh: at(.841)}}
	said := strings.Join(evidence(r), " ")
	for _, want := range []string{
		"evidence 176 to 1 against 'no difference for anyone', valid whenever we looked", "20 to 1, and it is reached", "53 to 84 of 100",
		`"no effect for any angler"`, "a share common to all",
	} {
		if !strings.Contains(said, want) {
			t.Errorf("%q lacks %q", said, want)
		}
	}
	for _, c := range []struct {
		e    *float64
		want string
	}{
		{at(19.999), "19 to 1"},
		{at(20), "20 to 1"},
		{at(1.99), "1.9 to 1"},
		{at(.999), "0.99 to 1"},
		{at(.0001), "under 0.01 to 1"},
		{at(0), "under 0.01 to 1"},
		{at(12345.9), "12\u202f345 to 1"},
		{at(4e8), "over 1\u202f000\u202f000 to 1"},
		{nil, Missing},
		{at(math.NaN()), Missing},
		{at(math.Inf(1)), Missing},
	} {
		if got := To1(c.e); got != c.want {
			t.Errorf("%v is said as %q, want %q", c.e, got, c.want)
		}
	}
	short := analysis.Result{Monitoring: &analysis.Monitoring{Evidence: &analysis.Evidence{Threshold: 20, Draw: at(19.999)}}}
	if said := strings.Join(evidence(short), " "); !strings.Contains(said, "is not reached") {
		t.Errorf("evidence just under its mark is said as %q", said)
	}
}

// An early stop is said with what it does to plain numbers, and that the numbers given allow for it.
func TestEarlyStopIsSaid(t *testing.T) {
	r := analysis.Result{Monitoring: &analysis.Monitoring{
		Rule: trial.GroupSequential, Decision: trial.Stop, Adjusted: &analysis.AdjustedResult{}, Looks: []analysis.MonitoredLook{{N: 1}}, Planned: 3,
	}}
	if said := stopped(r); !strings.Contains(said, "overstate") || !strings.Contains(said, "allow for that") {
		t.Errorf("an early stop is said as %q", said)
	}
	if said := stopped(analysis.Result{}); said != "" {
		t.Errorf("a trial without planned counts says %q", said)
	}
}

// "No difference" is never said but in the name of what the evidence speaks against.
func TestNeverNoDifference(t *testing.T) {
	quoted := regexp.MustCompile(`['‘]no difference for anyone['’]`)
	banned := regexp.MustCompile(`(?i)no differen|\bproves?\b|proven|significan|ranking`)
	for _, x := range examples(t) {
		var b strings.Builder
		if err := Text(&b, x.result, x.about); err != nil {
			t.Fatal(err)
		}
		for form, page := range map[string]string{"text": b.String(), "page": parse(t, render(t, x.result, x.about)).text()} {
			page = quoted.ReplaceAllString(strings.Join(strings.Fields(page), " "), "")
			if found := banned.FindString(page); found != "" {
				i := strings.Index(page, found)
				t.Errorf("%s, %s: %q", x.name, form, page[max(0, i-60):min(len(page), i+60)])
			}
		}
	}
}

// Where there is evidence or a sequence of intervals, its limit stands with it, in both forms; evidence has its mark.
func TestEvidenceHasItsLimit(t *testing.T) {
	seen := 0
	for _, x := range examples(t) {
		if len(evidence(x.result)) == 0 {
			continue
		}
		seen++
		var b strings.Builder
		if err := Text(&b, x.result, x.about); err != nil {
			t.Fatal(err)
		}
		for form, page := range map[string]string{"text": b.String(), "page": parse(t, render(t, x.result, x.about)).text()} {
			page = strings.Join(strings.Fields(page), " ")
			if !strings.Contains(page, evidenceLimit) {
				t.Errorf("%s, %s: the limit of the evidence is not said", x.name, form)
			}
			if x.result.Monitoring.EValue != nil && !strings.Contains(page, "The mark to be reached is 20 to 1") {
				t.Errorf("%s, %s: the mark is not said", x.name, form)
			}
		}
	}
	if seen < 3 {
		t.Errorf("only %d examples have evidence", seen)
	}
}
