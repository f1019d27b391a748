package web_test

import (
	"testing"
)

// A whole outing goes on with the service gone: the page opens, fish and a swap are kept, and all of it arrives once there
// is signal again.
func TestAnOutingWithoutSignal(t *testing.T) {
	v := newValley(t)
	token := v.angler("Merle", "merle@example.org")
	p := v.phone()
	p.signIn("merle@example.org")
	p.shot("ready")
	v.silence()
	p.opens()
	p.shot("fishing")
	p.lands("C")
	p.shot("saved")
	p.until("the finger rests", `new Promise((r) => setTimeout(r, 1300, true))`)
	p.lands("N")
	p.shows("Swap the flies now")
	p.shot("swap")
	p.tap("swapped")
	p.until("it is being fished", `!!document.querySelector(".lines")`)
	if n := p.unsent(); n < 5 {
		t.Errorf("%d records wait", n)
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
}
