package trial_test

import (
	"testing"
	"time"

	"evenrig/service/trial"
)

func celsius(c float64) trial.Measure { return trial.Measure{Value: c, Unit: "C"} }

func reading(n int, after time.Duration, c float64) trial.Temperature {
	return trial.Temperature{ID: madeUp(n), OutingID: madeUp(4), At: noon.Add(after), Water: celsius(c), ReceivedAt: noon.Add(after)}
}

// The latest reading counts, whatever the order in which readings arrive; a period is judged by what was known when it began.
func TestLatestReadingCounts(t *testing.T) {
	at := func(c float64) *trial.Measure { return ptr(celsius(c)) }
	outing := trial.Outing{ID: madeUp(4), EnrolmentID: madeUp(3), StartedAt: noon, ReceivedAt: noon}
	measured := outing
	measured.WaterTemperature = at(17)
	elsewhere := reading(9, 2*time.Hour, 25)
	elsewhere.OutingID = madeUp(5)
	again := reading(8, time.Hour, 16)
	again.ReceivedAt = noon.Add(3 * time.Hour)
	for name, c := range map[string]struct {
		outing   trial.Outing
		readings []trial.Temperature
		at       time.Duration
		want     *trial.Measure
		latest   *trial.Measure
	}{
		"nobody measured":             {outing, nil, time.Hour, nil, nil},
		"at the start alone":          {measured, nil, time.Hour, at(17), at(17)},
		"before the first reading":    {outing, []trial.Temperature{reading(6, time.Hour, 20)}, 30 * time.Minute, nil, at(20)},
		"at the reading":              {outing, []trial.Temperature{reading(6, time.Hour, 20)}, time.Hour, at(20), at(20)},
		"warmer, then cooler":         {measured, []trial.Temperature{reading(6, time.Hour, 20), reading(7, 2*time.Hour, 18)}, 3 * time.Hour, at(18), at(18)},
		"in between":                  {measured, []trial.Temperature{reading(6, time.Hour, 20), reading(7, 2*time.Hour, 18)}, 90 * time.Minute, at(20), at(18)},
		"arrived the other way round": {measured, []trial.Temperature{reading(7, 2*time.Hour, 18), reading(6, time.Hour, 20)}, 3 * time.Hour, at(18), at(18)},
		"another outing's":            {measured, []trial.Temperature{elsewhere}, 3 * time.Hour, at(17), at(17)},
		"put right at the same time":  {measured, []trial.Temperature{again, reading(6, time.Hour, 26)}, 3 * time.Hour, at(16), at(16)},
		"at the outing's start":       {measured, []trial.Temperature{reading(6, 0, 19)}, time.Minute, at(19), at(19)},
	} {
		w := trial.Warmth{Outing: c.outing, Readings: c.readings}
		same := func(a, b *trial.Measure) bool { return (a == nil) == (b == nil) && (a == nil || *a == *b) }
		if got := w.At(noon.Add(c.at)); !same(got, c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
		if got := w.Latest(); !same(got, c.latest) {
			t.Errorf("%s: latest %v, want %v", name, got, c.latest)
		}
	}
}

// The limits are guidance for trout, salmon (DAERA; Natural Resources Wales) and grayling (Pinder et al. 2019, Fisheries Research
// 211:169-175): for other fish warm water asks for care and stops nothing. Genera of the Salmonidae: from memory.
func TestWarmWaterStopsForSalmonids(t *testing.T) {
	for species, want := range map[string]trial.WelfareState{
		"Salmo trutta": trial.WelfareStop, "Salmo salar": trial.WelfareStop, "Oncorhynchus mykiss": trial.WelfareStop, "Salvelinus fontinalis": trial.WelfareStop,
		"Thymallus thymallus": trial.WelfareStop, "Hucho hucho": trial.WelfareStop, "Coregonus lavaretus": trial.WelfareStop,
		"Esox lucius": trial.WelfareCaution, "Perca fluviatilis": trial.WelfareCaution, "Cyprinus carpio": trial.WelfareCaution, "Salmostoma bacaila": trial.WelfareCaution,
	} {
		p := complete()
		p.Species = []string{species}
		if got := p.WelfareIn(ptr(celsius(20))); got != want {
			t.Errorf("%s at 20 C: %s, want %s", species, got, want)
		}
		if got := p.WelfareIn(ptr(celsius(17.9))); got != trial.WelfareFine {
			t.Errorf("%s at 17.9 C: %s", species, got)
		}
		p.Species = []string{"Esox lucius", species}
		if got := p.WelfareIn(ptr(celsius(20))); got != want {
			t.Errorf("%s among others at 20 C: %s, want %s", species, got, want)
		}
	}
}

// The organiser lets one angler fish on for one day; nobody else and no other day.
func TestFishingOn(t *testing.T) {
	p := complete()
	outing := trial.Outing{ID: madeUp(4), EnrolmentID: madeUp(3), StartedAt: noon.In(time.FixedZone("", 12*3600)), WaterTemperature: ptr(celsius(21))}
	stopped := func(o ...trial.WelfareOverride) bool {
		w := trial.Warmth{Outing: outing, Overrides: o}
		err := w.Stops(p, w.Latest())
		if err != nil {
			wantKind(t, err, trial.Conflict, "welfare.stop")
		}
		return err != nil
	}
	day := "2026-09-13" // by the phone's clock, 12 hours ahead
	for name, c := range map[string]struct {
		override trial.WelfareOverride
		stopped  bool
	}{
		"his, that day":    {trial.WelfareOverride{EnrolmentID: madeUp(3), Day: day}, false},
		"another's":        {trial.WelfareOverride{EnrolmentID: madeUp(9), Day: day}, true},
		"another day":      {trial.WelfareOverride{EnrolmentID: madeUp(3), Day: "2026-09-12"}, true},
		"of an erased one": {trial.WelfareOverride{Day: day}, true},
	} {
		if got := stopped(c.override); got != c.stopped {
			t.Errorf("%s: stopped %t, want %t", name, got, c.stopped)
		}
	}
	if !stopped() {
		t.Error("not stopped at 21 C")
	}
	wantFaults(t, trial.WelfareOverride{Day: day, Reason: "a spring-fed stretch"}.Check())
	wantFaults(t, trial.WelfareOverride{Day: "today", Reason: "warm"}.Check(), "day", "reason")
}

func TestReadingAsSent(t *testing.T) {
	o := trial.Outing{ID: madeUp(4), StartedAt: noon}
	now := noon.Add(time.Hour)
	wantFaults(t, reading(6, time.Hour, 12).Check(o, now))
	wantFaults(t, reading(6, -time.Minute, 12).Check(o, now), "at")
	wantFaults(t, reading(6, 48*time.Hour, 12).Check(o, now), "at")
	wantFaults(t, reading(6, time.Hour, 40).Check(o, now), "value")
	wantFaults(t, trial.Temperature{At: now, Water: trial.Measure{Value: 12, Unit: "K"}}.Check(o, now), "temperature", "value")
}
