package trial_test

import (
	"errors"
	"testing"
	"time"

	"evenrig/service/trial"
)

func TestCardsAreBounded(t *testing.T) {
	half := trial.PaperHalf{StartedAt: noon}
	round := func(halves ...trial.PaperHalf) trial.PaperRound { return trial.PaperRound{Halves: halves} }
	id := madeUp(1)
	for name, c := range map[string]struct {
		number int
		card   trial.PaperCard
		want   []string
	}{
		"a blank day":             {1, trial.PaperCard{WrittenAt: noon}, nil},
		"a round":                 {99_999, trial.PaperCard{WrittenAt: noon, Rounds: []trial.PaperRound{round(half, half)}}, nil},
		"no number":               {0, trial.PaperCard{WrittenAt: noon}, []string{"number"}},
		"too long a number":       {100_000, trial.PaperCard{WrittenAt: noon}, []string{"number"}},
		"never written":           {1, trial.PaperCard{}, []string{"written_at"}},
		"written the day after":   {1, trial.PaperCard{WrittenAt: noon.Add(25 * time.Hour)}, []string{"written_at"}},
		"a round without halves":  {1, trial.PaperCard{WrittenAt: noon, Rounds: []trial.PaperRound{round()}}, []string{"rounds[0].halves"}},
		"a round of three halves": {1, trial.PaperCard{WrittenAt: noon, Rounds: []trial.PaperRound{round(half), round(half, half, half)}}, []string{"rounds[1].halves"}},
		"too many rounds":         {1, trial.PaperCard{WrittenAt: noon, Rounds: make([]trial.PaperRound, 21)}, nil},
		"a unit and a slip":       {1, trial.PaperCard{WrittenAt: noon, Rounds: []trial.PaperRound{{Unit: &id, Slip: 3, Halves: []trial.PaperHalf{half}}}}, []string{"rounds[0].unit"}},
		"too many fish":           {1, trial.PaperCard{WrittenAt: noon, Rounds: []trial.PaperRound{round(trial.PaperHalf{Fish: make([]trial.PaperFish, 61)})}}, []string{"rounds[0].halves[0].fish"}},
	} {
		t.Run(name, func(t *testing.T) {
			if name == "too many rounds" {
				if got := faultsIn(t, c.card.Check(c.number, noon)); got[0] != "rounds" {
					t.Errorf("faults %q", got)
				}
				return
			}
			wantFaults(t, c.card.Check(c.number, noon), c.want...)
		})
	}
}

// A path is put before what an error names; who caused it stays what it was.
func TestAt(t *testing.T) {
	if trial.At("outing", nil) != nil {
		t.Error("no error became one")
	}
	var f trial.Faults
	f.Add("water", "is dry")
	wantFaults(t, trial.At("outing", f.Err("outing.invalid", "the outing has faults")), "outing.water")
	wantKind(t, trial.At("rounds[1]", trial.Fail(trial.Conflict, "unit.order", "later")), trial.Conflict, "unit.order")
	cause := errors.New("the disk is full")
	if err := trial.At("outing", cause); !errors.Is(err, cause) || trial.KindOf(err) != trial.Internal {
		t.Errorf("a failure became %v", err)
	}
}

// A fish of a card is late when it was written down late, as any other, or when the card took more than 30 days (the trial's
// paper rule).
func TestLateCards(t *testing.T) {
	p := complete() // the limit is 72 hours
	for _, c := range []struct {
		card     int
		written  time.Duration // after the fish
		received time.Duration // after writing
		late     int64
	}{
		{12, time.Hour, 30 * 24 * time.Hour, 0},
		{12, time.Hour, 30*24*time.Hour + time.Second, 1},
		{12, 73 * time.Hour, time.Hour, 1},
		{0, time.Hour, 60 * 24 * time.Hour, 0}, // a phone's fish is never late because it arrives late
	} {
		outing := trial.Outing{ID: madeUp(1), Card: c.card, StartedAt: noon}
		period := trial.Period{ID: madeUp(2), OutingID: outing.ID, StartedAt: noon, Confirmed: true, Fished: trial.TestLower}
		fish := trial.Catch{ID: madeUp(3), PeriodID: period.ID, Outcome: trial.Landed, CaughtAt: noon, NotedAt: noon.Add(c.written), ReceivedAt: noon.Add(c.written + c.received)}
		_, effort := trial.Records{Outings: []trial.Outing{outing}, Periods: []trial.Period{period}, Catches: []trial.Catch{fish}}.Count(p)
		if effort.LateNoted != c.late || (effort.Cards == 1) != (c.card != 0) {
			t.Errorf("%+v: %+v", c, effort)
		}
	}
	closed := trial.Trial{ClosedAt: ptr(noon)}
	wantKind(t, closed.AwaitsCards(noon.Add(trial.PaperTime-1)), trial.Conflict, "trial.too_early")
	if err := closed.AwaitsCards(noon.Add(trial.PaperTime)); err != nil {
		t.Error(err)
	}
}
