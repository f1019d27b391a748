package web_test

import (
	"strings"
	"testing"
	"time"

	"evenrig/service/exchange"
	"evenrig/service/trial"
)

// Who fishes alone needs no account and no signal; the phone's own coin draws, and the catch table that is saved is one
// that the contract's reader takes, with the reasons for which fish are not analysed.
func TestAlone(t *testing.T) {
	t.Parallel()
	v := newValley(t)
	p := v.phone()
	p.open("/alone")
	p.shows("Alone, with a coin")
	p.until("the page is kept", `caches.keys().then((n) => n.some((name) => name.startsWith("/alone ")))`)
	p.tap("new")
	p.shows("differ in one thing only")
	for _, f := range []struct{ n, name, shape, colour string }{{"0", "Hackled beetle", "hackle", "black"}, {"1", "Bare, beetle", "bare", "black"}} {
		js[any](p, `(() => { const e = document.querySelectorAll("fieldset:not(.pick)")[`+f.n+`].querySelectorAll("input"); [e[0].value, e[1].value, e[2].value] = ["`+f.name+`", "`+f.shape+`", "`+f.colour+`"]; })()`)
	}
	p.fill("Waters", "The far tarn, Kirk beck")
	p.fill("Fish you fish for, if you like", "Salmo trutta")
	p.shot("alone-new")
	p.tap("keep")
	p.shows("Hackled beetle or Bare, beetle?")
	v.silence()
	p.tap("The far tarn", "I will take that care.", "open")
	p.shows("Draw the coin")
	p.tap("coin")
	p.shows("by this phone's coin")
	p.tap("rigged")
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	drawn := js[string](p, records+`.find((r) => r.kind === "unit").body.first)`)
	p.at("07:10")
	p.lands("A")
	p.at("07:20")
	p.lands("B")
	p.shows("Swap the flies now")
	p.at("07:22")
	p.tap("aside")
	p.lands("A")
	p.shows("Swap the flies now")
	p.at("07:25")
	p.tap("swapped")
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	p.at("07:40")
	p.lands("B")
	p.tap("came_off")
	p.at("07:50")
	p.tap("planned", "close")
	p.shows("Stopped fishing at")
	p.tap("close")
	p.shows("Everything stays on this phone")
	p.shot("alone-closed")
	p.shows("on the phone")
	js[any](p, `(() => { const make = URL.createObjectURL; URL.createObjectURL = (b) => { b.text().then((text) => { globalThis.file = text; }); return make(b); }; })()`)
	p.tap("Save the catch table: Hackled beetle or Bare, beetle?")
	p.until("there is a table", `!!globalThis.file`)
	table, faults, err := exchange.ReadCatchTable(strings.NewReader(js[string](p, `file`)), exchange.ReadOptions{Test: "A", Control: "B"})
	if err != nil || len(faults) > 0 {
		t.Fatalf("the table: %v, %v\n%s", err, faults, js[string](p, `file`))
	}
	lower := map[string]trial.Arrangement{"test_lower": trial.TestLower, "control_lower": trial.ControlLower}[drawn]
	want := []struct {
		arrangement trial.Arrangement
		taken       trial.Taken
		why         trial.Exclusion
	}{{lower, trial.TookTest, ""}, {lower, trial.TookControl, ""}, {lower, trial.TookTest, trial.WhileSwapping}, {lower.Other(), trial.TookControl, trial.ExcludeLost}}
	tallies, err := table.Tallies()
	if err != nil {
		t.Fatal(err)
	}
	n := int64(0)
	for _, tally := range tallies {
		n += tally.N
	}
	if n != int64(len(want)) {
		t.Errorf("%d fish in the table, want %d", n, len(want))
	}
	for _, w := range want {
		found := false
		for _, tally := range tallies {
			found = found || tally.Arrangement == w.arrangement && tally.Taken == w.taken && tally.Exclusion == w.why
		}
		if !found {
			t.Errorf("no fish %+v in %+v", w, tallies)
		}
	}
	p.open("/alone#")
	p.tap("Throw everything away", "Yes, all of it", "forget")
	p.until("nothing is left", records+`.length === 0)`)
	time.Sleep(100 * time.Millisecond)
}
