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
	return t.writeTo(NewTableWriter(w))
}

// writeTo writes the header and every row.
func (t Table) writeTo(out interface {
	Begin(further []string, exclusions bool) error
	Write(row Row) error
	End() error
},
) error {
	exclusions, err := t.excludes()
	if err != nil {
		return err
	}
	if err := out.Begin(t.Further, exclusions); err != nil {
		return err
	}
	for row, err := range t.Rows {
		if err != nil {
			return err
		}
		if err := out.Write(row); err != nil {
			return err
		}
	}
	return out.End()
}

// TableWriter writes a catch table as WriteCatchTable does, a row at a time, so that it may be of any length.
type TableWriter struct {
	out     *csv.Writer
	columns tableColumns
}

// NewTableWriter returns a writer to w.
func NewTableWriter(w io.Writer) *TableWriter {
	t := &TableWriter{out: csv.NewWriter(w)}
	t.out.UseCRLF = true
	return t
}

// Begin writes the header; further are the columns that the catch table does not know, exclusions says whether the column exclusion is
// among its own.
func (t *TableWriter) Begin(further []string, exclusions bool) error {
	t.columns = newTableColumns(further, exclusions)
	return t.write(t.columns.header())
}

// Write writes a row.
func (t *TableWriter) Write(row Row) error { return t.write(t.columns.record(row)) }

func (t *TableWriter) write(record []string) error {
	if err := t.out.Write(record); err != nil {
		return fmt.Errorf("write catch table: %w", err)
	}
	return nil
}

// End writes what waits in the buffer.
func (t *TableWriter) End() error {
	t.out.Flush()
	if err := t.out.Error(); err != nil {
		return fmt.Errorf("write catch table: %w", err)
	}
	return nil
}

// excludes reports whether a row has a reason why it is not analysed.
func (t Table) excludes() (bool, error) {
	for row, err := range t.Rows {
		if err != nil || row.Exclusion != trial.Analysed {
			return err == nil, err
		}
	}
	return false, nil
}

// tableColumns are a written table's columns: the catch table's own, and further ones.
type tableColumns struct{ own, further []string }

func newTableColumns(further []string, exclusions bool) tableColumns {
	own := Columns()
	if !exclusions {
		own = slices.DeleteFunc(own, func(name string) bool { return name == colExclusion })
	}
	return tableColumns{own, further}
}

func (c tableColumns) header() []string {
	header := slices.Clone(c.own)
	for _, name := range c.further {
		header = append(header, guard(name))
	}
	return header
}

func (c tableColumns) record(row Row) []string {
	record := make([]string, 0, len(c.own)+len(c.further))
	for _, column := range c.own {
		record = append(record, guard(row.value(column)))
	}
	for i := range c.further {
		value := ""
		if i < len(row.Further) {
			value = guard(row.Further[i])
		}
		record = append(record, value)
	}
	return record
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
