package analysis

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"evenrig/service/trial"
)

// Canonical returns the input counts of an analysis as canonical JSON (RFC 8785): design, patterns, effort, the draw and the
// plan of looks where there is one, who left and what was not logged, and the tallies merged and sorted, so that the same fish give
// the same bytes in whatever order they came. What a tally does not know is left out, but for the fields that every source has. Text
// must be valid UTF-8; the error says which is not.
func Canonical(in Input) ([]byte, error) {
	in = in.filled()
	in.Tallies = merged(in.Tallies)
	return canonical(in)
}

// canonical is Canonical of a filled input whose tallies are merged.
func canonical(in Input) ([]byte, error) {
	var b strings.Builder
	b.WriteString(`{"control":`)
	quote(&b, in.Control)
	b.WriteString(`,"design":`)
	quote(&b, string(in.Design))
	if len(in.Draw) > 0 {
		b.WriteString(`,"draw":[`)
		for i, block := range drawInOrder(in.Draw) {
			fields := drawnFields(block)
			if err := checkText("drawn block", fields); err != nil {
				return nil, err
			}
			writeObject(&b, i, fields)
		}
		b.WriteByte(']')
	}
	effort, err := sortedKeys(in.Effort)
	if err != nil {
		return nil, fmt.Errorf("effort: %w", err)
	}
	b.WriteString(`,"effort":`)
	b.Write(effort)
	if err := writeUnseen(&b, in); err != nil {
		return nil, err
	}
	if in.Plan != nil {
		plan, err := json.Marshal(in.Plan) // its keys stand in order
		if err != nil {
			return nil, fmt.Errorf("plan of looks: %w", err)
		}
		b.WriteString(`,"plan":`)
		b.Write(plan)
	}
	b.WriteString(`,"tallies":[`)
	var fields []field
	for i := range in.Tallies {
		fields = tallyFields(fields[:0], &in.Tallies[i])
		if err := checkText("tally", fields); err != nil {
			return nil, err
		}
		writeObject(&b, i, fields)
	}
	b.WriteString(`],"test":`)
	quote(&b, in.Test)
	b.WriteByte('}')
	return []byte(b.String()), nil
}

// writeUnseen writes who left and what was not logged, by angler; nothing where there is none.
func writeUnseen(b *strings.Builder, in Input) error {
	if left := slices.Sorted(slices.Values(in.Left)); len(left) > 0 {
		b.WriteString(`,"left":[`)
		for i, angler := range left {
			if err := checkText("angler who left", []field{{key: "angler", value: angler}}); err != nil {
				return err
			}
			if i > 0 {
				b.WriteByte(',')
			}
			quote(b, angler)
		}
		b.WriteByte(']')
	}
	if unlogged := in.unlogged(); len(unlogged) > 0 {
		b.WriteString(`,"not_logged":[`)
		for i, c := range unlogged {
			fields := []field{{key: "angler", value: c.Angler}, number("n", c.N)}
			if err := checkText("count of fish not logged", fields); err != nil {
				return err
			}
			writeObject(b, i, fields)
		}
		b.WriteByte(']')
	}
	return nil
}

// sortedKeys encodes a struct of whole numbers with its keys in order.
func sortedKeys(counts any) ([]byte, error) {
	encoded, err := json.Marshal(counts)
	if err != nil {
		return nil, err
	}
	var byKey map[string]json.RawMessage
	if err := json.Unmarshal(encoded, &byKey); err != nil {
		return nil, err
	}
	return json.Marshal(byKey)
}

func checkText(of string, fields []field) error {
	for _, f := range fields {
		if !utf8.ValidString(f.value) {
			return trial.Fail(trial.Invalid, "analysis.invalid", "the %s %q of a %s is not UTF-8", f.key, f.value, of)
		}
	}
	return nil
}

// writeObject writes one object of a list: the place in the list decides the comma.
func writeObject(b *strings.Builder, place int, fields []field) {
	if place > 0 {
		b.WriteByte(',')
	}
	for i, f := range fields {
		b.WriteByte("{,"[min(i, 1)])
		b.WriteString(`"` + f.key + `":`)
		if f.plain {
			b.WriteString(f.value)
		} else {
			quote(b, f.value)
		}
	}
	b.WriteByte('}')
}

// fingerprint returns the SHA-256 of the canonical counts of a filled input whose tallies are merged, in hexadecimal.
func fingerprint(in Input) (string, error) {
	counts, err := canonical(in)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(counts)
	return hex.EncodeToString(sum[:]), nil
}

// merged adds up tallies that agree in everything but their number, leaves out those of no fish, and sorts them by their
// fields in the order of the keys.
func merged(tallies []trial.Tally) []trial.Tally {
	sorted := slices.DeleteFunc(slices.Clone(tallies), func(t trial.Tally) bool { return t.N == 0 })
	if !slices.IsSortedFunc(sorted, trial.CompareTallies) { // as counting leaves them
		slices.SortFunc(sorted, trial.CompareTallies)
	}
	sum := sorted[:0]
	for _, t := range sorted {
		if last := len(sum) - 1; last >= 0 && trial.CompareTallies(sum[last], t) == 0 {
			sum[last].N += t.N
			continue
		}
		sum = append(sum, t)
	}
	return sum
}

// drawInOrder returns the drawn blocks by angler, each angler's in the order of the draw.
func drawInOrder(draw []trial.DrawnBlock) []trial.DrawnBlock {
	sorted := slices.Clone(draw)
	slices.SortStableFunc(sorted, func(a, b trial.DrawnBlock) int { return cmp.Compare(a.Angler, b.Angler) })
	return sorted
}

// field is one key of an object with its value; plain ones are numbers and truth values, which are not quoted.
type field struct {
	key, value string
	plain      bool
}

// tallyFields appends a tally's fields in the order of their keys, as RFC 8785 asks. Those from half on in trial.Tally are
// left out where they say nothing.
func tallyFields(fields []field, t *trial.Tally) []field {
	fields = append(fields,
		field{key: "angler", value: t.Angler}, field{key: "arrangement", value: string(t.Arrangement)}, field{key: "block", value: t.Block})
	text := func(key, value string) {
		if value != "" {
			fields = append(fields, field{key: key, value: value})
		}
	}
	mark := func(key string, is bool) {
		if is {
			fields = append(fields, field{key: key, value: "true", plain: true})
		}
	}
	text("columns", t.Columns)
	mark("deviated", t.Deviated)
	mark("disputed_only", t.DisputedOnly)
	text("drawn", string(t.Drawn))
	fields = append(fields, field{key: "exclusion", value: string(t.Exclusion)})
	mark("finished", t.Finished)
	text("fly", t.Fly)
	if t.Half != 0 {
		fields = append(fields, number("half", int64(t.Half)))
	}
	mark("late", t.Late)
	fields = append(fields, field{key: "month", value: t.Month}, number("n", t.N))
	mark("opened_late", t.OpenedLate)
	fields = append(fields,
		field{key: "origin", value: string(t.Origin)}, field{key: "outing", value: t.Outing}, field{key: "period", value: t.Period},
		field{key: "species", value: t.Species}, field{key: "taken", value: string(t.Taken)})
	text("water_type", t.WaterType)
	fields = append(fields, field{key: "week", value: t.Week})
	text("welfare", t.Welfare)
	return fields
}

func drawnFields(b trial.DrawnBlock) []field {
	return []field{
		{key: "angler", value: b.Angler},
		{key: "block", value: b.Block},
		{key: "first", value: string(b.First)},
		number("group", int64(b.Group)),
		number("size", int64(b.Size)),
	}
}

func number(key string, n int64) field {
	return field{key: key, value: strconv.FormatInt(n, 10), plain: true}
}

// quote writes a JSON string as RFC 8785 section 3.2.2.2 prescribes: only what must be escaped is, in the short form
// where there is one.
func quote(b *strings.Builder, s string) {
	b.WriteByte('"')
	if !strings.ContainsFunc(s, func(r rune) bool { return r < 0x20 || r == '"' || r == '\\' || r == utf8.RuneError }) {
		b.WriteString(s)
		b.WriteByte('"')
		return
	}
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
