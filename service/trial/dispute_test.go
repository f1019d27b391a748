package trial_test

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// Two people decide blind, before unmasking; that both must agree before anything is left out is common practice, no source.
func TestTwoDecide(t *testing.T) {
	made := func(words ...string) (list []trial.DisputeDecision) {
		for i, w := range words {
			list = append(list, trial.DisputeDecision{N: i + 1, Decision: w, By: madeUp(20 + i)})
		}
		return list
	}
	for _, c := range []struct {
		decisions []trial.DisputeDecision
		outcome   string
	}{
		{nil, trial.Undecided},
		{made(trial.Exclude), trial.Undecided},
		{made(trial.Exclude, trial.Exclude), trial.Exclude},
		{made(trial.Keep, trial.Keep), trial.Keep},
		{made(trial.Exclude, trial.Keep), trial.Disagreed},
		{made(trial.Keep, trial.Exclude), trial.Disagreed},
	} {
		if got := (trial.Dispute{Decisions: c.decisions}).Outcome(); got != c.outcome {
			t.Errorf("%v: %s, want %s", c.decisions, got, c.outcome)
		}
	}
	owner, typist, filer, other, third := madeUp(1), madeUp(2), madeUp(3), madeUp(4), madeUp(5)
	involved := []trial.ID{owner, typist}
	for name, c := range map[string]struct {
		by        trial.ID
		decisions []trial.DisputeDecision
		code      string // empty: may
	}{
		"another":           {other, nil, ""},
		"the second":        {other, []trial.DisputeDecision{{By: third}}, ""},
		"the angler":        {owner, nil, "dispute.involved"},
		"who typed it":      {typist, nil, "dispute.involved"},
		"who filed":         {filer, nil, "dispute.involved"},
		"the same again":    {other, []trial.DisputeDecision{{By: other}}, "dispute.decided"},
		"a third":           {other, []trial.DisputeDecision{{By: third}, {By: madeUp(6)}}, "dispute.decided"},
		"the first's again": {third, []trial.DisputeDecision{{By: third}, {By: madeUp(6)}}, "dispute.decided"},
	} {
		err := trial.Dispute{FiledBy: filer, Decisions: c.decisions}.Decides(c.by, involved)
		if c.code == "" && err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if c.code != "" {
			wantKind(t, err, trial.Conflict, c.code)
		}
	}
	for _, state := range []trial.State{trial.Open, trial.Paused, trial.Closed, trial.Abandoned, trial.Locked, trial.Published} {
		locked := state == trial.Locked || state == trial.Published
		if err := (trial.Trial{State: state, Source: trial.Drawn}).Disputes(); (err != nil) != locked {
			t.Errorf("%s: %v", state, err)
		}
	}
	wantKind(t, trial.Trial{State: trial.Open, Source: trial.Recorded}.Disputes(), trial.Conflict, "trial.recorded")
}

func TestDisputeAsSent(t *testing.T) {
	wantFaults(t, trial.Dispute{Subject: madeUp(1), Words: "hooked on the walk back"}.Check())
	wantFaults(t, trial.Dispute{Words: "no"}.Check(), "subject", "words")
	wantFaults(t, trial.DisputeDecision{Decision: trial.Keep, Reason: "it was a fair cast"}.Check())
	wantFaults(t, trial.DisputeDecision{Decision: "maybe", Reason: strings.Repeat("x", 501)}.Check(), "decision", "reason")
}

// What those who decide are told is the same whatever fly every fish took, wherever it hung and whichever way round the rig was.
func TestFactsTellNoFly(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		r := anglersRecords(rt)
		other := r
		other.Catches = append([]trial.Catch{}, r.Catches...)
		other.Periods = append([]trial.Period{}, r.Periods...)
		for i := range other.Catches {
			other.Catches[i].TakenPattern = rapid.SampledFrom([]string{"C", "N", "unknown", "other"}).Draw(rt, "fly")
			other.Catches[i].TakenPosition = ""
			other.Catches[i].Welfare, other.Catches[i].Note = "dead", "took the orange one"
		}
		for i := range other.Periods {
			other.Periods[i].Fished, other.Periods[i].Drawn = other.Periods[i].Fished.Other(), other.Periods[i].Drawn.Other()
		}
		p := complete()
		for i := range r.Catches {
			if a, b := r.FactsOfCatch(p, r.Catches[i]), other.FactsOfCatch(p, other.Catches[i]); !reflect.DeepEqual(a, b) {
				rt.Errorf("facts of a fish depend on the fly: %+v, %+v", a, b)
			}
		}
		for _, o := range r.Outings {
			if a, b := r.FactsOfOuting(p, o), other.FactsOfOuting(p, o); !reflect.DeepEqual(a, b) {
				rt.Errorf("facts of an outing depend on the flies: %+v, %+v", a, b)
			}
		}
	})
}

// A disputed outing takes all its fish along, a disputed fish only itself; nothing else changes.
func TestDisputedFishAreLeftOut(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		r := anglersRecords(rt)
		if len(r.Catches) == 0 {
			return
		}
		i := rapid.IntRange(0, len(r.Catches)-1).Draw(rt, "fish")
		outing := map[trial.ID]trial.ID{}
		for _, p := range r.Periods {
			outing[p.ID] = p.OutingID
		}
		j := rapid.IntRange(0, len(r.Outings)-1).Draw(rt, "outing")
		left := r
		left.Catches = append([]trial.Catch{}, r.Catches...)
		left.Outings = append([]trial.Outing{}, r.Outings...)
		left.Catches[i].Disputed, left.Outings[j].Disputed = true, true
		tallies, _ := left.Count(complete())
		var got, want, alone, analysed int64 // alone: left out by nothing else
		for _, tally := range tallies {
			if tally.Exclusion == trial.Disputed {
				got += tally.N
			}
			if tally.DisputedOnly {
				alone += tally.N
			}
			if tally.Exclusion == trial.Analysed {
				analysed += tally.N
			}
		}
		undisputed, _ := r.Count(complete())
		for _, tally := range undisputed {
			if tally.Exclusion == trial.Analysed {
				analysed -= tally.N
			}
		}
		if alone != -analysed {
			rt.Errorf("%d fish are left out by disputes alone; %d are analysed without them", alone, -analysed)
		}
		for k, c := range r.Catches {
			if (k == i || outing[c.PeriodID] == r.Outings[j].ID) && !c.Void {
				want++
			}
		}
		if got != want {
			rt.Errorf("%d fish are disputed, want %d", got, want)
		}
	})
}

func TestWhoKnowsTheFly(t *testing.T) {
	r := trial.Records{
		Enrolment: trial.Enrolment{AccountID: madeUp(1)},
		Periods:   []trial.Period{{ID: madeUp(6), OutingID: madeUp(4)}, {ID: madeUp(7), OutingID: madeUp(5)}},
		Catches: []trial.Catch{
			{ID: madeUp(100), PeriodID: madeUp(6), NotedBy: madeUp(2)},
			{ID: madeUp(101), PeriodID: madeUp(6), NotedBy: madeUp(1)},
			{ID: madeUp(102), PeriodID: madeUp(7), NotedBy: madeUp(3)},
		},
	}
	for subject, want := range map[trial.ID][]trial.ID{
		madeUp(100): {madeUp(1), madeUp(2)}, madeUp(101): {madeUp(1)}, madeUp(4): {madeUp(1), madeUp(2)}, madeUp(5): {madeUp(1), madeUp(3)},
	} {
		if got := r.Involved(trial.Dispute{Subject: subject}); !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %v, want %v", subject, got, want)
		}
	}
}

// What lies outside the season, or comes once the trial has its fish, is said and never refused.
func TestPastItsEnd(t *testing.T) {
	p := complete() // from 1 September to 30 November, 400 fish
	for _, c := range []struct {
		at       time.Time
		analysed int64
		want     string
	}{
		{noon, 0, ""},
		{noon, 399, ""},
		{noon, 400, "fish.enough"},
		{noon, 1000, "fish.enough"},
		{time.Date(2026, 8, 31, 23, 59, 0, 0, time.UTC), 0, "season.before"},
		{time.Date(2026, 9, 1, 0, 0, 0, 0, time.UTC), 0, ""},
		{time.Date(2026, 11, 30, 23, 59, 0, 0, time.UTC), 0, ""},
		{time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC), 0, "season.over"},
		{time.Date(2026, 11, 30, 23, 0, 0, 0, time.UTC).In(time.FixedZone("", 3*3600)), 0, "season.over"}, // by the phone's date
		{time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC), 400, "season.over fish.enough"},
	} {
		var got []string
		for _, w := range (trial.Outing{StartedAt: c.at}).PastItsEnd(p, c.analysed) {
			got = append(got, w.Code)
		}
		if text := strings.Join(got, " "); text != c.want {
			t.Errorf("%s with %d fish: %q, want %q", c.at, c.analysed, text, c.want)
		}
	}
	p.EndRule = []string{"date"}
	if w := (trial.Outing{StartedAt: noon}).PastItsEnd(p, 1000); len(w) > 0 {
		t.Errorf("a trial that ends by date alone warns of its fish: %v", w)
	}
}

// An outing's corrected times hold its periods, and one that was fished was not opened by mistake.
func TestCorrectedOutingHoldsItsPeriods(t *testing.T) {
	period := trial.Period{ID: madeUp(6), StartedAt: noon.Add(time.Hour)}
	o := trial.Outing{ID: madeUp(4), StartedAt: noon, End: &trial.OutingEnd{EndedAt: noon.Add(3 * time.Hour)}}
	if err := o.Holds([]trial.Period{period}); err != nil {
		t.Error(err)
	}
	late := o
	late.StartedAt = noon.Add(2 * time.Hour)
	wantKind(t, late.Holds([]trial.Period{period}), trial.Conflict, "outing.periods")
	short := o
	short.End = &trial.OutingEnd{EndedAt: noon.Add(time.Minute)}
	wantKind(t, short.Holds([]trial.Period{period}), trial.Conflict, "outing.periods")
	void := o
	void.Void = true
	wantKind(t, void.Holds([]trial.Period{period}), trial.Conflict, "outing.fished")
	if err := void.Holds(nil); err != nil {
		t.Error(err)
	}
	tallies, effort := trial.Records{Outings: []trial.Outing{void, o}}.Count(complete())
	if len(tallies) != 0 || effort.Outings != 1 || effort.BlankOutings != 1 {
		t.Errorf("an outing opened by mistake is no blank one: %+v", effort)
	}
}

// The signs of harm are a set, kept in one way.
func TestSignsOfHarm(t *testing.T) {
	if got := trial.JoinWelfare([]string{"dead", "bleeding", "dead"}); got != "bleeding+dead" {
		t.Errorf("joined %q", got)
	}
	if got := trial.WelfareSigns("bleeding+dead"); !reflect.DeepEqual(got, []string{"bleeding", "dead"}) {
		t.Errorf("signs %q", got)
	}
	if got := trial.WelfareSigns(trial.JoinWelfare(nil)); got == nil || len(got) != 0 {
		t.Errorf("none: %#v", got)
	}
	f := goodFish()
	for signs, want := range map[string][]string{"": nil, "dead": nil, "bleeding+dead+deep_hooked": nil, "limping": {"welfare"}, "dead+": {"welfare"}} {
		f.catch.Welfare = signs
		wantFaults(t, f.catch.Check(f.protocol, noon.Add(time.Hour)), want...)
	}
}
