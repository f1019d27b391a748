package exchange

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"evenrig/service/trial"
)

// fields reads the values of one record and gathers its faults.
type fields struct {
	record  []string
	layout  layout
	dialect dialect
	line    int
	faults  []RowFault
}

// row returns the record as a typed row, without the values that are at fault.
func (f *fields) row() Row {
	f.width()
	row := Row{
		Line:          f.line,
		Angler:        f.text(colAngler),
		Outing:        f.text(colOuting),
		Block:         f.integer(colBlock),
		Period:        f.integer(colPeriod),
		LowerPattern:  f.text(colLowerPattern),
		TakenPosition: word(f, colTakenPosition, "", trial.Lower, trial.Upper, trial.UnknownPosition, trial.OtherPosition),
		TakenPattern:  f.text(colTakenPattern),
		CaughtAt:      f.caughtAt(),
		Species:       f.text(colSpecies),
		Origin:        word(f, colOrigin, trial.UnknownOrigin, trial.Wild, trial.Stocked, trial.UnknownOrigin),
		WaterType:     f.text(colWaterType),
		Fly:           f.text(colFly),
		Outcome:       word(f, colOutcome, trial.Landed, trial.Landed, trial.Lost, trial.Touched),
		FoulHooked:    word(f, colFoulHooked, "no", "yes", "no") == "yes",
		Length:        f.length(),
		Exclusion:     word(f, colExclusion, trial.Analysed, trial.Exclusions()...),
		Further:       f.further(),
	}
	if row.Angler == "" {
		row.Angler = DefaultAngler
	}
	return row
}

func (f *fields) fault(column, value, format string, args ...any) {
	f.faults = append(f.faults, RowFault{Line: f.line, Column: column, Value: value, Reason: fmt.Sprintf(format, args...)})
}

// width names a row that has another number of values than the header has columns; empty ones at the end do not matter.
func (f *fields) width() {
	named := f.layout.named
	if len(f.record) < len(named) {
		f.fault("", "", "has %d values where the header has %d columns", len(f.record), len(named))
		return
	}
	for i, value := range f.record {
		if (i >= len(named) || !named[i]) && strings.TrimSpace(value) != "" {
			f.fault("", value, "stands in column %d, which has no name in the header; a value with the separator in it needs double quotes", i+1)
			return
		}
	}
}

// text returns the value of a column without spaces around it, empty when the table or the row lacks it.
func (f *fields) text(column string) string {
	i, ok := f.layout.at[column]
	if !ok || i >= len(f.record) {
		return ""
	}
	value := f.record[i]
	if !utf8.ValidString(value) {
		f.fault(column, value, "is not UTF-8; in a spreadsheet program save the table as CSV UTF-8")
		return ""
	}
	value = strings.TrimSpace(unguard(strings.TrimSpace(value)))
	if strings.ContainsFunc(value, isControl) {
		f.fault(column, value, "holds a line break or another control character; accepted: plain text")
		return ""
	}
	if utf8.RuneCountInString(value) > MaxTextLength {
		f.fault(column, value, "is longer than %d characters", MaxTextLength)
		return ""
	}
	return value
}

func isControl(r rune) bool { return unicode.IsControl(r) || r == '\u2028' || r == '\u2029' }

// word returns one of the accepted words, or empty's value for an empty cell.
func word[T ~string](f *fields, column string, empty T, accepted ...T) T {
	value := T(f.text(column))
	if value == "" {
		return empty
	}
	if slices.Contains(accepted, value) {
		return value
	}
	words := make([]string, len(accepted))
	for i, a := range accepted {
		words[i] = string(a)
	}
	f.fault(column, string(value), "accepted: %s (in lower case)", strings.Join(words, ", "))
	return empty
}

func (f *fields) integer(column string) *int {
	value := f.text(column)
	if value == "" {
		return nil
	}
	n, err := strconv.Atoi(value)
	if err != nil || n < 0 || n > 1_000_000_000 {
		f.fault(column, value, "accepted: a whole number from 0 to 1000000000")
		return nil
	}
	return &n
}

func (f *fields) caughtAt() string {
	value := f.text(colCaughtAt)
	if value == "" {
		return ""
	}
	if _, _, ok := (Row{CaughtAt: value}).Time(); !ok {
		f.fault(colCaughtAt, value, "accepted: a date like 2026-09-01, or a time with its offset like 2026-09-01T18:30:00+02:00 (RFC 3339)")
		return ""
	}
	return value
}

var plainNumber = regexp.MustCompile(`^[0-9]{1,6}([.,][0-9]{1,6})?$`)

// thousands is a number that some countries read as thousands and others as a decimal fraction.
var thousands = regexp.MustCompile(`^[1-9][0-9]{0,2}[.,][0-9]{3}$`)

// maxLengthMM is above the longest fish of any group that a trial can name: what is longer has a wrong unit.
const maxLengthMM = 3000

func (f *fields) length() *Length {
	value, unit := f.text(colLength), word(f, colLengthUnit, "", "mm", "cm", "in")
	switch {
	case value == "":
		return nil // a unit alone says nothing
	case !plainNumber.MatchString(value), strings.Contains(value, ",") && !f.dialect.decimalComma:
		accepted := "a number like 31.5"
		if f.dialect.decimalComma {
			accepted += " or 31,5"
		}
		f.fault(colLength, value, "accepted: %s", accepted)
		return nil
	case unit == "mm" && thousands.MatchString(value):
		f.fault(colLength, value, "may mean thousands or thousandths of a millimetre; accepted: whole millimetres without separators, like 1250")
		return nil
	case unit == "" && f.text(colLengthUnit) != "":
		return nil // named as a fault already
	case unit == "":
		f.fault(colLengthUnit, "", "is missing beside the length %s; accepted: mm, cm, in", value)
		return nil
	}
	l := Length{Value: strings.ReplaceAll(value, ",", "."), Unit: unit}
	if mm := l.MM(); mm < 1 || mm > maxLengthMM {
		f.fault(colLength, value, "is %d mm with unit %s; accepted: 1 to %d mm", mm, unit, maxLengthMM)
		return nil
	}
	return &l
}

// further returns the values of the columns that the catch table does not know.
func (f *fields) further() []string {
	if len(f.layout.further) == 0 {
		return nil
	}
	values := make([]string, len(f.layout.further))
	for n, i := range f.layout.furtherAt {
		if i >= len(f.record) {
			continue
		}
		// A lone carriage return would be lost when the table is written: CSV has one sort of line end.
		value := unguard(strings.TrimSpace(strings.ReplaceAll(f.record[i], "\r", "\n")))
		if !utf8.ValidString(value) {
			f.fault(f.layout.further[n], value, "is not UTF-8; in a spreadsheet program save the table as CSV UTF-8")
			continue
		}
		if strings.ContainsRune(value, 0) {
			f.fault(f.layout.further[n], value, "holds a NUL byte; accepted: text")
			continue
		}
		values[n] = strings.TrimSpace(value)
	}
	return values
}
