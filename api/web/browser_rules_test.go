package web_test

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

// The phone judges by the same rules as the service: which fish count toward the swap, when it is due, what a temperature
// asks for. Thousands of made-up fish and readings are judged by both.
func TestThePhoneAgreesWithTheService(t *testing.T) {
	t.Parallel()
	v := newValley(t)
	p := v.phone()
	p.open("/water")
	r := rand.New(rand.NewPCG(1, 2))
	one := func(of ...string) string { return of[r.IntN(len(of))] }
	proto := trial.Template()
	proto.Patterns = []trial.Pattern{{Code: "A", Part: trial.Test}, {Code: "B", Part: trial.Control}}
	type fish struct {
		TakenPattern string         `json:"taken_pattern"`
		Outcome      string         `json:"outcome"`
		FoulHooked   bool           `json:"foul_hooked"`
		Species      string         `json:"species"`
		Length       *trial.Measure `json:"length"`
		CaughtAt     string         `json:"caught_at"`
		Void         bool           `json:"void"`
	}
	type question struct {
		Protocol trial.Protocol `json:"protocol"`
		Fish     []fish         `json:"fish"`
		Began    int64          `json:"began"`
		Now      int64          `json:"now"`
		Water    *trial.Measure `json:"water"`
	}
	began := dawn.UnixMilli()
	var asked []question
	var want []string
	for range 2000 {
		q := question{Protocol: proto, Began: began, Now: began + r.Int64N(100*60_000)}
		q.Protocol.Species = [][]string{{"Salmo trutta"}, {"Thymallus thymallus", "Salmo trutta"}, {"Perca fluviatilis"}, {"Salvelinus fontinalis", "Perca fluviatilis"}}[r.IntN(4)]
		q.Protocol.MinLengthMM = []int{0, 200, 305}[r.IntN(3)]
		limit, minutes := 1+r.IntN(4), 5+r.IntN(90)
		q.Protocol.Swap.AfterFish, q.Protocol.Swap.AfterMinutes = &limit, &minutes
		switch r.IntN(3) {
		case 0:
			q.Protocol.Swap.AfterFish = nil
		case 1:
			q.Protocol.Swap.AfterMinutes = nil
		}
		counted := 0
		for range r.IntN(6) {
			f := fish{one("A", "B", "unknown", "other"), one("landed", "landed", "lost", "touched"), r.IntN(5) == 0, one("Salmo trutta", "Perca fluviatilis", "other", "unknown"), nil, dawn.Add(time.Minute).Format(time.RFC3339), r.IntN(8) == 0}
			if r.IntN(2) == 0 {
				f.Length = &trial.Measure{Value: float64(80+r.IntN(320)) / 10, Unit: one("cm", "in", "mm")}
				if f.Length.Unit == "mm" {
					f.Length.Value *= 10
				}
			}
			q.Fish = append(q.Fish, f)
			c := trial.Catch{TakenPattern: f.TakenPattern, Outcome: trial.Outcome(f.Outcome), FoulHooked: f.FoulHooked, Species: f.Species, Length: f.Length, Void: f.Void}
			if c.CountsTowardSwap(q.Protocol) {
				counted++
			}
		}
		if r.IntN(10) > 0 {
			q.Water = &trial.Measure{Value: float64(100+r.IntN(150)) / 10, Unit: "C"}
			if r.IntN(2) == 0 {
				q.Water = &trial.Measure{Value: float64(500+r.IntN(300)) / 10, Unit: "F"}
			}
		}
		swap := trial.Period{StartedAt: time.UnixMilli(began)}.Swap(q.Protocol, counted, time.UnixMilli(q.Now))
		asked = append(asked, q)
		want = append(want, fmt.Sprintf("%d %t %s", swap.Fish, swap.Due, q.Protocol.WelfareIn(q.Water)))
	}
	text, err := json.Marshal(asked)
	v.check(err)
	got := strings.Split(js[string](p, fmt.Sprintf(`import("/asset/water/rules.js").then(({ swapState, welfare }) => %s.map((q) => {
  const s = swapState(q.protocol, q.began, q.fish ?? [], q.now);
  return s.fish + " " + (s.due !== null) + " " + welfare(q.protocol, q.water);
}).join("\n"))`, text)), "\n")
	for i := range want {
		if got[i] != want[i] {
			t.Fatalf("the phone says %q, the service %q of %+v", got[i], want[i], asked[i])
		}
	}
}

// An id of version 7 holds its millisecond as RFC 9562 lays it out (appendix A.6: 2022-02-22T19:22:22Z), and a time is
// written with the phone's own offset, also across a change of the clocks (Vienna, 25 October 2026).
func TestIdsAndTimes(t *testing.T) {
	t.Parallel()
	v := newValley(t)
	p := v.phone()
	p.open("/water")
	ids := strings.Fields(js[string](p, `import("/asset/water/ids.js").then(({ newId, stamp }) => [newId(1645557742000), newId(1645557742000), stamp(Date.UTC(2026, 9, 25, 0, 30)), stamp(Date.UTC(2026, 9, 25, 1, 30)), stamp(Date.UTC(2026, 0, 2, 3, 4, 5, 6))].join(" "))`))
	for _, text := range ids[:2] {
		id, err := trial.ParseID(text)
		if err != nil || !id.SentByPhone() || !strings.HasPrefix(text, "017f22e2-79b0-7") {
			t.Errorf("%s: %v", text, err)
		}
	}
	if ids[0] == ids[1] {
		t.Error("two ids are one")
	}
	for i, want := range []string{"2026-10-25T02:30:00.000+02:00", "2026-10-25T02:30:00.000+01:00", "2026-01-02T04:04:05.006+01:00"} {
		if ids[2+i] != want {
			t.Errorf("%s, want %s", ids[2+i], want)
		}
	}
}

// A place becomes the cell of the protocol's grid that the service rounds it to; nothing finer stays on the phone.
func TestThePhoneKeepsNoPlaceFinerThanTheGrid(t *testing.T) {
	t.Parallel()
	v := newValley(t)
	p := v.phone()
	p.open("/water")
	r := rand.New(rand.NewPCG(3, 4))
	for _, grid := range []string{trial.Grid10Kilo, trial.Grid1Kilo} {
		proto := trial.Template()
		proto.PlaceGrid = grid
		places := [][2]float64{{54.18, -2.31}, {-33.05, 18.4}, {.04, -.04}, {60, 10}}
		for range 500 {
			places = append(places, [2]float64{180*r.Float64() - 90, 360*r.Float64() - 180})
		}
		text, err := json.Marshal(places)
		v.check(err)
		cells := strings.Split(js[string](p, fmt.Sprintf(`import("/asset/water/rules.js").then(({ cellOf }) => %s.map(([a, b]) => cellOf(%q, a, b)).join("\n"))`, text, grid)), "\n")
		for i, place := range places {
			want, err := proto.CellOf(trial.PlaceAt(place[0], place[1]))
			if err != nil || cells[i] != want {
				t.Fatalf("%v by %s: the phone says %s, the service %s (%v)", place, grid, cells[i], want, err)
			}
		}
	}
}
