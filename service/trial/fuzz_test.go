package trial_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"evenrig/service/trial"
)

// Whatever is sent, Validate answers with nothing or with an Invalid error that names fields; what it accepts is within
// reach of the draw and can be written and read back unchanged.
func FuzzProtocol(f *testing.F) {
	good, err := json.Marshal(complete())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add([]byte(`{}`))
	f.Add([]byte(`{"patterns":[{},{}],"draw":{"method":"permuted_blocks","group_sizes":[0]}}`))
	f.Add([]byte(`{"source":"recorded","design":"paired","alpha":1e308,"species":["` + strings.Repeat("A", 300) + `"]}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		var p trial.Protocol
		if json.Unmarshal(text, &p) != nil {
			return
		}
		if faultsIn(t, p.Validate()) != nil {
			return
		}
		for n := 1; p.Source == trial.Drawn && n <= 8; n++ {
			if a := p.Draw.UnitArrangement([32]byte{1}, n); a != trial.TestLower && a != trial.ControlLower {
				t.Errorf("unit %d is %q", n, a)
			}
		}
		once, err := json.Marshal(p)
		if err != nil {
			t.Fatalf("an accepted protocol cannot be written: %v", err)
		}
		var back trial.Protocol
		if err := json.Unmarshal(once, &back); err != nil {
			t.Fatal(err)
		}
		twice, err := json.Marshal(back)
		if err != nil || string(once) != string(twice) {
			t.Errorf("written once %s\nand again %s (%v)", once, twice, err)
		}
	})
}

// A fish that passes Check is either analysed or excluded for one of the listed reasons, whatever it says; nothing makes
// the rules stumble.
func FuzzCatch(f *testing.F) {
	f.Add("C", "", "landed", "Thymallus thymallus", "wild", "a note", 31.5, "cm", int64(20), uint8(0))
	f.Add("", "upper", "lost", "unknown", "unknown", "", 0., "", int64(-90), uint8(7))
	f.Add("unknown", "other", "touched", "Salmo trutta", "stocked", "\x00", 1e300, "in", int64(1<<40), uint8(255))
	f.Add("other", "lower", "", "", "", "\xff", -1., "mm", int64(-1<<40), uint8(64))
	f.Fuzz(func(t *testing.T, pattern, position, outcome, species, origin, note string, length float64, unit string, minute int64, flags uint8) {
		g := goodFish()
		c := trial.Catch{
			ID: madeUp(100), PeriodID: madeUp(6), TakenPattern: pattern, TakenPosition: trial.Position(position), Outcome: trial.Outcome(outcome),
			Species: species, Origin: trial.Origin(origin), Note: note, CaughtAt: noon.Add(time.Duration(minute) * time.Minute),
			FoulHooked: flags&1 > 0, RigIntact: flags&2 > 0, Void: flags&4 > 0, AfterLock: flags&8 > 0,
		}
		c.NotedAt = c.CaughtAt
		if flags&16 > 0 {
			c.Length = &trial.Measure{Value: length, Unit: unit}
		}
		if flags&32 > 0 {
			c.DoubleID = madeUp(9)
		}
		if flags&64 > 0 {
			g.deviations = []trial.Deviation{{Kind: trial.WrongWayRound, PeriodID: madeUp(6), FromAt: noon}}
		}
		if faultsIn(t, c.Check(g.protocol, noon.Add(time.Hour))) != nil {
			return
		}
		if !utf8.ValidString(c.Note) {
			t.Errorf("accepted a note that is no text: %q", c.Note)
		}
		g.catch = c
		reason := g.excluded()
		known := reason == trial.Analysed
		for _, r := range trial.Exclusions() {
			known = known || r == reason
		}
		if !known {
			t.Errorf("excluded for %q", reason)
		}
		if reason == trial.Analysed && (c.Outcome != trial.Landed || c.FoulHooked || !c.RigIntact || c.Void || c.AfterLock || !c.DoubleID.IsZero()) {
			t.Errorf("analysed: %+v", c)
		}
		if c.Length != nil {
			if mm, err := c.Length.Millimetres(); err != nil || mm < 1 || mm > trial.Longest(c.Species) {
				t.Errorf("accepted a length of %d mm (%v)", mm, err)
			}
		}
	})
}

func FuzzParseID(f *testing.F) {
	f.Add("017f22e2-79b0-7cc3-98c4-dc0c0c07398f")
	f.Add("017F22E2-79B0-7CC3-98C4-DC0C0C07398F")
	f.Add("")
	f.Add("------------------------------------")
	f.Fuzz(func(t *testing.T, text string) {
		id, err := trial.ParseID(text)
		if err != nil {
			if id != (trial.ID{}) {
				t.Errorf("%q: refused and read as %s", text, id)
			}
			return
		}
		if id.String() != strings.ToLower(text) {
			t.Errorf("%q read as %s", text, id)
		}
	})
}
