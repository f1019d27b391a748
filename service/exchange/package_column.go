package exchange

import (
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"evenrig/service/trial"
)

// column is one column of a package's table: what the descriptor and the dictionary say of it, and how a value of it is written
// and read. Its one function at points at the field of a row, so that writing and reading cannot part.
type column[T any] struct {
	name    string
	meaning string
	kind    string // of Table Schema: string, integer, number, boolean, array
	unit    string
	need    bool     // never empty
	unique  bool     // no two rows have the same
	words   []string // all that is accepted
	least   *int
	pattern string // regular expression of the whole value
	write   func(*T) string
	read    func(*T, string) error
}

// maxPackageText is the number of characters that a text of a package's table may have.
const maxPackageText = 64 * 1024

// textColumn is a text. What a spreadsheet program would take for a formula is guarded as in a catch table.
func textColumn[T any, S ~string](name, meaning string, at func(*T) *S) column[T] {
	return column[T]{
		name: name, meaning: meaning, kind: "string",
		write: func(row *T) string { return guard(string(*at(row))) },
		read: func(row *T, value string) error {
			switch {
			case !utf8.ValidString(value):
				return fmt.Errorf("is not UTF-8")
			case len(value) > maxPackageText:
				return fmt.Errorf("is longer than %d bytes", maxPackageText)
			}
			*at(row) = S(unguard(value))
			return nil
		},
	}
}

// wordColumn is one of a few words, or empty unless it is needed.
func wordColumn[T any, S ~string](name, meaning string, at func(*T) *S, words ...S) column[T] {
	c := column[T]{name: name, meaning: meaning, kind: "string", write: func(row *T) string { return string(*at(row)) }}
	for _, w := range words {
		c.words = append(c.words, string(w))
	}
	c.read = func(row *T, value string) error {
		if value != "" && !slices.Contains(c.words, value) {
			return fmt.Errorf("accepted: %s", strings.Join(c.words, ", "))
		}
		*at(row) = S(value)
		return nil
	}
	return c
}

// patternColumn is a text of a fixed form, or empty unless it is needed.
func patternColumn[T any](name, meaning, pattern string, at func(*T) *string) column[T] {
	form := regexp.MustCompile("^(?:" + pattern + ")$")
	return column[T]{
		name: name, meaning: meaning, kind: "string", pattern: pattern,
		write: func(row *T) string { return *at(row) },
		read: func(row *T, value string) error {
			if value != "" && !form.MatchString(value) {
				return fmt.Errorf("accepted: what fits %s", pattern)
			}
			*at(row) = value
			return nil
		},
	}
}

const (
	weekPattern      = `[0-9]{4}-W[0-5][0-9]`
	pseudonymPattern = `[0-9A-HJKMNP-TV-Z]{6}`
	digestPattern    = `[0-9a-f]{64}`
	idPattern        = `[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}`
)

// weekColumn is an ISO 8601 week, the finest time of a package.
func weekColumn[T any](name, meaning string, at func(*T) *string) column[T] {
	c := patternColumn(name, meaning, weekPattern, at)
	c.unit = "week (ISO 8601)"
	return c
}

func pseudonymColumn[T any](at func(*T) *string) column[T] {
	return patternColumn("angler", "pseudonym of the angler, in this trial alone", pseudonymPattern, at)
}

// idColumn is a UUID as it may be published; the nil UUID is empty.
func idColumn[T any](name, meaning string, at func(*T) *trial.ID) column[T] {
	return column[T]{
		name: name, meaning: meaning, kind: "string", pattern: idPattern,
		write: func(row *T) string {
			if at(row).IsZero() {
				return ""
			}
			return at(row).String()
		},
		read: func(row *T, value string) error {
			*at(row) = trial.ID{}
			if value == "" {
				return nil
			}
			id, err := trial.ParseID(value)
			if err != nil {
				return err
			}
			if id.String() != value || id.IsZero() {
				return fmt.Errorf("accepted: a UUID in lower case")
			}
			*at(row) = id
			return nil
		},
	}
}

// digestColumn is 32 bytes in hexadecimal; zero is empty.
func digestColumn[T any, D ~[32]byte](name, meaning string, at func(*T) *D) column[T] {
	return column[T]{
		name: name, meaning: meaning, kind: "string", pattern: digestPattern,
		write: func(row *T) string {
			if d := trial.Digest(*at(row)); !d.IsZero() {
				return d.String()
			}
			return ""
		},
		read: func(row *T, value string) error {
			var d trial.Digest
			if value != "" {
				if err := d.UnmarshalText([]byte(value)); err != nil || d.String() != value {
					return fmt.Errorf("accepted: 64 hexadecimal digits in lower case")
				}
			}
			*at(row) = D(d)
			return nil
		},
	}
}

// wholeColumn is a whole number of 0 or more. Where empty is told from 0, see maybeWholeColumn.
func wholeColumn[T any, N ~int | ~int64](name, meaning, unit string, at func(*T) *N) column[T] {
	return column[T]{
		name: name, meaning: meaning, kind: "integer", unit: unit, need: true, least: new(int),
		write: func(row *T) string { return strconv.FormatInt(int64(*at(row)), 10) },
		read: func(row *T, value string) error {
			n, err := wholeNumber(value)
			*at(row) = N(n)
			return err
		},
	}
}

// maybeWholeColumn is a whole number of 0 or more, or empty.
func maybeWholeColumn[T any](name, meaning, unit string, at func(*T) **int) column[T] {
	return column[T]{
		name: name, meaning: meaning, kind: "integer", unit: unit, least: new(int),
		write: func(row *T) string { return number(*at(row)) },
		read: func(row *T, value string) error {
			*at(row) = nil
			if value == "" {
				return nil
			}
			n, err := wholeNumber(value)
			if err == nil {
				small := int(n)
				*at(row) = &small
			}
			return err
		},
	}
}

func wholeNumber(value string) (int64, error) {
	n, err := strconv.ParseInt(value, 10, 64)
	if err != nil || n < 0 || n > 1<<52 || strconv.FormatInt(n, 10) != value {
		return 0, fmt.Errorf("accepted: a whole number from 0")
	}
	return n, nil
}

// numberColumn is a finite number in its shortest form that reads back the same, or empty.
func numberColumn[T any](name, meaning, unit string, at func(*T) **float64) column[T] {
	return column[T]{
		name: name, meaning: meaning, kind: "number", unit: unit,
		write: func(row *T) string {
			if *at(row) == nil {
				return ""
			}
			return strconv.FormatFloat(**at(row), 'g', -1, 64)
		},
		read: func(row *T, value string) error {
			*at(row) = nil
			if value == "" {
				return nil
			}
			x, err := strconv.ParseFloat(value, 64)
			if err != nil || x-x != 0 || strconv.FormatFloat(x, 'g', -1, 64) != value {
				return fmt.Errorf("accepted: a finite number with a decimal point")
			}
			*at(row) = &x
			return nil
		},
	}
}

func truthColumn[T any](name, meaning string, at func(*T) *bool) column[T] {
	return column[T]{
		name: name, meaning: meaning, kind: "boolean", need: true,
		write: func(row *T) string { return strconv.FormatBool(*at(row)) },
		read: func(row *T, value string) error {
			if value != "true" && value != "false" {
				return fmt.Errorf("accepted: true, false")
			}
			*at(row) = value == "true"
			return nil
		},
	}
}

// listColumn is a list of texts as a JSON array; none is empty.
func listColumn[T any](name, meaning string, at func(*T) *[]string) column[T] {
	return column[T]{
		name: name, meaning: meaning, kind: "array",
		write: func(row *T) string {
			if len(*at(row)) == 0 {
				return ""
			}
			return arrayText(*at(row))
		},
		read: func(row *T, value string) error {
			*at(row) = nil
			if value == "" {
				return nil
			}
			var list []string
			if err := json.Unmarshal([]byte(value), &list); err != nil || len(list) == 0 || arrayText(list) != value {
				return fmt.Errorf("accepted: a list of texts like [\"week\"], or nothing")
			}
			*at(row) = list
			return nil
		},
	}
}

// arrayText writes a list as JSON; a bracket starts no formula.
func arrayText(list []string) string {
	text, err := json.Marshal(list)
	if err != nil {
		panic(err) // texts always encode
	}
	return string(text)
}

// measureColumn is a number as it was typed with its unit, like 14.5 C, or empty.
func measureColumn[T any](name, meaning string, at func(*T) **trial.Measure) column[T] {
	return column[T]{
		name: name, meaning: meaning, kind: "string", pattern: `'?-?[0-9.]+ [A-Za-z]+`, unit: "as typed",
		write: func(row *T) string {
			if *at(row) == nil {
				return ""
			}
			return guard((*at(row)).String())
		},
		read: func(row *T, value string) error {
			*at(row) = nil
			if value == "" {
				return nil
			}
			text, unit, _ := strings.Cut(unguard(value), " ")
			x, err := strconv.ParseFloat(text, 64)
			m := trial.Measure{Value: x, Unit: unit}
			if err != nil || x-x != 0 || m.String() != unguard(value) {
				return fmt.Errorf("accepted: a number and its unit like 14.5 C")
			}
			*at(row) = &m
			return nil
		},
	}
}

// needed is the column with a value in every row; key is one whose value no two rows share.
func needed[T any](c column[T]) column[T] { c.need = true; return c }
func key[T any](c column[T]) column[T]    { c.need, c.unique = true, true; return c }
