package conduct_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

var (
	serverMade  = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}`)
	madeWithIDs = regexp.MustCompile(`"(SealedSeed|Hash)":"[^"]*"`)
)

// said is everything that people who did not catch the fish can get out of the server, one line an answer.
func said(w *world, e *contest, at target) []string {
	var lines []string
	note := func(who, what string, answer any, err error) {
		if list, ok := answer.([]trial.Checkpoint); ok {
			// A checkpoint is a hash over salted hashes; without the salts it tells nothing of the records.
			for i := range list {
				list[i].Root, list[i].Hash = trial.Digest{}, trial.Digest{}
			}
		}
		text, failed := json.Marshal(answer)
		if failed != nil {
			w.t.Fatal(failed)
		}
		line := fmt.Sprintf("%s, %s: %s %v", who, what, text, err)
		// Ids that the server made hold the time of day.
		line = serverMade.ReplaceAllStringFunc(line, func(id string) string {
			if strings.HasPrefix(id, "01900000-0000-7000-8000-") {
				return id
			}
			return "an id"
		})
		// The sealed seed and the hash of an enrolment's receipt depend on the trial's id, made by the server.
		line = madeWithIDs.ReplaceAllString(line, `"$1":"…"`)
		lines = append(lines, line)
	}
	names := make([]string, 0, len(calls))
	for name := range calls {
		if name != "MoveTrial" && name != "Withdraw" {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	for _, who := range []struct {
		role  string
		actor trial.Actor
	}{
		{"organiser", e.organiser}, {"founder", e.founder}, {"auditor", e.eyes}, {"other angler", e.anglers[1]}, {"member", e.anglers[2]}, {"admin", w.newAdmin("admin")},
	} {
		for _, name := range names {
			answer, err := calls[name](w, who.actor, at)
			note(who.role, name, answer, err)
		}
	}
	w.ok(w.s.Checkpoint(w.ctx))
	checked, err := w.s.Check(w.ctx)
	note("server", "Check", checked, err)
	note("server", "Analyse", nil, w.s.Analyse(w.ctx, e.trial, 1))
	return lines
}

// While a drawn trial is not locked, nobody but the angler who caught a fish learns which pattern it took or anything
// that follows from it. Two copies of one trial are played that differ in nothing but the flies taken; whatever anybody
// else asks, the two give the same answers, in every state until locking.
func TestSplitIsHidden(t *testing.T) {
	t.Parallel()
	play := func(flies func(n int) string, position trial.Position, to ...trial.State) []string {
		w := newWorld(t)
		e := w.newClub("Wend Grayling Club", 3).opened(ruleSheet())
		r, outing, unit, period := e.inAPeriod(e.anglers[0])
		other, _, _, otherPeriod := e.inAPeriod(e.anglers[1])
		var fish []trial.Catch
		for n := range 6 {
			fish = append(fish, r.land(period, flies(n)))
			other.land(otherPeriod, "unknown")
			w.clock.move(time.Minute)
		}
		byPlace := r.fish(period, "")
		byPlace.TakenPosition = position
		must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, byPlace))(t)
		// Corrections from one fly to the other, a void one, a period turned round.
		must(w.s.AmendCatch(w.ctx, r.actor, e.trial, fish[0].ID, patchOf(t, 1, map[string]any{"taken_pattern": map[string]string{"C": "N", "N": "C"}[flies(0)]})))(t)
		must(w.s.AmendCatch(w.ctx, r.actor, e.trial, fish[1].ID, patchOf(t, 1, map[string]any{"void": true})))(t)
		d := trial.Deviation{ID: w.id(), OutingID: outing, PeriodID: period, Kind: trial.WrongWayRound, FromAt: w.clock.read()}
		must(w.s.ReportDeviation(w.ctx, r.actor, e.trial, d))(t)
		r.swap(period)
		second := r.begin(outing, unit, 2)
		for n := range 4 {
			r.land(second, flies(n+6))
		}
		// A dispute about one of the fish, decided, and one about the other angler's outing.
		filed := must(w.s.FileDispute(w.ctx, e.eyes, e.trial, fish[2].ID, "hooked on the walk back"))(t)
		for _, who := range []trial.Actor{e.organiser, e.anglers[2]} {
			must(w.s.DecideDispute(w.ctx, who, e.trial, filed.Dispute.ID, trial.DisputeDecision{Decision: trial.Exclude, Reason: "not a cast of the trial"}))(t)
		}
		must(w.s.AmendCatch(w.ctx, r.actor, e.trial, fish[3].ID, patchOf(t, 1, map[string]any{"welfare": []string{"dead"}})))(t)
		must(w.s.MeasureWater(w.ctx, r.actor, e.trial, trial.Temperature{ID: w.id(), OutingID: outing, At: w.clock.read(), Water: trial.Measure{Value: 19, Unit: "C"}}))(t)
		i, _, err := w.s.Invite(w.ctx, e.organiser, e.id, trial.Angler, 5, "")
		w.ok(err)
		for _, state := range to {
			e.move(state)
		}
		at := target{club: e.id, trial: e.trial, outing: outing, unit: unit, period: period, catch: fish[0].ID, deviation: d.ID, invitation: i.ID, analysis: 1, dispute: filed.Dispute.ID}
		return said(w, e, at)
	}
	all := func(code string) func(int) string { return func(int) string { return code } }
	mixed := func(n int) string { return []string{"C", "N"}[n%2] }
	for name, states := range map[string][]trial.State{"open": nil, "paused": {trial.Paused}, "closed": {trial.Closed}, "abandoned": {trial.Abandoned}} {
		t.Run(name, func(t *testing.T) {
			want := play(all("C"), trial.Lower, states...)
			for _, got := range [][]string{play(all("N"), trial.Upper, states...), play(mixed, trial.Upper, states...)} {
				if len(got) != len(want) {
					t.Fatalf("%d answers, %d", len(got), len(want))
				}
				for i := range want {
					if got[i] != want[i] {
						t.Errorf("the answer depends on the flies taken:\n%s\n%s", want[i], got[i])
					}
				}
			}
			if len(want) < 200 {
				t.Errorf("only %d answers were compared", len(want))
			}
		})
	}
}

// The same questions do tell the two copies apart once the trial is locked: the comparison above can fail.
func TestSplitIsShownAfterLocking(t *testing.T) {
	t.Parallel()
	play := func(code string) (string, string) {
		w := newWorld(t)
		e := w.newClub("Wend Grayling Club", 3).opened(ruleSheet())
		e.season(func(int) string { return code })
		e.lock()
		w.ok(w.s.Analyse(w.ctx, e.trial, 1))
		var table bytes.Buffer
		w.ok(w.s.ExportCatches(w.ctx, e.eyes, e.trial, &table))
		a := must(w.s.Analysis(w.ctx, e.anglers[2], e.trial, 1))(t)
		return table.String(), string(a.Result)
	}
	tableC, resultC := play("C")
	tableN, resultN := play("N")
	if tableC == tableN || resultC == resultN {
		t.Error("after locking the answers are still the same")
	}
}

// An analysis is not due before locking, and the catch table is not to be had.
func TestNothingIsDueWhileHidden(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	for _, state := range []trial.State{"", trial.Paused, trial.Closed} {
		if state != "" {
			e.move(state)
		}
		_, err := w.s.RequestAnalysis(w.ctx, e.organiser, e.trial)
		wantKind(t, err, trial.Conflict, "look.not_due")
		var table bytes.Buffer
		err = w.s.ExportCatches(w.ctx, e.organiser, e.trial, &table)
		if table.Len() > 0 {
			t.Errorf("written beside the refusal: %s", &table)
		}
		wantKind(t, err, trial.Conflict, "trial.hidden")
		if view := must(w.s.Trial(w.ctx, e.organiser, e.trial))(t); view.Trial.Seed != nil {
			t.Errorf("%s: the seed is shown", view.Trial.State)
		}
	}
	_, err := w.s.MoveTrial(w.ctx, e.organiser, e.trial, trial.Locked, "")
	wantKind(t, err, trial.Conflict, "trial.too_early")
}
