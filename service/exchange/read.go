package exchange

import (
	"cmp"
	"crypto/sha256"
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
// trial.SubgroupColumns, of which month is taken from caught_at, and the table's further ones, in any case. Rule, unless it is nil, is
// asked of every row that is good by itself, each time that it is read: it may complete the row, and returns what is wrong with it.
type ReadOptions struct {
	Test      string
	Control   string
	Subgroups []string
	Rule      func(*Row) []RowFault
}

// File is what may be read from any place and as often as wanted, like an io.SectionReader, a strings.Reader or a bytes.Reader.
type File interface {
	io.ReaderAt
	Size() int64
}

// ErrControlUnknown is wrapped by the error of a table from which the control pattern's code cannot be told: it must be named.
var ErrControlUnknown = errors.New("the control pattern's code is not named and cannot be told from the table")

// ReadCatchTable reads a catch table: the first sheet of an .xlsx workbook, its header in the first row, or CSV in UTF-8 with or without a byte order mark, separated by comma, semicolon or
// tab, lines ended by LF or CRLF, the first line naming the columns in any order and case. Of lower_pattern, taken_position
// and taken_pattern any two must stand in a row. Words of fixed columns are lower case. Columns that the catch table
// does not know are kept; blank lines are skipped.
//
// Every row is looked at and none is kept: Table.Rows reads the file again. So what this takes of memory does not grow with the
// rows, unless they stand in a workbook.
//
// The faults are those of single rows, in the order of the file, at most MaxFaults of them; Table.Faults counts all. The
// error is one of the whole table, of kind trial.Invalid with code table.encoding, table.columns, table.empty,
// table.patterns or table.too_large, or what the file gave. Where bad rows may be why the patterns are not known, they
// are named and the table has no rows.
func ReadCatchTable(file File, o ReadOptions) (Table, []RowFault, error) {
	if err := o.check(); err != nil {
		return Table{}, nil, err
	}
	table := Table{Test: o.Test, Control: o.Control, Rows: RowsOf[Row](nil)}
	codes, anglers := codeCounts{o.Test: 0, o.Control: 0}, anglerCount{}
	var typed, settled faultList
	settle := func(row Row) error {
		if faults := table.settle(&row, o.Rule); len(faults) > 0 {
			settled.add(faults...)
			return nil
		}
		return anglers.add(row.Angler)
	}
	var columns []string
	err := eachRow(file, func(l layout) (err error) {
		columns, table.Further = l.names, l.further
		table.Subgroups, err = l.subgroups(o.Subgroups)
		return err
	}, func(row Row, faults []RowFault) error {
		table.Count++
		codes.add(row)
		typed.add(faults...)
		if len(faults) > 0 || o.Control == "" {
			return nil
		}
		return settle(row)
	})
	switch {
	case err != nil:
		return Table{}, nil, err
	case table.Count == 0:
		return Table{}, nil, trial.Fail(trial.Invalid, "table.empty",
			"the table has a header (%s) but no rows; accepted: one fish a row", strings.Join(columns, ", "))
	}
	table.Codes, table.Faults = codes.found(), typed.total
	switch table.Control, err = o.control(codes); {
	case err != nil && typed.total > 0:
		return table, typed.list, nil
	case err != nil:
		return Table{}, nil, err
	case o.Control == "": // only now it is known which codes the rows may have
		if err := eachGood(file, settle); err != nil {
			return Table{}, nil, err
		}
	}
	table.Rows, table.Anglers, table.Faults = table.rowsOf(file, o.Rule), len(anglers), typed.total+settled.total
	all := slices.Concat(typed.list, settled.list)
	slices.SortStableFunc(all, func(a, b RowFault) int { return a.Line - b.Line })
	return table, all[:min(len(all), MaxFaults)], nil
}

// settle completes a row that is good by itself by what the whole table tells, and returns what is wrong with it then.
func (t Table) settle(row *Row, rule func(*Row) []RowFault) []RowFault {
	if fault := t.resolve(row); fault != nil {
		return []RowFault{*fault}
	}
	if rule == nil {
		return nil
	}
	return rule(row)
}

// rowsOf reads the file's rows that have no fault.
func (t Table) rowsOf(file File, rule func(*Row) []RowFault) Rows[Row] {
	return func(yield func(Row, error) bool) {
		err := eachGood(file, func(row Row) error {
			if len(t.settle(&row, rule)) == 0 && !yield(row, nil) {
				return errEnough
			}
			return nil
		})
		if err != nil && !errors.Is(err, errEnough) {
			yield(Row{}, err)
		}
	}
}

// errEnough ends reading when no more rows are wanted.
var errEnough = errors.New("no more rows are wanted")

// anglerCount are the anglers met, known by a digest, so that long names take no more room than short ones.
type anglerCount map[[16]byte]struct{}

func (c anglerCount) add(angler string) error {
	sum := sha256.Sum256([]byte(angler))
	c[[16]byte(sum[:])] = struct{}{}
	if len(c) > MaxAnglers {
		return trial.Fail(trial.Invalid, "table.too_large", "the table has fish of more than %d anglers; accepted: up to that", MaxAnglers)
	}
	return nil
}

// faultList keeps the first MaxFaults faults and counts the rest.
type faultList struct {
	list  []RowFault
	total int
}

func (f *faultList) add(faults ...RowFault) {
	f.total += len(faults)
	for _, fault := range faults[:min(len(faults), MaxFaults-len(f.list))] {
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

// layout says where the columns stand: at[name] is the index of a known column; further are the others. named says which have a name,
// up to the last one.
type layout struct {
	names     []string
	named     []bool
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
		l.named = append(append(l.named, make([]bool, i-len(l.named))...), true)
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

// eachRow reads a file: header hears of its columns, then row of every row, typed, with what is wrong with it. The patterns are not yet
// resolved; of a row at fault what could be read is there.
func eachRow(file File, header func(layout) error, row func(Row, []RowFault) error) (err error) {
	reader, d, closeIt, err := open(io.NewSectionReader(file, 0, file.Size()))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeIt()) }()
	l, err := readHeader(reader)
	if err != nil {
		return err
	}
	if err := header(l); err != nil {
		return err
	}
	for n := 1; ; n++ {
		record, err := nextRecord(reader)
		var broken *csv.ParseError
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case n > d.mostRows():
			return trial.Fail(trial.Invalid, "table.too_large", "the table has more than %d rows; accepted: %s", d.mostRows(), d.rowsAccepted())
		case errors.As(err, &broken):
			err = row(Row{}, []RowFault{{Line: broken.StartLine, Reason: "cannot be read as CSV: " + broken.Err.Error() +
				`; a value with a quote or a separator in it stands in double quotes, and a quote in it is doubled`}})
		case err != nil:
			return readError(err)
		default:
			f := fields{record: record, layout: l, dialect: d, line: reader.Line()}
			typed := f.row()
			err = row(typed, f.faults)
		}
		if err != nil {
			return err
		}
	}
}

// eachGood reads a file whose header is known to be good, and hands out the rows that are good by themselves.
func eachGood(file File, do func(Row) error) error {
	return eachRow(file, func(layout) error { return nil }, func(row Row, faults []RowFault) error {
		if len(faults) > 0 {
			return nil
		}
		return do(row)
	})
}

// nextRecord reads the next record that is not blank.
func nextRecord(reader source) ([]string, error) {
	for {
		record, err := reader.Read()
		if err != nil || !blank(record) {
			return record, err
		}
	}
}

func blank(record []string) bool {
	return !slices.ContainsFunc(record, func(value string) bool { return strings.TrimSpace(value) != "" })
}
