package exchange

import (
	"errors"
	"fmt"
	"io"
	"strconv"
)

// WritePackageWorkbook writes the tables of a package as an .xlsx workbook, a sheet for each, with the dictionary first. Numbers and
// truth values are such; texts are guarded as in the CSV files. Nothing is written to w before all of it could be made.
//
// Errors: trial.Invalid, code package.too_many_rows, above MaxWorkbookRows; the package's own.
func WritePackageWorkbook(w io.Writer, p Package) (err error) {
	b := newBook("package.too_many_rows", "the package as CSV files")
	defer func() { err = errors.Join(err, b.close()) }()
	if err := b.file.SetSheetName(b.file.GetSheetName(0), "dictionary"); err != nil {
		return fmt.Errorf("write workbook: %w", err)
	}
	if err := b.addSheet("dictionary", dictionaryHeader, nil, dictionaryRecords()); err != nil {
		return err
	}
	for _, t := range packageTables() {
		if _, err := b.file.NewSheet(t.name); err != nil {
			return fmt.Errorf("write workbook: %w", err)
		}
		if err := b.addSheet(t.name, t.header(), t.columns, t.records(p)); err != nil {
			return err
		}
	}
	return b.writeTo(w)
}

// addSheet fills a sheet with a table whose columns are of the given kinds, or with texts.
func (b *book) addSheet(name string, header []string, columns []columnFacts, records Rows[[]string]) error {
	sheet, err := b.sheet(name, header, func(column int, value string) any {
		if columns == nil {
			return value
		}
		return cellOfKind(value, columns[column].kind)
	})
	if err != nil {
		return err
	}
	for record, err := range records {
		if err != nil {
			return err
		}
		if err := sheet.write(record); err != nil {
			return err
		}
	}
	return sheet.end()
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
