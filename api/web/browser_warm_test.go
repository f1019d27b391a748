package web_test

import (
	"fmt"
	"testing"
	"time"

	"evenrig/openapi"
)

// In water at which the trial stops nothing can be rigged or logged, until the organiser lets the angler fish on: the phone looks when it is
// told to, needs signal for it, and then goes on with the round, on that day alone.
func TestLeaveToFishOnInWarmWater(t *testing.T) {
	t.Parallel()
	v := newValley(t)
	token, organiser := v.angler("Merle", "merle@example.org"), v.member("organiser", "Hazel")
	p := v.phone()
	p.signIn("merle@example.org")
	p.at("09:00")
	p.opens()
	p.lands("N")
	p.tap("planned", "temperature")
	p.fill("Water temperature", "20.5")
	p.tap("measured")
	p.shows("this trial stops", "Only the organiser can let you fish on today")
	p.shot("warm")
	p.sends()

	v.silence()
	p.tap("leave")
	p.shows("this trial stops", "No way to the service")
	v.signal()
	p.tap("leave")
	p.shows("this trial stops", "The organiser has not let you fish on today")
	mine := reply[openapi.Enrolment](v, token, "GET", v.path("/enrolment"), nil)
	override := openapi.NewWelfareOverride{Angler: mine.Pseudonym, Day: "2026-09-11", Reason: "a cold spring comes in above the reach"}
	reply[openapi.WelfareOverride](v, organiser, "POST", v.path("/welfare-overrides"), override)
	p.tap("leave")
	p.shows("this trial stops", "The organiser has not let you fish on today")
	override.Day = "2026-09-12"
	reply[openapi.WelfareOverride](v, organiser, "POST", v.path("/welfare-overrides"), override)
	p.tap("leave")
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	p.shows("the organiser has let you fish on today", "stop when a fish is slow to go")
	p.shot("warm-leave")

	v.silence() // what the phone knows it keeps
	p.lands("C")
	p.at("09:48")
	p.shows("Swap the flies now")
	p.tap("swapped")
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	p.open("/water#")
	p.tap("Go on fishing")
	p.shows("the organiser has let you fish on today")
	v.signal()
	p.sends()
	if refused := js[string](p, records+`.filter((r) => r.sent === "refused").map((r) => JSON.stringify(r)).join("\n"))`); refused != "" {
		t.Errorf("refused: %s", refused)
	}

	p.tap("planned", "close", "close")
	p.shows("Your receipt")
	p.later(24 * time.Hour)
	p.open("/water#")
	p.tap("Open an outing", "Upper Wend")
	p.fill("Water temperature", "20.5")
	p.shows("Do not fish")
}

// The numbers of the two flies are noted when the first half is rigged, by who likes to, and go on with the swap; a fly that was
// lost ends that.
func TestNumbersOfFliesAreNoted(t *testing.T) {
	t.Parallel()
	v, token, p := newAngling(t)
	p.at("09:00")
	p.open("/water#")
	p.tap("Open an outing", "Upper Wend")
	p.fill("Water temperature", "11.5")
	p.tap("open")
	p.shows("Rigged so")
	p.shot("rig")
	p.tap("Numbers of the flies", "Collared nymph: more", "Collared nymph: more", "Plain nymph: more")
	p.shot("rig-numbers")
	p.tap("rigged")
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	swap := func(hour string) {
		t.Helper()
		p.at(hour)
		p.shows("Swap the flies now", "The rule's time is up")
		p.tap("swapped")
		p.until("it is being fished", `!!document.querySelector(".lines")`)
	}
	swap("09:48")
	p.at("10:00")
	p.tap("planned", "fly_lost", "gone")
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	p.tap("retied", "Retied, rigged as before")
	p.until("it is being fished", `!!document.querySelector(".lines") && !document.querySelector(".due")`)
	p.at("10:36")
	p.shows("The rule's time is up")
	p.tap("swapped")
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	p.sends()
	outing := reply[openapi.OutingList](v, token, "GET", v.path("/outings"), nil).Items[0]
	numbers := ""
	for _, half := range reply[openapi.PeriodList](v, token, "GET", v.path("/outings/%s/periods", outing.ID), nil).Items {
		numbers += fmt.Sprintf("%s/%d: %s %s, ", half.Block, half.Half, said(half.TestFly), said(half.ControlFly))
	}
	if want := "1/1: 2 1, 1/2: 2 1, 2/1: none none, "; numbers != want {
		t.Errorf("the halves' flies are %s, want %s", numbers, want)
	}
}

func said(number *int) string {
	if number == nil {
		return "none"
	}
	return fmt.Sprint(*number)
}
