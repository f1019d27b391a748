package trial

import (
	"fmt"
	"time"
)

// WeekOf returns the ISO 8601 week of a time by its own clock, like 2026-W36: the finest time that is published.
func WeekOf(t time.Time) string {
	year, week := t.ISOWeek()
	return fmt.Sprintf("%04d-W%02d", year, week)
}

// MonthOf returns the month to which the time's week belongs, like 2026-09: the one that holds the week's Thursday, as ISO
// 8601 gives a week to a year. So week and month together tell no more of the day than the week alone.
func MonthOf(t time.Time) string { return thursdayOf(t).Format("2006-01") }

// thursdayOf returns the Thursday of the time's ISO week, at the same time of the day.
func thursdayOf(t time.Time) time.Time {
	return t.AddDate(0, 0, 4-weekday(t))
}

// weekday counts from Monday, 1, to Sunday, 7.
func weekday(t time.Time) int { return (int(t.Weekday())+6)%7 + 1 }

// WeekDay returns day 1 (Monday) to 7 of a week as WeekOf writes it, at midnight UTC; ok is false for any other text and
// for a week that its year does not have.
func WeekDay(week string, day int) (at time.Time, ok bool) {
	var year, n int
	if len(week) != len("2026-W36") {
		return time.Time{}, false
	}
	if _, err := fmt.Sscanf(week, "%04d-W%02d", &year, &n); err != nil || year < 1 {
		return time.Time{}, false
	}
	fourth := time.Date(year, time.January, 4, 0, 0, 0, 0, time.UTC) // always in week 1
	at = fourth.AddDate(0, 0, 7*(n-1)+day-weekday(fourth))
	if WeekOf(at) != week {
		return time.Time{}, false
	}
	return at, true
}
