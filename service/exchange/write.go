package exchange

import (
	"cmp"
	"encoding/csv"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"evenrig/service/trial"
)

// WriteCatchTable writes the table as CSV by RFC 4180 (commas, CRLF, UTF-8): every column of the catch table, then the
// further ones; the column exclusion only where a row has a reason. ReadCatchTable with the same patterns gives the same
// rows back, but for their lines.
//
// A value that a spreadsheet program would take for a formula (it starts with = + - @ and is no plain number) is
// written with an apostrophe before it, which the reader takes off again.
func WriteCatchTable(w io.Writer, t Table) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	if err := t.records(func(_, record []string) error { return out.Write(record) }); err != nil {
		return fmt.Errorf("write catch table: %w", err)
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("write catch table: %w", err)
	}
	return nil
}

// records hands out the header and then every row as they are written, with the names of the columns; it ends with the
// first error.
func (t Table) records(write func(columns, record []string) error) error {
	own := Columns()
	if !slices.ContainsFunc(t.Rows, func(r Row) bool { return r.Exclusion != trial.Analysed }) {
		own = slices.DeleteFunc(own, func(name string) bool { return name == colExclusion })
	}
	header := slices.Clone(own)
	for _, name := range t.Further {
		header = append(header, guard(name))
	}
	if err := write(header, header); err != nil {
		return err
	}
	for _, row := range t.Rows {
		record := make([]string, 0, len(header))
		for _, column := range own {
			record = append(record, guard(row.value(column)))
		}
		for i := range t.Further {
			value := ""
			if i < len(row.Further) {
				value = guard(row.Further[i])
			}
			record = append(record, value)
		}
		if err := write(header, record); err != nil {
			return err
		}
	}
	return nil
}

// value returns what stands in one of the catch table's own columns. What was taken is never left open: two of the three
// columns must stand for a row to be read.
func (r Row) value(column string) string {
	switch column {
	case colAngler:
		return r.Angler
	case colOuting:
		return r.Outing
	case colBlock:
		return number(r.Block)
	case colPeriod:
		return number(r.Period)
	case colLowerPattern:
		return r.LowerPattern
	case colTakenPosition:
		return cmp.Or(string(r.TakenPosition), unknownPattern)
	case colTakenPattern:
		return cmp.Or(r.TakenPattern, unknownPattern)
	case colCaughtAt:
		return r.CaughtAt
	case colSpecies:
		return r.Species
	case colOrigin:
		return string(r.Origin)
	case colWaterType:
		return r.WaterType
	case colFly:
		return r.Fly
	case colOutcome:
		return string(r.Outcome)
	case colFoulHooked:
		if r.FoulHooked {
			return "yes"
		}
		return "no"
	case colLength:
		if r.Length != nil {
			return r.Length.Value
		}
	case colLengthUnit:
		if r.Length != nil {
			return r.Length.Unit
		}
	case colExclusion:
		return string(r.Exclusion)
	}
	return ""
}

func number(n *int) string {
	if n == nil {
		return ""
	}
	return strconv.Itoa(*n)
}

// signedNumber is what a spreadsheet program reads as a number although it starts with a sign.
var signedNumber = regexp.MustCompile(`^[+-]?[0-9]+([.,][0-9]+)?$`)

const formulaStarts = "=+-@\t\r"

// guard puts an apostrophe before a value that would be taken for a formula, and before one that already has
// apostrophes before such a start, so that unguard undoes exactly what guard did.
func guard(value string) string {
	if start := strings.TrimLeft(value, "'"); start == "" || !strings.ContainsAny(start[:1], formulaStarts) ||
		start == value && signedNumber.MatchString(value) {
		return value
	}
	return "'" + value
}

// unguard takes the apostrophe off that guard put on.
func unguard(value string) string {
	start := strings.TrimLeft(value, "'")
	if start == value || start == "" || !strings.ContainsAny(start[:1], formulaStarts) {
		return value
	}
	return value[1:]
}
