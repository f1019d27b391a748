package exchange

import (
	"archive/zip"
	"fmt"
	"io"
	"slices"
	"strconv"
	"unicode/utf16"

	"github.com/xuri/excelize/v2"

	"evenrig/service/trial"
)

// MaxWorkbookRows is how many rows a workbook that is written may have in all its sheets together: one sheet holds 1,048,576 at most
// (ECMA-376), and nobody opens more.
const MaxWorkbookRows = 1_000_000

const maxCellUnits = 32_767 // UTF-16 units in a cell, which spreadsheet programs cut off

// WorkbookWriter writes a catch table as an .xlsx workbook of one sheet, with the columns and rows that NewTableWriter writes and values
// guarded as there, so that they stay what they are when the sheet is saved as CSV. Block, period and length are numbers where they
// read as typed. Nothing is written before the last row is known to fit; until then rows beyond 16 MB wait in a temporary file.
type WorkbookWriter struct {
	w       io.Writer
	book    *book
	sheet   *bookSheet
	columns tableColumns
}

// NewWorkbookWriter returns a writer to w. The caller closes it.
func NewWorkbookWriter(w io.Writer) *WorkbookWriter {
	return &WorkbookWriter{w: w, book: newBook("table.too_large", "the table as CSV, which may have any number")}
}

// Begin makes the header: further are the columns that the catch table does not know, exclusions says whether the column exclusion is
// among its own.
func (b *WorkbookWriter) Begin(further []string, exclusions bool) (err error) {
	b.columns = newTableColumns(further, exclusions)
	header := b.columns.header()
	b.sheet, err = b.book.sheet(b.book.file.GetSheetName(0), header, func(column int, value string) any {
		number, err := strconv.ParseFloat(value, 64)
		if err == nil && slices.Contains(numberColumns, header[column]) && strconv.FormatFloat(number, 'f', -1, 64) == value {
			return number
		}
		return value
	})
	return err
}

var numberColumns = []string{colBlock, colPeriod, colLength}

// Write adds a row. The error is trial.Invalid, code table.too_large, where a value is too long for a cell and above MaxWorkbookRows.
func (b *WorkbookWriter) Write(row Row) error { return b.sheet.write(b.columns.record(row)) }

// End writes the workbook.
func (b *WorkbookWriter) End() error {
	if err := b.sheet.end(); err != nil {
		return err
	}
	return b.book.writeTo(b.w)
}

// Close takes the temporary file away.
func (b *WorkbookWriter) Close() error { return b.book.close() }

// book is a workbook that is being written.
type book struct {
	file            *excelize.File
	rows            int    // of all sheets, without their headers
	tooLong, better string // the code of too many rows, and what is accepted then
}

func newBook(tooLong, better string) *book {
	return &book{file: excelize.NewFile(), tooLong: tooLong, better: better}
}

// bookSheet is one of its sheets.
type bookSheet struct {
	book   *book
	out    *excelize.StreamWriter
	name   string
	header []string
	cell   func(column int, value string) any // a value as the sheet holds it
	rows   int
}

// sheet begins a sheet that the file has.
func (b *book) sheet(name string, header []string, cell func(column int, value string) any) (*bookSheet, error) {
	out, err := b.file.NewStreamWriter(name)
	if err != nil {
		return nil, fmt.Errorf("write workbook: %w", err)
	}
	cells := make([]any, len(header))
	for i, column := range header {
		cells[i] = column
	}
	if err := out.SetRow("A1", cells); err != nil {
		return nil, fmt.Errorf("write workbook: %w", err)
	}
	return &bookSheet{book: b, out: out, name: name, header: header, cell: cell}, nil
}

// write adds a row.
func (s *bookSheet) write(record []string) error {
	if s.book.rows++; s.book.rows > MaxWorkbookRows {
		return trial.Fail(trial.Invalid, s.book.tooLong, "there are more than %d rows, which no spreadsheet program opens; accepted: %s", MaxWorkbookRows, s.book.better)
	}
	s.rows++
	row := s.rows + 1 // below the header
	cells := make([]any, len(record))
	for i, value := range record {
		if len(value) > maxCellUnits && len(utf16.Encode([]rune(value))) > maxCellUnits {
			return trial.Fail(trial.Invalid, "table.too_large", "row %d of %s, %s: the value is too long for a cell of a workbook; accepted: up to %d characters", row, s.name, s.header[i], maxCellUnits)
		}
		cells[i] = s.cell(i, value)
	}
	if err := s.out.SetRow("A"+strconv.Itoa(row), cells); err != nil {
		return fmt.Errorf("write workbook: %w", err)
	}
	return nil
}

// end says that the sheet has all its rows.
func (s *bookSheet) end() error {
	if err := s.out.Flush(); err != nil {
		return fmt.Errorf("write workbook: %w", err)
	}
	return nil
}

// writeTo writes the workbook as it is packed, where the library would first pack all of it in memory.
func (b *book) writeTo(w io.Writer) error {
	b.file.SetZipWriter(func(io.Writer) excelize.ZipWriter { return zip.NewWriter(w) })
	if err := b.file.Write(w); err != nil {
		return fmt.Errorf("write workbook: %w", err)
	}
	return nil
}

// close takes the temporary files away.
func (b *book) close() error {
	if err := b.file.Close(); err != nil {
		return fmt.Errorf("close workbook: %w", err)
	}
	return nil
}
