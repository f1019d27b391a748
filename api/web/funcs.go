package web

import (
	"cmp"
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"time"

	"evenrig/service/trial"
)

// functions are what templates may call.
func (b *book) functions() template.FuncMap {
	return template.FuncMap{
		"t": b.say, "tk": b.sayOf, "n": b.count, // words: by key, by a value out of a list, by a number
		"asset": assetAddress, "rig": b.rig, "fly": b.fly, "field": field, "choice": choice, "cell": cell,
		"day": day, "minute": minute, "stamp": stamp, "lower": lowerFly, "degrees": degrees, "list": func(values ...any) []any { return values },
	}
}

// day writes a date as 4 Oct 2026, of the day in UTC.
func day(t time.Time) string { return t.UTC().Format("2 Jan 2006") }

// stamp writes a time of the server's as plain words.
func stamp(t time.Time) string { return t.UTC().Format("2 January 2006, 15:04 UTC") }

// minute writes a time of the server's for a page; where a script runs, it shows it in the reader's own zone.
func minute(t time.Time) template.HTML {
	return template.HTML(`<time datetime="` + t.UTC().Format(time.RFC3339) + `">` + stamp(t) + `</time>`)
}

// lowerFly is the code of the fly that hangs lower in an arrangement.
func lowerFly(p trial.Protocol, a any) string {
	lower, _ := p.Flies(trial.Arrangement(fmt.Sprint(a)))
	return lower
}

// degrees writes a temperature as people do.
func degrees(m trial.Measure) string { return number(m.Value) + " °" + m.Unit }

// number writes a number without needless digits.
func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

func sortFaults(faults []trial.FieldError) {
	slices.SortFunc(faults, func(a, b trial.FieldError) int { return cmp.Compare(a.Field, b.Field) })
}
