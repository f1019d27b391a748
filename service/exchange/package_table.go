package exchange

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"evenrig/service/trial"
)

// packageTable is a table of a package: its columns, and how its rows are reached.
type packageTable struct {
	tableFacts
	columns []columnFacts
	records func(p Package) Rows[[]string] // as they are written
	// read puts the table's rows into the package, read from what open opens; nil for a table that is not read back.
	read func(p *Package, open opener) error
}

// opener opens a table's file at its start.
type opener func() (io.ReadCloser, error)

// tableFacts are a table's name, which is its file's without .csv, what it holds, the columns that name a row, and those that
// name other tables' rows.
type tableFacts struct {
	name    string
	about   string
	key     []string
	foreign []foreignKey
}

// foreignKey says that fields hold the key of a row of another table, there called names.
type foreignKey struct {
	fields []string
	table  string
	names  []string
}

// columnFacts are what descriptor and dictionary say of a column.
type columnFacts struct {
	name, meaning, kind, unit, pattern string
	need, unique                       bool
	words                              []string
	least                              *int
}

func factsOf[T any](columns []column[T]) []columnFacts {
	facts := make([]columnFacts, len(columns))
	for i, c := range columns {
		facts[i] = columnFacts{c.name, c.meaning, c.kind, c.unit, c.pattern, c.need, c.unique, c.words, c.least}
	}
	return facts
}

// rowsTable is a table that is read row by row.
func rowsTable[T any](facts tableFacts, columns []column[T], at func(*Package) *Rows[T]) packageTable {
	return packageTable{
		tableFacts: facts, columns: factsOf(columns),
		records: func(p Package) Rows[[]string] { return recordsOf(columns, *at(&p)) },
		read: func(p *Package, open opener) error {
			*at(p) = packageRows(facts.name, columns, open)
			return nil
		},
	}
}

// listTable is a short table, held whole.
func listTable[T any](facts tableFacts, columns []column[T], at func(*Package) *[]T) packageTable {
	return packageTable{
		tableFacts: facts, columns: factsOf(columns),
		records: func(p Package) Rows[[]string] { return recordsOf(columns, RowsOf(*at(&p))) },
		read: func(p *Package, open opener) error {
			list := at(p)
			for row, err := range packageRows(facts.name, columns, open) {
				if err != nil {
					return err
				}
				if len(*list) == maxListRows {
					return packageFault(facts.name+".csv", "has more than %d rows; accepted: up to that", maxListRows)
				}
				*list = append(*list, row)
			}
			return nil
		},
	}
}

// maxListRows bounds what is held whole: tables that are, and of the others the rows of one angler.
const maxListRows = 500_000

// factTable is the table of the one row that says what the trial was.
func factTable() packageTable {
	facts := tableFacts{"trial", "what the trial was, one row", []string{"trial"}, nil}
	return packageTable{
		tableFacts: facts, columns: factsOf(factColumns()),
		records: func(p Package) Rows[[]string] { return recordsOf(factColumns(), RowsOf([]Facts{p.Facts})) },
		read: func(p *Package, open opener) error {
			n := 0
			for row, err := range packageRows(facts.name, factColumns(), open) {
				if err != nil {
					return err
				}
				if n++; n > 1 {
					break
				}
				p.Facts = row
			}
			if n != 1 {
				return packageFault(facts.name+".csv", "does not have one row; accepted: one trial")
			}
			return nil
		},
	}
}

func recordsOf[T any](columns []column[T], rows Rows[T]) Rows[[]string] {
	return func(yield func([]string, error) bool) {
		if rows == nil {
			return
		}
		record := make([]string, len(columns))
		for row, err := range rows {
			if err != nil {
				yield(nil, err)
				return
			}
			for i := range columns {
				record[i] = columns[i].write(&row)
			}
			if !yield(record, nil) {
				return
			}
		}
	}
}

// header are the names of the table's columns.
func (t packageTable) header() []string { return namesOf(t.columns) }

func namesOf(columns []columnFacts) []string {
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = c.name
	}
	return names
}

// writeCSV writes the table by RFC 4180: commas, CRLF, UTF-8, a header.
func (t packageTable) writeCSV(w io.Writer, p Package) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	if err := out.Write(t.header()); err != nil {
		return err
	}
	for record, err := range t.records(p) {
		if err != nil {
			return fmt.Errorf("%s: %w", t.name, err)
		}
		if err := out.Write(record); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// packageRows reads a table's file each time it is run, from the start.
func packageRows[T any](name string, columns []column[T], open opener) Rows[T] {
	return func(yield func(T, error) bool) {
		var none T
		file, err := open()
		if err != nil {
			yield(none, err)
			return
		}
		defer file.Close()
		in := csv.NewReader(&lineLimit{from: file, name: name + ".csv"})
		in.ReuseRecord = true
		in.FieldsPerRecord = len(columns)
		header, err := in.Read()
		if err != nil || !slices.EqualFunc(columns, header, func(c column[T], name string) bool { return c.name == name }) {
			yield(none, headerFault(name, columns, err))
			return
		}
		for {
			record, err := in.Read()
			if errors.Is(err, io.EOF) {
				return
			}
			row, err := rowOf(name, in, columns, record, err)
			if !yield(row, err) || err != nil {
				return
			}
		}
	}
}

func headerFault[T any](name string, columns []column[T], err error) error {
	if known, ok := errors.AsType[*trial.Error](err); ok {
		return known
	}
	return packageFault(name+".csv", "does not begin with the columns of that table; accepted: %s", strings.Join(namesOf(factsOf(columns)), ", "))
}

func rowOf[T any](name string, in *csv.Reader, columns []column[T], record []string, err error) (row T, _ error) {
	if known, ok := errors.AsType[*trial.Error](err); ok {
		return row, known
	}
	if err != nil {
		return row, packageFault(name+".csv", "cannot be read: %v", err)
	}
	line, _ := in.FieldPos(0)
	for i, c := range columns {
		if record[i] == "" && c.need {
			return row, packageFault(name+".csv", "line %d, %s: is empty; accepted: a value", line, c.name)
		}
		if err := c.read(&row, record[i]); err != nil {
			return row, packageFault(name+".csv", "line %d, %s %.60q: %s", line, c.name, record[i], err)
		}
	}
	return row, nil
}

// packageFault is the error of a file of a package.
func packageFault(file, format string, args ...any) error {
	return &trial.Error{Kind: trial.Invalid, Code: "package.invalid", Detail: "the package cannot be read", Fields: []trial.FieldError{{Field: file, Detail: fmt.Sprintf(format, args...)}}}
}

// lineLimit fails where a record could fill the memory: in a file without line ends, or in a value that is never closed.
type lineLimit struct {
	from   io.Reader
	name   string
	run    int // bytes since the last line end outside quotation marks
	quoted bool
}

const maxPackageLine = 1 << 20

func (l *lineLimit) Read(b []byte) (int, error) {
	n, err := l.from.Read(b)
	for _, c := range b[:n] {
		switch l.run++; {
		case c == '"':
			l.quoted = !l.quoted
		case c == '\n' && !l.quoted:
			l.run = 0
		}
		if l.run > maxPackageLine {
			return 0, packageFault(l.name, "has a row of more than %d bytes", maxPackageLine)
		}
	}
	return n, err
}
