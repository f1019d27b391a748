package trial

import (
	"encoding/json"
	"maps"
	"slices"
	"strings"
	"unicode/utf16"
)

// Further holds a fish's values in columns that the catch table does not know, by the columns' names: a canonical JSON object
// (RFC 8785) of texts. An empty value is not held; with none at all Further is empty.
type Further string

// NewFurther writes values by column. Names and values must be valid UTF-8.
func NewFurther(values map[string]string) Further {
	names := slices.Collect(maps.Keys(values))
	names = slices.DeleteFunc(names, func(name string) bool { return values[name] == "" })
	if len(names) == 0 {
		return ""
	}
	// The standard sorts names by their UTF-16 code units.
	slices.SortFunc(names, func(a, b string) int { return slices.Compare(utf16.Encode([]rune(a)), utf16.Encode([]rune(b))) })
	var b strings.Builder
	for i, name := range names {
		b.WriteByte("{,"[min(i, 1)])
		writeJSON(&b, name)
		b.WriteByte(':')
		writeJSON(&b, values[name])
	}
	b.WriteByte('}')
	return Further(b.String())
}

// Values reads what NewFurther wrote; nil where there is nothing, or something else.
func (f Further) Values() map[string]string {
	var values map[string]string
	if f == "" || json.Unmarshal([]byte(f), &values) != nil {
		return nil
	}
	return values
}

// Only returns what stands in the named columns.
func (f Further) Only(columns []string) Further {
	if f == "" || len(columns) == 0 {
		return ""
	}
	values := f.Values()
	maps.DeleteFunc(values, func(column, _ string) bool { return !slices.Contains(columns, column) })
	return NewFurther(values)
}

// writeJSON writes a string as RFC 8785, section 3.2.2.2, prescribes: quotation mark, backslash and control characters are
// escaped, in the short form where there is one, and nothing else is.
func writeJSON(b *strings.Builder, s string) {
	const escaped, letters, digits = "\b\t\n\f\r\"\\", "btnfr\"\\", "0123456789abcdef"
	b.WriteByte('"')
	for _, r := range s {
		switch i := strings.IndexRune(escaped, r); {
		case i >= 0:
			b.WriteByte('\\')
			b.WriteByte(letters[i])
		case r < ' ':
			b.WriteString("\\u00")
			b.WriteByte(digits[r>>4])
			b.WriteByte(digits[r&15])
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
}
