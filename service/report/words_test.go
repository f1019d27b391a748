package report

import (
	"math"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

func TestShareWords(t *testing.T) {
	for _, c := range []struct {
		estimate, low, high *float64
		want                string
	}{
		{at(.694), at(.588), at(.769), "69 of 100 (59 to 77)"},
		{at(.694), nil, at(.769), "69 of 100"},
		{nil, at(.588), at(.769), Missing},
		{at(math.NaN()), nil, nil, Missing},
		{at(0), at(0), at(.12), "0 of 100 (0 to 12)"},
		{at(1), at(.72), at(1), "100 of 100 (72 to 100)"},
		{at(.999), at(.9951), at(.9999), "over 99 of 100 (over 99 to over 99)"},
		{at(.001), at(.0001), at(.02), "under 1 of 100 (under 1 to 2)"},
		{at(.6), at(.502), at(.7), "60 of 100 (50.2 to 70)"},
		{at(.6), at(.50004), at(.7), "60 of 100 (just over 50 to 70)"},
		{at(.4), at(.3), at(.49996), "40 of 100 (30 to just under 50)"},
		{at(.5), at(.5), at(.5), "50 of 100 (50 to 50)"},
	} {
		if got := Share100(c.estimate, c.low, c.high); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}

// A limit is never said to lie on the other side of 50 from where it lies: the verdict hangs on it.
func TestLimitKeepsItsSide(t *testing.T) {
	for i := range 4001 {
		x := .48 + float64(i)/100000
		said := Limit100(&x)
		if (said == "50") != (x == .5) {
			t.Errorf("%v is said as %q", x, said)
		}
	}
}

func TestNumberWords(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Number(at(-.1234), 3), "−" + "0.123"},
		{Number(at(-.0001), 3), "0.000"},
		{Number(nil, 3), Missing},
		{Number(at(math.Inf(1)), 3), Missing},
		{NumberInterval(at(-1), at(2), nil, nil, 1), "−" + "1.0 to 2.0"},
		{NumberInterval(nil, at(2), at(0), at(.9), 1), "no lower bound to 2.0"},
		{NumberInterval(at(1), nil, at(.7), at(1), 1), "1.0 to no upper bound"},
		{NumberInterval(nil, at(2), nil, nil, 1), Missing},
		{PValue(at(.04567)), "0.046"},
		{PValue(at(.0046)), "0.0046"},
		{PValue(at(1e-9)), "below 0.0001"},
		{PValue(at(0)), "below 0.0001"},
		{PValue(at(1)), "1.000"},
		{PValue(nil), Missing},
		{Count(0), "0"},
		{Count(999), "999"},
		{Count(12345), "12 345"},
		{Count(1000000), "1 000 000"},
		{Count(-1234), "−" + "1 234"},
		{Counted(1, "angler", "anglers"), "1 angler"},
		{Counted(0, "angler", "anglers"), "0 anglers"},
		{Percent(at(.95)), "95 %"},
		{Percent(at(.999)), "99.9 %"},
		{oddsRatio(nil, at(3.2), nil), "without bound (3.20 to no upper bound)"},
		{oddsRatio(nil, nil, nil), Missing},
		{oddsRatio(at(5.79), at(2.11), at(17.47)), "5.79 (2.11 to 17.47)"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

// Every word of the vocabulary that a reader may meet has a plain name.
func TestEveryCodeHasAName(t *testing.T) {
	for _, reason := range trial.Exclusions() {
		if _, named := exclusionNames[reason]; !named {
			t.Errorf("the exclusion %q has no plain name", reason)
		}
	}
	for _, name := range []string{
		MethodName(analysis.ExactStratified), MethodName(analysis.MixedModelProfile),
		VaryName(analysis.VaryPattern), VaryName(analysis.VaryPatternPosition), VaryName(analysis.VaryPatternPositionOuting),
		DesignName(trial.Paired), DesignName(trial.PairedByOuting), AdjustmentName(analysis.ModifiedHK), fitStatus(analysis.NoMaximum),
	} {
		if len(name) < 10 {
			t.Errorf("%q is no name for a reader", name)
		}
	}
}
