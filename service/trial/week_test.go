package trial_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// Days by ISO 8601's own rule, worked out by hand with a calendar: week 1 holds 4 January, weeks begin on Monday.
func TestWeekDay(t *testing.T) {
	for _, c := range []struct {
		week string
		day  int
		want string
	}{
		{"2026-W01", 1, "2025-12-29"},
		{"2026-W36", 1, "2026-08-31"},
		{"2026-W36", 4, "2026-09-03"},
		{"2026-W36", 7, "2026-09-06"},
		{"2026-W53", 7, "2027-01-03"},
		{"2020-W53", 5, "2021-01-01"},
	} {
		if got, ok := trial.WeekDay(c.week, c.day); !ok || got.Format(time.DateOnly) != c.want {
			t.Errorf("day %d of %s: %s, %t, want %s", c.day, c.week, got.Format(time.DateOnly), ok, c.want)
		}
	}
	for _, bad := range []string{"", "2026-W00", "2025-W53", "2026-W54", "2026W36", "2026-36", "W36-2026", "2026-W3", "2026-W+3", "0000-W01", "2026-w36", " 026-W36"} {
		if at, ok := trial.WeekDay(bad, 4); ok {
			t.Errorf("%q was read as %s", bad, at)
		}
	}
}

// A week's Thursday is in its week and its month; every day of a week has the same month.
func TestMonthFollowsFromTheWeek(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		at := time.Unix(rapid.Int64Range(0, 4e9).Draw(rt, "seconds"), 0).UTC()
		thursday, ok := trial.WeekDay(trial.WeekOf(at), 4)
		if !ok || trial.WeekOf(thursday) != trial.WeekOf(at) || thursday.Weekday() != time.Thursday || trial.MonthOf(at) != thursday.Format("2006-01") {
			rt.Errorf("%s: week %s, month %s, Thursday %s", at, trial.WeekOf(at), trial.MonthOf(at), thursday)
		}
	})
}

// A version 7 id keeps all but its time; an id of another version is published as it is.
func TestPublicID(t *testing.T) {
	for id, want := range map[string]string{
		"0190a2b4-7c1d-7e5f-8a3b-0123456789ab": "00000000-0000-7e5f-8a3b-0123456789ab",
		"0190a2b4-7c1d-4e5f-8a3b-0123456789ab": "0190a2b4-7c1d-4e5f-8a3b-0123456789ab",
	} {
		parsed, err := trial.ParseID(id)
		if err != nil || parsed.Public().String() != want || parsed.String() != id {
			t.Errorf("%s is published as %s (%v), want %s", id, parsed.Public(), err, want)
		}
	}
}
