package exchange

import (
	"bytes"
	"encoding/csv"
	"io"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"evenrig/service/trial"
)

// Read by a general library of spreadsheets, the workbook has the rows of the CSV files.
func TestWorkbookOfAPackageHasTheSameRows(t *testing.T) {
	p := play(t, smallTrial()).publish()
	var b bytes.Buffer
	if err := WritePackageWorkbook(&b, p); err != nil {
		t.Fatal(err)
	}
	book, err := excelize.OpenReader(&b)
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	files := filesOf(t, written(t, p))
	for name, text := range files {
		sheet, isTable := strings.CutSuffix(name, ".csv")
		if !isTable {
			continue
		}
		records, err := csv.NewReader(strings.NewReader(text)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		rows, err := book.GetRows(sheet, excelize.Options{RawCellValue: true})
		if err != nil || len(rows) != len(records) {
			t.Fatalf("%s has %d rows, the table %d (%v)", sheet, len(rows), len(records), err)
		}
		for i, row := range rows {
			for j, want := range records[i] {
				got := ""
				if j < len(row) {
					got = row[j]
				}
				if want == "true" && got == "1" || want == "false" && got == "0" {
					continue
				}
				if got != want {
					t.Errorf("%s, row %d, %s: %q, the table has %q", sheet, i+1, records[0][j], got, want)
				}
			}
		}
	}
}

func TestWorkbookRefusesMoreThanAMillionRows(t *testing.T) {
	p := play(t, playing{anglers: 3, outings: 1, blocks: 2}).publish()
	p.Deviations = made(MaxWorkbookRows, func(int) Deviation { return Deviation{Kind: trial.OffTrial} })
	if err := WritePackageWorkbook(io.Discard, p); trial.KindOf(err) != trial.Invalid || !strings.Contains(err.Error(), "package.too_many_rows") {
		t.Errorf("got %v", err)
	}
}
