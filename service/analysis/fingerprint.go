package analysis

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"evenrig/service/trial"
)

// Canonical returns the input counts of an analysis as canonical JSON (RFC 8785): design, patterns, effort, and the
// tallies merged and sorted, so that the same fish give the same bytes in whatever order they came. Text must be valid
// UTF-8; the error says which is not.
func Canonical(in Input) ([]byte, error) {
	in = in.filled()
	tallies := merged(in.Tallies)
	var b strings.Builder
	b.WriteString(`{"control":`)
	quote(&b, in.Control)
	b.WriteString(`,"design":`)
	quote(&b, string(in.Design))
	e := in.Effort
	fmt.Fprintf(&b, `,"effort":{"blank_outings":%d,"blocks":%d,"deviations":%d,"enrolled":%d,"finished_blocks":%d,"late_noted":%d,"not_logged":%d,"outings":%d}`,
		e.BlankOutings, e.Blocks, e.Deviations, e.Enrolled, e.FinishedBlocks, e.LateNoted, e.NotLogged, e.Outings)
	b.WriteString(`,"tallies":[`)
	for i, t := range tallies {
		if i > 0 {
			b.WriteByte(',')
		}
		for j, field := range tallyFields(t) {
			if !utf8.ValidString(field.value) {
				return nil, trial.Fail(trial.Invalid, "analysis.invalid", "the %s %q of a tally is not UTF-8", field.key, field.value)
			}
			b.WriteByte("{,"[min(j, 1)])
			b.WriteString(`"` + field.key + `":`)
			if field.key == "n" {
				b.WriteString(field.value)
			} else {
				quote(&b, field.value)
			}
		}
		b.WriteByte('}')
	}
	b.WriteString(`],"test":`)
	quote(&b, in.Test)
	b.WriteByte('}')
	return []byte(b.String()), nil
}

// fingerprint returns the SHA-256 of the canonical input counts in hexadecimal.
func fingerprint(in Input) (string, error) {
	canonical, err := Canonical(in)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(canonical)
	return hex.EncodeToString(sum[:]), nil
}

// merged adds up tallies that agree in everything but their number, leaves out those of no fish, and sorts them by their
// fields in the order of the keys.
func merged(tallies []trial.Tally) []trial.Tally {
	counts := map[trial.Tally]int64{}
	for _, t := range tallies {
		n := t.N
		t.N = 0
		if n != 0 {
			counts[t] += n
		}
	}
	all := slices.Collect(maps.Keys(counts))
	for i := range all {
		all[i].N = counts[all[i]]
	}
	slices.SortFunc(all, func(a, b trial.Tally) int {
		return cmp.Or(
			cmp.Compare(a.Angler, b.Angler), cmp.Compare(a.Arrangement, b.Arrangement), cmp.Compare(a.Block, b.Block),
			cmp.Compare(a.Exclusion, b.Exclusion), cmp.Compare(a.Month, b.Month), cmp.Compare(a.Origin, b.Origin), cmp.Compare(a.Outing, b.Outing),
			cmp.Compare(a.Period, b.Period), cmp.Compare(a.Species, b.Species), cmp.Compare(a.Taken, b.Taken), cmp.Compare(a.Week, b.Week),
		)
	})
	return all
}

type tallyField struct{ key, value string }

// tallyFields returns a tally's fields in the order of their keys, as RFC 8785 asks.
func tallyFields(t trial.Tally) []tallyField {
	return []tallyField{
		{"angler", t.Angler},
		{"arrangement", string(t.Arrangement)},
		{"block", t.Block},
		{"exclusion", string(t.Exclusion)},
		{"month", t.Month},
		{"n", strconv.FormatInt(t.N, 10)},
		{"origin", string(t.Origin)},
		{"outing", t.Outing},
		{"period", t.Period},
		{"species", t.Species},
		{"taken", string(t.Taken)},
		{"week", t.Week},
	}
}

// quote writes a JSON string as RFC 8785 section 3.2.2.2 prescribes: only what must be escaped is, in the short form
// where there is one.
func quote(b *strings.Builder, s string) {
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\b':
			b.WriteString(`\b`)
		case r == '\t':
			b.WriteString(`\t`)
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\f':
			b.WriteString(`\f`)
		case r == '\r':
			b.WriteString(`\r`)
		case r < 0x20:
			fmt.Fprintf(b, `\u%04x`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
}
