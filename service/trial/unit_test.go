package trial_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// drawn is unit n of an angler as something drew it; opened says that its first half began.
func drawn(n int, by trial.DrawnBy, opened bool) trial.Unit {
	u := trial.Unit{ID: madeUp(n), N: n, First: trial.TestLower, DrawnBy: by}
	if by != trial.ByService {
		u.DrawnAt = ptr(noon)
	}
	if opened {
		u.OpenedAt = ptr(noon.Add(time.Duration(n) * time.Minute))
	}
	return u
}

func TestOwnUnits(t *testing.T) {
	sheets := []trial.SlipSheet{{First: 1, Last: 8}, {First: 17, Last: 24}}
	good := trial.Unit{ID: madeUp(1), DrawnBy: trial.ByPhone, First: trial.ControlLower, DrawnAt: ptr(noon)}
	for name, c := range map[string]struct {
		change func(u *trial.Unit)
		want   []string
	}{
		"a phone's coin":         {func(*trial.Unit) {}, nil},
		"an own coin":            {func(u *trial.Unit) { u.DrawnBy = trial.ByCoin }, nil},
		"a slip":                 {func(u *trial.Unit) { u.DrawnBy, u.Slip = trial.BySlip, 24 }, nil},
		"between two sheets":     {func(u *trial.Unit) { u.DrawnBy, u.Slip = trial.BySlip, 9 }, []string{"slip"}},
		"after the last sheet":   {func(u *trial.Unit) { u.DrawnBy, u.Slip = trial.BySlip, 25 }, []string{"slip"}},
		"a slip without number":  {func(u *trial.Unit) { u.DrawnBy = trial.BySlip }, []string{"slip"}},
		"a coin with a number":   {func(u *trial.Unit) { u.Slip = 3 }, []string{"slip"}},
		"nothing drew it":        {func(u *trial.Unit) { u.DrawnBy = "" }, []string{"drawn_by"}},
		"a die":                  {func(u *trial.Unit) { u.DrawnBy = "die" }, []string{"drawn_by"}},
		"no order":               {func(u *trial.Unit) { u.First = "" }, []string{"first"}},
		"no time":                {func(u *trial.Unit) { u.DrawnAt = nil }, []string{"drawn_at"}},
		"two days ahead":         {func(u *trial.Unit) { u.DrawnAt = ptr(noon.Add(48 * time.Hour)) }, []string{"drawn_at"}},
		"an id that tells a day": {func(u *trial.Unit) { u.ID[6] = 0x40 }, []string{"unit"}},
	} {
		t.Run(name, func(t *testing.T) {
			u := good
			c.change(&u)
			wantFaults(t, u.CheckOwn(sheets, noon), c.want...)
		})
	}
}

// A phone tosses a coin only when the units that it carried have run out (the draw is tidy, not secret: a phone hides nothing
// from who owns it). Paper needs no leave. Common practice, no source.
func TestCoinOnlyBeyondTheCarriedUnits(t *testing.T) {
	lost := drawn(2, trial.ByService, false)
	lost.LostAt = ptr(noon)
	for name, c := range map[string]struct {
		units []trial.Unit
		code  string // "" when a phone may toss
	}{
		"nothing was ever carried":    {nil, "unit.not_carried"},
		"only slips":                  {[]trial.Unit{drawn(1, trial.BySlip, true)}, "unit.not_carried"},
		"one waits":                   {[]trial.Unit{drawn(1, trial.ByService, true), drawn(2, trial.ByService, false)}, "unit.waiting"},
		"all fished":                  {[]trial.Unit{drawn(1, trial.ByService, true), drawn(2, trial.ByService, true)}, ""},
		"the other lost":              {[]trial.Unit{drawn(1, trial.ByService, true), lost}, ""},
		"an earlier coin unfished":    {[]trial.Unit{drawn(1, trial.ByService, true), drawn(2, trial.ByPhone, false)}, ""},
		"a slip opened and unfished":  {[]trial.Unit{drawn(1, trial.ByService, true), drawn(2, trial.BySlip, false)}, ""},
		"waiting, with a slip fished": {[]trial.Unit{drawn(1, trial.ByService, false), drawn(2, trial.BySlip, true)}, "unit.waiting"},
	} {
		t.Run(name, func(t *testing.T) {
			err := trial.Unit{DrawnBy: trial.ByPhone}.MayToss(c.units)
			if c.code == "" {
				if err != nil {
					t.Error(err)
				}
			} else {
				wantKind(t, err, trial.Conflict, c.code)
			}
			for _, by := range []trial.DrawnBy{trial.BySlip, trial.ByCoin} {
				if err := (trial.Unit{DrawnBy: by}).MayToss(c.units); err != nil {
					t.Errorf("%s: %v", by, err)
				}
			}
		})
	}
}

// What coins and slips draw takes nothing from the draw: the service's units follow each other in it whatever stands between,
// and are what the definition of the draw gives for their own numbers.
func TestOwnUnitsTakeNothingFromTheDraw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := trial.Draw{Method: trial.PermutedBlocks, GroupSizes: []int{2, 4}, TripUnits: 16, SameFlyCheck: rapid.IntRange(0, 3).Draw(t, "check")}
		key := [32]byte(rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(t, "key"))
		var units []trial.Unit
		var service []trial.Arrangement
		for range rapid.IntRange(0, 20).Draw(t, "units") {
			var u trial.Unit
			if by := rapid.SampledFrom([]trial.DrawnBy{trial.ByService, trial.ByService, trial.ByPhone, trial.BySlip, trial.ByCoin}).Draw(t, "by"); by == trial.ByService {
				u = d.Next(key, units)
				service = append(service, u.First)
				if u.DrawN != len(service) || u.First != d.UnitArrangement(key, len(service)) || u.DrawnBy != trial.ByService {
					t.Fatalf("unit %+v is number %d of the service's", u, len(service))
				}
				if u.SameFlyCheck != (u.N <= d.SameFlyCheck) {
					t.Fatalf("unit %d, same fly check %v", u.N, u.SameFlyCheck)
				}
			} else {
				u = drawn(len(units)+1, by, true)
			}
			if u.N != len(units)+1 {
				t.Fatalf("unit %d comes after %d", u.N, len(units))
			}
			u.OpenedAt = ptr(noon)
			units = append(units, u)
		}
		// The blocks of the draw: groups in one piece, coins and slips each in a group of its own, all units once.
		blocks := d.Drawn(key, "P", units)
		if len(blocks) != len(units) {
			t.Fatalf("%d blocks of %d units", len(blocks), len(units))
		}
		seen, closed, last := map[string]bool{}, map[int]bool{}, 0
		for i, b := range blocks {
			if seen[b.Block] || closed[b.Group] {
				t.Fatalf("block %d: %+v comes twice, or its group in two pieces", i, b)
			}
			if seen[b.Block] = true; b.Group != last {
				closed[last], last = true, b.Group
			}
			if i >= len(service) && b.Size != 1 {
				t.Fatalf("own draw %+v", b)
			}
			if i < len(service) && b.First != service[i] {
				t.Fatalf("the service's block %d is %s, want %s", i+1, b.First, service[i])
			}
		}
	})
}

func TestLostUnits(t *testing.T) {
	u := drawn(3, trial.ByService, false)
	if err := u.Lose(noon, noon); err != nil {
		t.Error(err)
	}
	wantFaults(t, u.Lose(noon.Add(48*time.Hour), noon), "lost_at")
	wantKind(t, drawn(3, trial.ByService, true).Lose(noon, noon), trial.Conflict, "unit.fished")
	wantKind(t, drawn(3, trial.BySlip, false).Lose(noon, noon), trial.Conflict, "unit.fished")

	// Lost units neither wait nor stand in the line; what was fished before the loss is taken.
	u.LostAt = ptr(noon.Add(time.Hour))
	d := trial.Draw{TripUnits: 1}
	if err := d.NextUnit([]trial.Unit{u}); err != nil {
		t.Error(err)
	}
	outing := trial.Outing{ID: madeUp(9), Water: "Upper Wend", StartedAt: noon}
	begin := func(unit trial.Unit, at time.Time, units ...trial.Unit) error {
		p := trial.Period{ID: madeUp(10), OutingID: outing.ID, UnitID: unit.ID, Half: 1, StartedAt: at}
		return p.Begin(trial.Beginning{Protocol: complete(), Outing: outing, Unit: unit, Units: units})
	}
	if err := begin(u, noon.Add(59*time.Minute), u); err != nil {
		t.Errorf("fished before the phone was lost: %v", err)
	}
	wantKind(t, begin(u, noon.Add(time.Hour), u), trial.Conflict, "unit.lost")
	next := drawn(4, trial.ByService, false)
	if err := begin(next, noon.Add(2*time.Hour), u, next); err != nil {
		t.Errorf("the unit after a lost one: %v", err)
	}
	// A slip does not wait for what a dead phone carries, nor does the phone wait for a slip.
	waiting, slip := drawn(1, trial.ByService, false), drawn(2, trial.BySlip, false)
	if err := begin(slip, noon.Add(time.Minute), waiting, slip); err != nil {
		t.Errorf("a slip while a phone is dead: %v", err)
	}
	third := drawn(3, trial.ByService, false)
	wantKind(t, begin(third, noon.Add(time.Minute), waiting, slip, third), trial.Conflict, "unit.order")
	waiting.OpenedAt = ptr(noon)
	if err := begin(third, noon.Add(time.Minute), waiting, slip, third); err != nil {
		t.Errorf("after an unfished slip: %v", err)
	}
}

// A card typed long after its day has a high number and an early time: it does not end blocks fished since, and ends the one it
// was fished in the middle of.
func TestSecondHalfBesideACard(t *testing.T) {
	outing := trial.Outing{ID: madeUp(9), Water: "Upper Wend", StartedAt: noon}
	first := trial.Period{ID: madeUp(10), OutingID: outing.ID, UnitID: madeUp(1), Half: 1, StartedAt: noon.Add(time.Hour)}
	unit, card := drawn(1, trial.ByService, true), drawn(2, trial.BySlip, true)
	second := trial.Period{ID: madeUp(11), OutingID: outing.ID, UnitID: unit.ID, Half: 2, StartedAt: noon.Add(3 * time.Hour)}
	b := trial.Beginning{Protocol: complete(), Outing: outing, Unit: unit, OfUnit: []trial.Period{first}, FirstOuting: &outing}
	for at, code := range map[time.Duration]string{-24 * time.Hour: "", 2 * time.Hour: "unit.order", 4 * time.Hour: ""} {
		card.OpenedAt = ptr(noon.Add(at))
		b.Units = []trial.Unit{unit, card}
		err := second.Begin(b)
		if code == "" && err != nil {
			t.Errorf("a card of %s: %v", at, err)
		} else if code != "" {
			wantKind(t, err, trial.Conflict, code)
		}
	}
}

func TestSlips(t *testing.T) {
	sheet := trial.NextSheet(nil, 8)
	if sheet.N != 1 || sheet.First != 1 || sheet.Last != 8 {
		t.Errorf("the first sheet is %+v", sheet)
	}
	if sheet = trial.NextSheet([]trial.SlipSheet{sheet}, 3); sheet.N != 2 || sheet.First != 9 || sheet.Last != 11 {
		t.Errorf("the second sheet is %+v", sheet)
	}
	wantFaults(t, trial.CheckSlips(0), "count")
	wantFaults(t, trial.CheckSlips(65), "count")
	wantFaults(t, trial.CheckSlips(64))
	wantKind(t, trial.Enrolment{}.PrintsSlips(), trial.Conflict, "slips.fishes")
	if err := (trial.Enrolment{LeftAt: ptr(noon)}).PrintsSlips(); err != nil {
		t.Errorf("who has left: %v", err)
	}
	// Of the 256 bytes each way has half.
	ways := map[trial.Arrangement]int{}
	for b := range 256 {
		ways[trial.Toss(byte(b))]++
	}
	if ways[trial.TestLower] != 128 || ways[trial.ControlLower] != 128 {
		t.Errorf("of 256 bytes %v", ways)
	}
}
