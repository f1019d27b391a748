package trial_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

func TestMendedC1Controls(t *testing.T) {
	p := complete()
	p.Title = "Collar \u009b2Jnymph"
	if got := faultsIn(t, p.Validate()); !slices.Contains(got, "title") {
		t.Errorf("a C1 control (U+009B) in the title: faults %q", got)
	}
}

func TestMendedBlankTexts(t *testing.T) {
	p := complete()
	p.Title, p.Question = "     ", strings.Repeat("\n", 20)
	if got := faultsIn(t, p.Validate()); !slices.Contains(got, "title") || !slices.Contains(got, "question") {
		t.Errorf("blank title and question: faults %q", got)
	}
	if trial.CheckName("name", " ") == nil {
		t.Error("a name of one blank is accepted")
	}
	if inState(trial.Open).Move(trial.Abandoned, "     ", p, noon) == nil {
		t.Error("abandoned for a reason of five blanks")
	}
	if trial.CheckReason("   ") == nil {
		t.Error("corrected for a reason of three blanks")
	}
}

func TestMendedReasonCountedInBytes(t *testing.T) {
	if inState(trial.Open).Move(trial.Abandoned, "äöü", complete(), noon) == nil {
		t.Error("abandoned for a reason of 3 characters")
	}
}

func TestMendedMinusOneInFahrenheit(t *testing.T) {
	if got, err := (trial.Measure{Value: 30.2, Unit: "F"}).TenthsC(); err != nil || got != -10 {
		t.Errorf("30.2 F = -1 C: %d, %v", got, err)
	}
}

func TestMendedTwoReportsOfOneThing(t *testing.T) {
	f := goodFish()
	at := noon.Add(time.Minute)
	twice := []trial.Deviation{
		{ID: madeUp(1), Kind: trial.WrongWayRound, PeriodID: f.period.ID, FromAt: at},
		{ID: madeUp(2), Kind: trial.WrongWayRound, PeriodID: f.period.ID, FromAt: at.Add(time.Minute)},
	}
	if got := f.period.ArrangementAt(noon.Add(10*time.Minute), twice); got != trial.ControlLower {
		t.Errorf("reported twice as the wrong way round: %s", got)
	}
}

func TestMendedRecordedSpecies(t *testing.T) {
	f := goodFish()
	f.protocol.Source = trial.Recorded
	f.catch.Species = "Salmo trutta"
	if got := f.excluded(); got != trial.WrongSpecies {
		t.Errorf("a trout in a recorded grayling trial: %q", got)
	}
}

func TestMendedTooShortCountsTowardSwap(t *testing.T) {
	p := complete()
	p.MinLengthMM = 250
	c := goodFish().catch
	c.Length = &trial.Measure{Value: 12, Unit: "cm"}
	if c.CountsTowardSwap(p) {
		t.Error("a fish under the length floor counts toward the swap")
	}
}

func TestMendedAfterThePeriod(t *testing.T) {
	f := goodFish()
	f.period.End = &trial.PeriodEnd{EndedAt: noon.Add(30 * time.Minute), Reason: "outing_ended"}
	f.catch.CaughtAt = noon.Add(5 * time.Hour)
	if got := f.excluded(); got == trial.Analysed {
		t.Errorf("caught 4.5 h after its period ended: analysed")
	}
}

func TestMendedSecondArrangementInOneOuting(t *testing.T) {
	b := firstHalf()
	b.ofOuting = []trial.Period{b.period}
	b.units[0].OpenedAt = ptr(noon.Add(time.Minute))
	b.unit, b.period.UnitID = b.units[1], madeUp(52)
	b.protocol.Design = trial.PairedByOuting
	if b.begin() == nil {
		t.Error("paired_by_outing: a second arrangement begins in one outing")
	}
}

func TestMendedHalvesOutOfOrder(t *testing.T) {
	b := secondHalf()
	b.period.StartedAt = noon.Add(time.Minute) // half 1 began at minute 5, ended at 40
	if b.begin() == nil {
		t.Error("the second half begins before the first")
	}
}

func TestMendedVariant(t *testing.T) {
	id, _ := trial.ParseID("01900000-0000-7000-0000-000000000001") // variant 0xx: not of RFC 9562
	c := goodFish().catch
	c.ID = id
	if faultsIn(t, c.Check(complete(), noon.Add(time.Hour))) == nil {
		t.Error("an id of another variant is taken for version 7")
	}
}

func TestMendedKnownMaxima(t *testing.T) {
	if trial.Longest("Oncorhynchus tshawytscha") < 1500 {
		t.Errorf("chinook salmon up to 150 cm: limit %d", trial.Longest("Oncorhynchus tshawytscha"))
	}
	if trial.Longest("Salvelinus namaycush") < 1500 {
		t.Errorf("lake char up to 150 cm: limit %d", trial.Longest("Salvelinus namaycush"))
	}
	if trial.Longest("Thymallus arcticus") < 760 {
		t.Errorf("arctic grayling up to 76 cm: limit %d", trial.Longest("Thymallus arcticus"))
	}
}

func TestMendedTestAtOther(t *testing.T) {
	c := trial.Catch{TakenPattern: "C", TakenPosition: "other"}
	if c.Agrees(complete(), trial.TestLower) == nil {
		t.Error("the test pattern at a third fly's place agrees")
	}
	c = trial.Catch{TakenPattern: "other", TakenPosition: "lower"}
	if c.Agrees(complete(), trial.TestLower) == nil {
		t.Error("a third fly at the lower place, where the test pattern hangs, agrees")
	}
}

func TestMendedRecordedTexts(t *testing.T) {
	p := complete()
	p.Source = trial.Recorded
	p.Rig.HookModel = "a\x00b"
	p.OutingLimits.LateLimitH = -5
	if got := faultsIn(t, p.Validate()); len(got) == 0 {
		t.Error("recorded: control characters in the rig and a late limit of -5 are accepted")
	}
}

func TestMendedRepeats(t *testing.T) {
	p := complete()
	p.EndRule = []string{"date", "date"}
	p.Subgroups = []string{"month", "month"}
	if got := faultsIn(t, p.Validate()); len(got) == 0 {
		t.Error("an end rule and a subgroup twice")
	}
	p = complete()
	p.EndRule = []string{"total_fish"}
	p.MaxFish = 400
	p.Species = []string{"A" + strings.Repeat("a", 100000) + " b"}
	if got := faultsIn(t, p.Validate()); len(got) == 0 {
		t.Error("a species name of 100,000 letters")
	}
}
