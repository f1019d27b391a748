package web_test

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"evenrig/openapi"
)

// A real day, hour by hour: the rounds are fetched the evening before; flight mode; two fish and a swap; a fly lost and
// retied; a third fly owned up; other water; lunch off trial; the phone dies at three and the card goes on; the outing is
// closed next morning with one fish unlogged; the card is typed twelve days later, and is not late.
func TestARealDay(t *testing.T) {
	t.Parallel()
	v, token, p := newAngling(t)
	p.shows("8 rounds are on this phone")
	v.silence() // into the valley, for good: what follows happens in flight mode

	p.at("08:05")
	p.open("/water")
	p.opens()
	at := func(hour, code string) {
		t.Helper()
		p.at(hour)
		p.lands(code)
	}
	at("08:20", "C")
	at("08:31", "N")
	p.shows("Swap the flies now")
	p.at("08:33")
	p.tap("swapped")
	p.until("it is being fished", `!!document.querySelector(".lines")`)

	p.at("09:18")
	p.shows("The rule's time is up")
	p.at("09:20")
	p.tap("swapped") // round 2
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	p.at("09:40")
	p.tap("planned", "fly_lost", "just now", "gone")
	p.shows("A fly is gone since 09:40")
	p.shot("lost-fly")
	at("09:44", "C") // on the fly that is left
	p.at("09:52")
	p.tap("retied", "Number of the new fly: more", "Number of the new fly: more", "Retied, rigged as before")
	p.until("it is being fished", `!!document.querySelector(".lines") && !document.querySelector(".due")`)

	p.at("10:05")
	p.shows("The rule's time is up")
	p.tap("swapped")
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	at("10:08", "N")
	p.at("10:10")
	p.tap("planned", "third_fly")
	p.shows("counted, not analysed")
	p.fill("or at", "10:06")
	p.tap("send")
	p.until("it is being fished", `!!document.querySelector(".lines")`)

	p.at("10:50")
	p.shows("The rule's time is up")
	p.tap("swapped") // round 3
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	p.at("11:00")
	p.tap("planned", "moved")
	p.shows("The round ends here")
	p.tap("Mill Reach", "Moved")
	p.shows("Round 4, first half", "Mill Reach")
	p.at("11:10")
	p.tap("rigged")
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	at("11:32", "N")
	p.at("11:55")
	p.shows("The rule's time is up")
	p.tap("swapped")
	p.until("it is being fished", `!!document.querySelector(".lines")`)

	p.at("12:15")
	p.tap("planned", "off_trial")
	p.shows("Off trial since 12:15")
	p.at("13:30")
	p.tap("back")
	p.shows("The rule's time is up")
	p.at("13:32")
	p.tap("swapped") // round 5
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	at("14:05", "C")
	p.at("14:17")
	p.shows("The rule's time is up")
	p.tap("swapped")
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	at("14:40", "N")
	p.at("15:00")
	p.dies()

	// The card goes on: one fish at 15:25, in the half that the phone had begun. Next morning the phone is charged.
	v.later(16 * time.Hour)
	p.start()
	p.open("/water")
	v.signal()
	p.signInHere("merle@example.org")
	p.shows("This outing is still open", "the last thing noted was at 14:40")
	time.Sleep(1500 * time.Millisecond) // it calls no swap for who has gone home
	p.shot("left-open")
	p.tap("close")
	p.shows("Say when you stopped that day")
	p.shot("close-next-day")
	p.fill("Stopped fishing at", "16:10")
	p.tap("Fish not logged: more", "Tired", "close")
	p.shows("Your receipt")
	p.later(time.Minute)
	js[any](p, `dispatchEvent(new Event("online"))`)
	p.until("everything is sent", records+`.every((r) => r.sent !== "waiting"))`)
	p.shot("receipt-day")

	period := js[string](p, records+`.findLast((r) => r.kind === "period").id)`)
	p.later(12 * 24 * time.Hour)
	day := time.Date(dawn.Year(), dawn.Month(), dawn.Day(), 15, 25, 0, 0, dawn.Location())
	card := reply[openapi.Catch](v, token, "PUT", v.path("/catches/%s", mustV7(t)), openapi.NewCatch{
		Period: uuid.MustParse(period), TakenPattern: ptr("C"), Species: "Thymallus thymallus", CaughtAt: day, NotedAt: ptr(day.Add(5 * time.Minute)),
	})

	// What arrived, against the day as it is told above.
	if refused := js[string](p, records+`.filter((r) => r.sent === "refused").map((r) => JSON.stringify(r)).join("\n"))`); refused != "" {
		t.Fatalf("refused: %s", refused)
	}
	outings := reply[openapi.OutingList](v, token, "GET", v.path("/outings"), nil).Items
	if len(outings) != 1 || outings[0].End == nil || outings[0].End.NotLogged != 1 || outings[0].End.Reason != "tired" || !sameMinute(outings[0].StartedAt, "08:05") || !sameMinute(outings[0].End.EndedAt, "16:10") {
		t.Fatalf("the outing: %+v, %+v", outings, outings[0].End)
	}
	periods := reply[openapi.PeriodList](v, token, "GET", v.path("/outings/%s/periods", outings[0].ID), nil).Items
	var halves []string
	for _, h := range periods {
		halves = append(halves, fmt.Sprintf("%s/%d %s-%s %s", strings.TrimLeft(h.Block, "0"), h.Half, minuteOf(h.StartedAt), minuteOf(h.End.EndedAt), h.End.Reason))
	}
	want := []string{
		"1/1 08:05-08:33 swap_rule", "1/2 08:33-09:20 swap_rule", "2/1 09:20-10:05 swap_rule", "2/2 10:05-10:50 swap_rule", "3/1 10:50-11:00 moved",
		"4/1 11:10-11:55 swap_rule", "4/2 11:55-13:32 swap_rule", "5/1 13:32-14:17 swap_rule", "5/2 14:17-16:10 outing_ended",
	}
	if !slices.Equal(halves, want) {
		t.Errorf("halves:\n%s\nwant\n%s", strings.Join(halves, "\n"), strings.Join(want, "\n"))
	}
	var fish []string
	for _, c := range v.catches(token) {
		why := "analysed"
		if c.Derived.Excluded != nil {
			why = string(*c.Derived.Excluded)
		}
		fish = append(fish, minuteOf(c.CaughtAt)+" "+*c.TakenPattern+" "+why)
	}
	slices.Sort(fish)
	if got, told := strings.Join(fish, ", "), "08:20 C analysed, 08:31 N analysed, 09:44 C rig_not_intact, 10:08 N rig_not_intact, 11:32 N analysed, 14:05 C analysed, 14:40 N analysed, 15:25 C analysed"; got != told {
		t.Errorf("fish:\n%s\nwant\n%s", got, told)
	}
	reports := reply[openapi.DeviationList](v, token, "GET", v.path("/outings/%s/deviations", outings[0].ID), nil).Items
	var kinds []string
	for _, r := range reports {
		kinds = append(kinds, string(r.Kind)+" "+minuteOf(r.From))
		if r.Kind == "fly_lost" && (r.Fly == nil || *r.Fly != 2 || r.Until == nil || minuteOf(*r.Until) != "09:52") {
			t.Errorf("the fly that was lost: %+v", r)
		}
	}
	slices.Sort(kinds)
	if got := strings.Join(kinds, ", "); got != "back_on 13:30, fly_lost 09:40, moved 11:00, off_trial 12:15, third_fly 10:06" {
		t.Errorf("reports: %s", got)
	}
	// The receipt on the phone names the place of each fish in the angler's chain, as the service does.
	p.open("/water#kept")
	for _, c := range v.catches(token) {
		if c.ID == card.ID {
			continue
		}
		again := reply[openapi.Catch](v, token, "PUT", v.path("/catches/%s", c.ID), sent(p, c.ID.String()))
		p.shows(fmt.Sprintf("%d:%s", again.Receipt.N, again.Receipt.Hash[:8]))
	}
}

// sent is a fish as the phone sent it.
func sent(p *phone, id string) (c openapi.NewCatch) {
	p.v.t.Helper()
	p.v.check(json.Unmarshal([]byte(js[string](p, records+fmt.Sprintf(`.find((r) => r.key === "catch:%s").body).then(JSON.stringify)`, id))), &c))
	return c
}

func mustV7(t *testing.T) uuid.UUID {
	t.Helper()
	id, err := uuid.NewV7()
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func minuteOf(at time.Time) string { return at.In(dawn.Location()).Format("15:04") }

func sameMinute(at time.Time, words string) bool { return minuteOf(at) == words }
