package report

import (
	"fmt"
	"time"
)

// weekAxis lays weeks out across a figure, each as wide as the others, weeks without fish too.
type weekAxis struct {
	first time.Time // Monday of the first week
	weeks int
	scale scale
}

// newWeekAxis spans the weeks given ("2026-W36", ISO 8601), in any order; false where none can be read.
func newWeekAxis(weeks []string) (weekAxis, bool) {
	a := weekAxis{scale: scale{10, 96}}
	var last time.Time
	for _, w := range weeks {
		monday, ok := mondayOf(w)
		if !ok {
			continue
		}
		if a.first.IsZero() || monday.Before(a.first) {
			a.first = monday
		}
		if monday.After(last) {
			last = monday
		}
	}
	if a.first.IsZero() {
		return a, false
	}
	a.weeks = int(last.Sub(a.first)/(7*24*time.Hour)) + 1
	return a, a.weeks <= mostWeeksDrawn
}

// mostWeeksDrawn is ten years: beyond it a date is likely to be mistyped.
const mostWeeksDrawn = 530

// at is the place of a moment of a week: 0 its Monday, 1 its end. False for a text that is no week.
func (a weekAxis) at(week string, moment float64) (part float64, ok bool) {
	monday, ok := mondayOf(week)
	if !ok {
		return 0, false
	}
	return (float64(monday.Sub(a.first)/(7*24*time.Hour)) + moment) / float64(a.weeks), true
}

// weekTick is a Monday on the axis. Minor ones have room on a wide page only.
type weekTick struct {
	X, Text string
	Minor   bool
}

// ticks marks about eight Mondays, every other one for a wide page only.
func (a weekAxis) ticks() []weekTick {
	every := 1
	for a.weeks > 8*every {
		every++
	}
	var ticks []weekTick
	for i := 0; i < a.weeks; i += every {
		monday := a.first.AddDate(0, 0, 7*i)
		ticks = append(ticks, weekTick{a.scale.at(float64(i) / float64(a.weeks)), dayShort(monday), len(ticks)%2 == 1})
	}
	return ticks
}

// dayShort writes a date as 4 Oct.
func dayShort(t time.Time) string { return t.Format("2 Jan") }

// weekName says a week by its Monday; what is no week is said as it stands.
func weekName(week string) string {
	monday, ok := mondayOf(week)
	if !ok {
		return week
	}
	return monday.Format("2 January 2006")
}

func mondayOf(week string) (time.Time, bool) {
	var year, w int
	if n, err := fmt.Sscanf(week, "%4d-W%2d", &year, &w); err != nil || n != 2 || w < 1 || w > 53 {
		return time.Time{}, false
	}
	// 4 January is always in week 1.
	january4 := time.Date(year, time.January, 4, 0, 0, 0, 0, time.UTC)
	monday := january4.AddDate(0, 0, -(int(january4.Weekday())+6)%7)
	return monday.AddDate(0, 0, 7*(w-1)), true
}

// drop maps a share, 0 to 1, to a height in pixels.
type drop struct{ top, bottom float64 }

func (d drop) at(share float64) float64 { return tenth(d.bottom - (d.bottom-d.top)*share) }

func (d drop) ticks() []heightTick {
	var ticks []heightTick
	for _, share := range []float64{1, .75, .5, .25, 0} {
		ticks = append(ticks, heightTick{int(d.at(share)), fmt.Sprint(int(100 * share)), share == .5})
	}
	return ticks
}

// upright is an upright stretch at a place across, wide as a part of the figure or a line.
type upright struct {
	X, Width, End string
	Top, Bottom   float64
}

func (c upright) Height() float64 { return tenth(c.Bottom - c.Top) }
