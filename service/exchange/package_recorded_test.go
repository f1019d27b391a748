package exchange

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// playRecorded is a trial whose fish came from an imported table: no draw, no units, no chain but the organiser's.
func playRecorded(t testing.TB) *played {
	t.Helper()
	w := &played{t: t, random: rand.New(rand.NewPCG(5, 9)), now: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC), heads: map[trial.ID]trial.Head{}, moved: map[trial.ID]bool{}}
	p := kitProtocol()
	p.Source, p.Subgroups = trial.Recorded, []string{"light"}
	canonical := w.canon(p)
	now := w.now
	w.source = Source{
		Trial:    trial.Trial{ID: w.id(7), Title: p.Title, State: trial.Registered, Design: p.Design, Source: p.Source, ProtocolVersion: 1, Fingerprint: sha256.Sum256(canonical), RegisteredAt: &now},
		Protocol: p, Versions: []SourceVersion{{N: 1, At: now, Protocol: p, Canonical: canonical}},
	}
	plan := sha256.Sum256(w.canon(p.Published()))
	w.organisers(trial.LedgerState, fieldsOf{"from": trial.Draft, "to": trial.Registered, "at": now, "protocol": w.source.Trial.Fingerprint, "commitment": trial.Digest{}, "scheme": 0, "plan": trial.Digest(plan)})
	w.source.Changes = append(w.source.Changes, trial.StateChange{At: now, From: trial.Draft, To: trial.Registered})
	w.checkpoint()
	w.state(trial.Registered, trial.Open)
	w.organisers(trial.LedgerImport, fieldsOf{"file": trial.Digest(sha256.Sum256([]byte("a table"))), "rows": 180, "anglers": 5})
	for i := range 5 {
		e := trial.Enrolment{TrialID: w.source.Trial.ID, ID: w.id(4), ChainID: w.source.Trial.ID, Pseudonym: trial.Pseudonym([6]byte{byte(i), 1, 2, 3, 4, 5})}
		r := trial.Records{Enrolment: e}
		for day := range 3 {
			at := time.Date(2025, 9, 1+7*day, 0, 0, 0, 0, time.UTC)
			o := trial.Outing{ID: w.id(4), EnrolmentID: e.ID, StartedAt: at}
			r.Outings = append(r.Outings, o)
			for half := 1; half <= 2; half++ {
				period := trial.Period{ID: w.id(4), EnrolmentID: e.ID, OutingID: o.ID, Block: "1", Half: half, Confirmed: true, Fished: []trial.Arrangement{trial.TestLower, trial.ControlLower}[(half+day)%2], StartedAt: at}
				r.Periods = append(r.Periods, period)
				for range 6 {
					c := trial.Catch{
						ID: w.id(4), PeriodID: period.ID, TakenPattern: []string{"C", "N"}[w.random.IntN(2)], Outcome: trial.Landed, RigIntact: true, Species: "Thymallus thymallus", Origin: trial.UnknownOrigin,
						CaughtAt: at, NotedAt: at, WaterType: "river", Fly: "tungsten", Further: trial.NewFurther(map[string]string{"light": []string{"dull", "bright"}[day%2], "who": "Wilma Rook"}),
					}
					if w.random.IntN(9) == 0 {
						c.Reason = trial.Double
					}
					r.Catches = append(r.Catches, c)
				}
			}
		}
		w.anglers = append(w.anglers, SourceAngler{Records: r})
	}
	w.state(trial.Open, trial.Closed)
	w.state(trial.Closed, trial.Locked)
	w.source.Trial.Seed = nil
	w.closeRecorded()
	return w
}

func (w *played) closeRecorded() {
	in := analysis.InputOf(w.source.Protocol)
	for _, a := range w.anglers {
		tallies, effort := a.Records.Count(w.source.Protocol)
		in.Tallies, in.Effort = append(in.Tallies, tallies...), in.Effort.Add(effort)
	}
	w.closeWith(in)
}

// An imported trial is published with everything but what its chains could prove.
func TestARecordedTrialIsPublished(t *testing.T) {
	w := playRecorded(t)
	archive := written(t, w.publish())
	p := readBack(t, archive)
	v := agreed(t, p)
	if !bytes.Equal(p.Result, w.source.Closing.Result) {
		t.Error("the result is another one")
	}
	if !slices.ContainsFunc(v.Findings, func(f Finding) bool { return f.Part == partRecords && f.Outcome == CannotTell }) {
		t.Errorf("it is not said that the rows cannot be proven:\n%s", told(v))
	}
	if text := fmt.Sprint(filesOf(t, archive)); bytes.Contains([]byte(text), []byte("Wilma Rook")) {
		t.Error("a column that no subgroup names is published")
	}
	u := unpack(t, p)
	i := slices.IndexFunc(u.fish, func(f Fish) bool { return f.Exclusion == trial.Analysed && f.TakenPattern == "C" })
	u.fish[i].TakenPattern, u.fish[i].Taken = "N", trial.TookControl
	if v := verified(t, readBack(t, u.pack(t))); v.Agrees() {
		t.Error("a changed fish is not found by the result")
	}
}
