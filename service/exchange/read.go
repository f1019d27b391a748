package exchange

import (
	"cmp"
	"encoding/csv"
	"errors"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"evenrig/service/trial"
)

// ReadOptions names the patterns. Test is the code of the test pattern. Control may be empty: then it is the one other
// code that the table holds. Subgroups are the columns by which the fish are to be told apart when they are counted: those of
// trial.SubgroupColumns, of which month is taken from caught_at, and the table's further ones, in any case.
type ReadOptions struct {
	Test      string
	Control   string
	Subgroups []string
}

// ErrControlUnknown is wrapped by the error of a table from which the control pattern's code cannot be told: it must be named.
var ErrControlUnknown = errors.New("the control pattern's code is not named and cannot be told from the table")

// ReadCatchTable reads a catch table: the first sheet of an .xlsx workbook, its header in the first row, or CSV in UTF-8 with or without a byte order mark, separated by comma, semicolon or
// tab, lines ended by LF or CRLF, the first line naming the columns in any order and case. Of lower_pattern, taken_position
// and taken_pattern any two must stand in a row. Words of fixed columns are lower case. Columns that the catch table
// does not know are kept; blank lines are skipped.
//
// The faults are those of single rows, in the order of the file, at most MaxFaults of them; Table.Faults counts all. The
// error is one of the whole table, of kind trial.Invalid with code table.encoding, table.columns, table.empty,
// table.patterns or table.too_large, or what the reader gave. Where bad rows may be why the patterns are not known, they
// are named and the table has no rows.
func ReadCatchTable(r io.Reader, o ReadOptions) (_ Table, _ []RowFault, err error) {
	if err := o.check(); err != nil {
		return Table{}, nil, err
	}
	reader, d, closeIt, err := open(r)
	if err != nil {
		return Table{}, nil, err
	}
	defer func() {
		if closeErr := closeIt(); err == nil {
			err = closeErr
		}
	}()
	layout, err := readHeader(reader)
	if err != nil {
		return Table{}, nil, err
	}
	subgroups, err := layout.subgroups(o.Subgroups)
	if err != nil {
		return Table{}, nil, err
	}
	rows, codes, faults, err := readRows(reader, layout, d)
	if err != nil {
		return Table{}, nil, err
	}
	if len(rows) == 0 && faults.total == 0 {
		return Table{}, nil, trial.Fail(trial.Invalid, "table.empty",
			"the table has a header (%s) but no rows; accepted: one fish a row", strings.Join(layout.names, ", "))
	}
	table := Table{Test: o.Test, Codes: codes.found(), Further: layout.further, Subgroups: subgroups, Faults: faults.total}
	switch table.Control, err = o.control(codes); {
	case err != nil && faults.total > 0:
		return table, faults.list, nil
	case err != nil:
		return Table{}, nil, err
	}
	table.Rows = rows[:0]
	var unresolved faultList
	for _, row := range rows {
		if fault := table.resolve(&row); fault != nil {
			unresolved.add(*fault)
			continue
		}
		table.Rows = append(table.Rows, row)
	}
	all := slices.Concat(faults.list, unresolved.list)
	slices.SortStableFunc(all, func(a, b RowFault) int { return a.Line - b.Line })
	table.Faults += unresolved.total
	return table, all[:min(len(all), MaxFaults)], nil
}

// faultList keeps the first MaxFaults faults and counts the rest.
type faultList struct {
	list  []RowFault
	total int
}

func (f *faultList) add(fault RowFault) {
	f.total++
	if len(f.list) < MaxFaults {
		fault.Value = shorten(fault.Value)
		f.list = append(f.list, fault)
	}
}

// shorten makes a value fit to be shown: valid text of at most 80 characters.
func shorten(value string) string {
	value = strings.ToValidUTF8(value, "\uFFFD")
	if utf8.RuneCountInString(value) <= 80 {
		return value
	}
	return string([]rune(value)[:79]) + "…"
}

// layout says where the columns stand: at[name] is the index of a known column; further are the others.
type layout struct {
	names     []string
	at        map[string]int
	further   []string
	furtherAt []int
}

func readHeader(reader source) (layout, error) {
	record, err := reader.Read()
	switch {
	case errors.Is(err, io.EOF):
		return layout{}, trial.Fail(trial.Invalid, "table.empty", "the file is empty; accepted: a header line, then one fish a line")
	case errors.As(err, new(*csv.ParseError)):
		return layout{}, trial.Fail(trial.Invalid, "table.columns", "the header line cannot be read (%v); accepted: column names like %s",
			err, strings.Join(Columns(), ", "))
	case err != nil:
		return layout{}, readError(err)
	case len(record) > MaxColumns:
		return layout{}, trial.Fail(trial.Invalid, "table.too_large", "the table has %d columns; accepted: up to %d", len(record), MaxColumns)
	}
	l := layout{at: map[string]int{}}
	for i, cell := range record {
		cell = strings.TrimSpace(cell)
		name := columnName(cell)
		switch {
		case strings.ContainsRune(cell, 0):
			return layout{}, trial.Fail(trial.Invalid, "table.encoding",
				"the header holds NUL bytes: this is no text, or UTF-16; accepted: CSV in UTF-8 (in a spreadsheet program: save as CSV UTF-8)")
		case !utf8.ValidString(cell):
			return layout{}, trial.Fail(trial.Invalid, "table.encoding",
				"the name of column %d is not UTF-8: %q; accepted: CSV in UTF-8 (in a spreadsheet program: save as CSV UTF-8)", i+1, shorten(cell))
		case strings.ContainsFunc(cell, isControl):
			return layout{}, trial.Fail(trial.Invalid, "table.encoding",
				"the name of column %d holds a line break or another control character: %q; accepted: plain text, lines ended by LF or CRLF", i+1, shorten(cell))
		case name == "":
			continue
		case !slices.Contains(Columns(), name):
			cell = unguard(cell)
			l.further, l.furtherAt = append(l.further, cell), append(l.furtherAt, i)
		default:
			if _, twice := l.at[name]; twice {
				return layout{}, trial.Fail(trial.Invalid, "table.columns", "the column %s stands twice in the header", name)
			}
			l.at[name] = i
		}
		l.names = append(l.names, cell)
	}
	found := 0
	for _, name := range []string{colLowerPattern, colTakenPosition, colTakenPattern} {
		if _, ok := l.at[name]; ok {
			found++
		}
	}
	if found < 2 {
		return layout{}, trial.Fail(trial.Invalid, "table.columns",
			"the header has the columns %s; needed: any two of %s, %s, %s (separated by comma, semicolon or tab)",
			shorten(strings.Join(l.names, ", ")), colLowerPattern, colTakenPosition, colTakenPattern)
	}
	return l, nil
}

// subgroups returns the columns asked for by the names that they have in the table. The error says which of them the table
// does not have, and what it has.
func (l layout) subgroups(asked []string) ([]string, error) {
	if len(asked) == 0 {
		return nil, nil
	}
	var had []string
	for _, name := range trial.SubgroupColumns() {
		from := name
		if name == colMonth {
			from = colCaughtAt
		}
		if _, ok := l.at[from]; ok {
			had = append(had, name)
		}
	}
	for _, name := range l.further {
		if !slices.Contains(trial.SubgroupColumns(), columnName(name)) {
			had = append(had, name)
		}
	}
	names := make([]string, 0, len(asked))
	for _, name := range asked {
		i := slices.IndexFunc(had, func(h string) bool { return columnName(h) == columnName(name) })
		switch {
		case i < 0 && columnName(name) == colMonth:
			return nil, trial.Fail(trial.Invalid, "table.columns", "month is taken from %s, which the table does not have", colCaughtAt)
		case i < 0:
			return nil, trial.Fail(trial.Invalid, "table.columns", "the table has no column %q by which its fish could be told apart; it has %s",
				shorten(name), cmp.Or(strings.Join(had, ", "), "none"))
		case slices.ContainsFunc(had[i+1:], func(h string) bool { return columnName(h) == columnName(name) }):
			return nil, trial.Fail(trial.Invalid, "table.columns", "the column %s stands twice in the header, so that it cannot be told which of them is asked for", had[i])
		case slices.Contains(names, had[i]):
			return nil, trial.Fail(trial.Invalid, "table.columns", "the column %s is asked for twice", had[i])
		}
		names = append(names, had[i])
	}
	return names, nil
}

// readRows reads every row, typed but with the patterns not yet resolved: whose codes they are is known only at the end.
// codes counts those of bad rows too.
func readRows(reader source, l layout, d dialect) (rows []Row, codes codeCounts, faults faultList, err error) {
	codes = codeCounts{}
	for n := 0; ; {
		record, err := reader.Read()
		var broken *csv.ParseError
		switch {
		case errors.Is(err, io.EOF):
			return rows, codes, faults, nil
		case errors.As(err, &broken):
			faults.add(RowFault{Line: broken.StartLine, Reason: "cannot be read as CSV: " + broken.Err.Error() +
				`; a value with a quote or a separator in it stands in double quotes, and a quote in it is doubled`})
		case err != nil:
			return nil, nil, faultList{}, readError(err)
		case blank(record):
			continue
		}
		if n++; n > MaxRows {
			return nil, nil, faultList{}, trial.Fail(trial.Invalid, "table.too_large", "the table has more than %d rows; accepted: up to %d", MaxRows, MaxRows)
		}
		if err != nil {
			continue
		}
		f := fields{record: record, layout: l, dialect: d, line: reader.Line()}
		row, good := f.row()
		codes.add(row)
		if good {
			rows = append(rows, row)
			continue
		}
		for _, fault := range f.faults {
			faults.add(fault)
		}
	}
}

func blank(record []string) bool {
	return !slices.ContainsFunc(record, func(value string) bool { return strings.TrimSpace(value) != "" })
}
