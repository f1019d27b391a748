package trial_test

import (
	"testing"
	"time"

	"evenrig/service/trial"
)

// After so many fish or so many minutes, whichever comes first (the trade's rule of thumb: 2 fish or 45 minutes; common practice, no
// source). Minutes are whole ones, begun ones counted.
func TestHowFarTheSwapIs(t *testing.T) {
	rule := func(fish, minutes *int) trial.Protocol {
		p := complete()
		p.Swap.AfterFish, p.Swap.AfterMinutes = fish, minutes
		return p
	}
	both := rule(ptr(2), ptr(45))
	ended := trial.Period{StartedAt: noon, End: &trial.PeriodEnd{EndedAt: noon.Add(time.Hour)}}
	going := trial.Period{StartedAt: noon}
	for name, c := range map[string]struct {
		protocol trial.Protocol
		period   trial.Period
		fish     int
		after    time.Duration
		due      bool
		left     *int
	}{
		"just begun":             {both, going, 0, 0, false, ptr(45)},
		"a minute on":            {both, going, 0, time.Minute, false, ptr(44)},
		"half a minute left":     {both, going, 1, 44*time.Minute + 30*time.Second, false, ptr(1)},
		"by time":                {both, going, 0, 45 * time.Minute, true, ptr(0)},
		"long over":              {both, going, 0, 3 * time.Hour, true, ptr(0)},
		"by fish":                {both, going, 2, 10 * time.Minute, true, ptr(35)},
		"more fish":              {both, going, 5, 10 * time.Minute, true, ptr(35)},
		"by fish alone":          {rule(ptr(3), nil), going, 2, 9 * time.Hour, false, nil},
		"by fish alone, there":   {rule(ptr(3), nil), going, 3, 0, true, nil},
		"by time alone":          {rule(nil, ptr(30)), going, 20, 29 * time.Minute, false, ptr(1)},
		"by neither":             {rule(nil, nil), going, 20, 9 * time.Hour, false, nil},
		"ended":                  {both, ended, 7, 2 * time.Hour, false, nil},
		"a phone's clock behind": {both, going, 0, -2 * time.Hour, false, ptr(165)},
	} {
		got := c.period.Swap(c.protocol, c.fish, noon.Add(c.after))
		same := (got.MinutesLeft == nil) == (c.left == nil) && (c.left == nil || *got.MinutesLeft == *c.left)
		if got.Fish != c.fish || got.Due != c.due || got.Of != c.protocol.Swap.AfterFish || !same {
			t.Errorf("%s: %+v, want due %t, minutes %v", name, got, c.due, c.left)
		}
	}
}
