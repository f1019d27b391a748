package web_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"evenrig/openapi"
)

// manyFish is a swap rule that lets a test fish on.
func manyFish(p *openapi.Protocol) {
	fish, minutes := 20, 180
	p.Swap.AfterFish, p.Swap.AfterMinutes = &fish, &minutes
}

// A whole outing goes on with the service gone: the page opens, fish and a swap are kept, and all of it arrives once there
// is signal again.
func TestAnOutingWithoutSignal(t *testing.T) {
	t.Parallel()
	v, token, p := newAngling(t)
	p.shot("ready")
	v.silence()
	p.open("/water")
	p.shows("Collar on the weighted nymph", "Carries 8 rounds.")
	p.shot("home")
	p.open("/water#ready")
	p.shows("The page and all its files are on this phone.")
	p.opens()
	p.shot("fishing")
	p.lands("C")
	p.shot("saved")
	p.lands("N")
	p.shows("Swap the flies now")
	p.shot("swap")
	p.tap("swapped")
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	if n := p.unsent(); n != 6 {
		t.Errorf("%d records wait on the phone, want 6: outing, half, two fish, end of the half, next half", n)
	}
	v.signal()
	p.sends()
	got := v.catches(token)
	if len(got) != 2 || *got[0].TakenPattern != "C" || *got[1].TakenPattern != "N" {
		t.Errorf("arrived: %+v", got)
	}
	for _, c := range got {
		if c.Derived.Excluded != nil {
			t.Errorf("fish of %s is not analysed: %s", c.CaughtAt, *c.Derived.Excluded)
		}
	}
	p.shows("0 on the phone · 6 sent")
}

const fishKept = records + `.filter((r) => r.kind === "catch" && r.sent !== "undone").length)`

func ptr[T any](v T) *T { return &v }

// A phone whose clock is put back an hour in the middle of the day notes nothing before what it has noted.
func TestTheClockIsPutBack(t *testing.T) {
	t.Parallel()
	v, token, p := newAngling(t)
	p.at("10:00")
	p.opens()
	p.lands("C")
	p.later(-time.Hour)
	p.lands("N")
	p.shows("Swap the flies now")
	p.tap("swapped")
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	p.later(2 * time.Hour)
	p.sends()
	for _, c := range v.catches(token) {
		if c.Derived.Excluded != nil {
			t.Errorf("a fish is not analysed: %s", *c.Derived.Excluded)
		}
	}
	if n := js[int](p, records+`.filter((r) => r.sent === "refused").length)`); n != 0 {
		t.Errorf("%d records were refused:\n%s", n, p.seen())
	}
}

// When the carried rounds are fished, a phone without signal draws a coin; the service keeps it as the phone's.
func TestACoinAfterTheRounds(t *testing.T) {
	t.Parallel()
	v, token, p := newAngling(t, func(p *openapi.Protocol) {
		p.Draw.TripUnits = 1
		p.Swap.AfterFish = ptr(1)
	})
	p.shows("1 round is on this phone", "after the last the phone draws a coin")
	v.silence()
	p.opens()
	p.lands("C")
	p.shows("Swap the flies now")
	p.tap("swapped")
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	p.lands("N")
	p.shows("Round done")
	p.tap("swapped")
	p.shows("The carried rounds are fished")
	p.shot("coin")
	p.tap("coin")
	p.shows("by this phone's coin")
	drawn := js[string](p, records+`.find((r) => r.kind === "unit").body.first)`)
	p.open("/water")
	p.shows("by this phone's coin", "Rigged so")
	p.tap("rigged")
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	p.lands("C")
	v.signal()
	p.sends()
	units := reply[openapi.UnitList](v, token, "GET", v.path("/units"), nil).Items
	if len(units) != 2 || units[0].DrawnBy != "service" || units[1].DrawnBy != "phone" || string(units[1].First) != drawn {
		t.Errorf("the phone's coin fell %s; units: %+v", drawn, units)
	}
	for _, c := range v.catches(token) {
		if c.Derived.Excluded != nil {
			t.Errorf("a fish is not analysed: %s", *c.Derived.Excluded)
		}
	}
}

// One arrangement an outing: the second half of a round is the next outing's at the same water, also on a phone that was
// not there.
func TestOneArrangementAnOuting(t *testing.T) {
	t.Parallel()
	v, token, p := newAngling(t, func(p *openapi.Protocol) {
		p.Design = "paired_by_outing"
		p.Swap.AfterFish, p.Swap.AfterMinutes = nil, nil
		p.Draw.TripUnits = 2
	})
	p.opens()
	p.shows("this way round the whole outing")
	for range 3 {
		p.lands("C")
	}
	p.later(4 * time.Hour)
	p.tap("menu", "close")
	p.shows("Stopped fishing at")
	p.tap("close")
	p.shows("Your receipt")
	p.sends()
	q := v.phone()
	v.later(24 * time.Hour)
	q.setClock()
	q.signIn("merle@example.org")
	v.silence()
	q.open("/water#")
	q.tap("Open an outing", "Upper Wend")
	q.fill("Water temperature", "12")
	q.tap("open")
	q.shows("Round 1, second half")
	q.tap("rigged")
	q.until("it is being fished", `!!document.querySelector(".lines")`)
	q.lands("N")
	q.later(2 * time.Hour)
	q.tap("menu", "close")
	q.shows("Stopped fishing at")
	q.tap("close")
	v.signal()
	q.sends()
	outings := reply[openapi.OutingList](v, token, "GET", v.path("/outings"), nil).Items
	if len(outings) != 2 {
		t.Fatalf("%d outings arrived", len(outings))
	}
	var halves []openapi.Period
	for _, o := range outings {
		halves = append(halves, reply[openapi.PeriodList](v, token, "GET", v.path("/outings/%s/periods", o.ID), nil).Items...)
	}
	if len(halves) != 2 || halves[0].Unit != halves[1].Unit || halves[0].Fished == halves[1].Fished || halves[1].Half != 2 {
		t.Errorf("halves: %+v", halves)
	}
}

// Who opens late says since when and what was so far: these fish are counted and not analysed. Water at which the trial
// stops lets no half begin, and the day is a record all the same.
func TestOpenedLateAndInWarmWater(t *testing.T) {
	t.Parallel()
	v, token, p := newAngling(t)
	p.at("09:00")
	p.open("/water#")
	p.tap("Open an outing")
	p.shows("Water temperature")
	p.tap("Upper Wend", "I have fished already")
	p.fill("Water temperature", "12")
	p.fill("First cast at", "08:00")
	p.tap("Collared nymph: more", "Collared nymph: more", "not sure: more", "Plain nymph as point", "open")
	p.shows("Rigged so")
	p.at("09:05")
	p.tap("rigged")
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	p.shows("swap after 2 more fish")
	p.lands("N")
	p.tap("planned", "temperature")
	p.shows("Leave it empty")
	p.fill("Water temperature", "20.5")
	p.tap("measured")
	p.shows("this trial stops", "Stop fishing, for the fish's sake")
	p.tap("close")
	p.shows("Stopped fishing at")
	p.tap("close")
	p.sends()
	var fish []string
	for _, c := range v.catches(token) {
		why := "analysed"
		if c.Derived.Excluded != nil {
			why = string(*c.Derived.Excluded)
		}
		fish = append(fish, *c.TakenPattern+" "+why)
	}
	slices.Sort(fish)
	if got := strings.Join(fish, ", "); got != "C not_confirmed, C not_confirmed, N analysed, unknown not_confirmed" {
		t.Errorf("fish: %s", got)
	}
	o := reply[openapi.OutingList](v, token, "GET", v.path("/outings"), nil).Items[0]
	if !o.StartedLate || o.Note != "Until it was opened, N was the point." || o.Welfare != "stop" || o.End == nil || o.End.Reason != "warm_water" || !sameMinute(o.StartedAt, "08:00") {
		t.Errorf("the outing: %+v %+v", o, o.End)
	}
}

// A night's outing ends after midnight, by the clock's words alone.
func TestPastMidnight(t *testing.T) {
	t.Parallel()
	v, token, p := newAngling(t, manyFish)
	p.at("22:00")
	p.opens()
	p.at("23:50")
	p.lands("C")
	p.later(2 * time.Hour)
	p.tap("else", "close")
	p.shows("Stopped fishing at")
	p.fill("Stopped fishing at", "23:30")
	p.tap("close")
	p.shows("not before 23:50")
	p.fill("Stopped fishing at", "01:30")
	p.tap("close")
	p.shows("Your receipt")
	p.sends()
	o := reply[openapi.OutingList](v, token, "GET", v.path("/outings"), nil).Items[0]
	if o.End == nil || !o.End.EndedAt.Truncate(time.Minute).Equal(time.Date(2026, 9, 13, 1, 30, 0, 0, dawn.Location())) {
		t.Errorf("the outing's end: %+v", o.End)
	}
}
