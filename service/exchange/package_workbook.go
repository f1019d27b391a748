package exchange

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"unicode/utf16"

	"github.com/xuri/excelize/v2"

	"evenrig/service/trial"
)

// MaxWorkbookRows is how many rows all tables of a package together may have in a workbook: a sheet holds 1,048,576 at most
// (ECMA-376), and nobody opens more.
const MaxWorkbookRows = 1_000_000

// WritePackageWorkbook writes the tables of a package as an .xlsx workbook, a sheet for each, with the dictionary first. Numbers and
// truth values are such; texts are guarded as in the CSV files. Nothing is written to w before all of it could be made.
//
// Errors: trial.Invalid, code package.too_many_rows, above MaxWorkbookRows; the package's own.
func WritePackageWorkbook(w io.Writer, p Package) (err error) {
	file := excelize.NewFile()
	defer func() { err = errors.Join(err, file.Close()) }()
	if err := file.SetSheetName(file.GetSheetName(0), "dictionary"); err != nil {
		return fmt.Errorf("write workbook: %w", err)
	}
	book := packageBook{file: file}
	if err := book.sheet("dictionary", dictionaryHeader, nil, dictionaryRecords()); err != nil {
		return err
	}
	for _, t := range packageTables() {
		if _, err := file.NewSheet(t.name); err != nil {
			return fmt.Errorf("write workbook: %w", err)
		}
		if err := book.sheet(t.name, t.header(), t.columns, t.records(p)); err != nil {
			return err
		}
	}
	if err := file.Write(w); err != nil {
		return fmt.Errorf("write workbook: %w", err)
	}
	return nil
}

// packageBook is a workbook on its way.
type packageBook struct {
	file *excelize.File
	rows int
}

func (b *packageBook) sheet(name string, header []string, columns []columnFacts, records Rows[[]string]) error {
	out, err := b.file.NewStreamWriter(name)
	if err != nil {
		return fmt.Errorf("write workbook: %w", err)
	}
	cells := make([]any, len(header))
	for i, column := range header {
		cells[i] = column
	}
	if err := out.SetRow("A1", cells); err != nil {
		return fmt.Errorf("write workbook: %w", err)
	}
	n := 1
	for record, err := range records {
		if err != nil {
			return err
		}
		if b.rows++; b.rows > MaxWorkbookRows {
			return trial.Fail(trial.Invalid, "package.too_many_rows", "the tables have more than %d rows, which no spreadsheet program opens; accepted: the package as CSV files", MaxWorkbookRows)
		}
		n++
		for i, value := range record {
			if len(utf16.Encode([]rune(value))) > maxCellUnits {
				return trial.Fail(trial.Invalid, "table.too_large", "row %d of %s, %s: the value is too long for a cell of a workbook; accepted: up to %d characters", n, name, header[i], maxCellUnits)
			}
			cells[i] = value
			if columns != nil {
				cells[i] = cellOfKind(value, columns[i].kind)
			}
		}
		if err := out.SetRow("A"+strconv.Itoa(n), cells); err != nil {
			return fmt.Errorf("write workbook: %w", err)
		}
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("write workbook: %w", err)
	}
	return nil
}

// cellOfKind is a value as a workbook holds it: empty, a number, a truth value or a text.
func cellOfKind(value, kind string) any {
	switch {
	case value == "":
		return nil
	case kind == "boolean":
		return value == "true"
	case kind == "integer" || kind == "number":
		if n, err := strconv.ParseFloat(value, 64); err == nil {
			return n
		}
	}
	return value
}
