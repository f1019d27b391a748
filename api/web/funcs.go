package web

import (
	"cmp"
	"html/template"
	"slices"
	"time"

	"evenrig/service/trial"
)

// functions are what templates may call.
func (b *book) functions() template.FuncMap {
	return template.FuncMap{
		"t": b.say, "tk": b.sayOf, "n": b.count, // words: by key, by a value out of a list, by a number
		"asset": assetAddress, "rig": b.rig, "fly": b.fly, "field": field, "choice": choice,
		"day": day, "minute": minute, "list": func(values ...any) []any { return values },
	}
}

// day writes a date as 4 October 2026, of the day in UTC.
func day(t time.Time) string { return t.UTC().Format("2 January 2006") }

// minute writes a time for a machine; where a script runs, it is shown in the reader's own zone.
func minute(t time.Time) string { return t.UTC().Format("2006-01-02 15:04 UTC") }

func sortFaults(faults []trial.FieldError) {
	slices.SortFunc(faults, func(a, b trial.FieldError) int { return cmp.Compare(a.Field, b.Field) })
}
