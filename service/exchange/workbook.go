package exchange

import (
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"evenrig/service/trial"
)

// The limits of a workbook, beside those of every catch table: how large it may be as sent and with all its parts unpacked.
// A part above partInMemory is unpacked into a temporary file while it is read.
const (
	MaxWorkbookBytes = 32 << 20
	maxUnpacked      = 512 << 20
	partInMemory     = 32 << 20
)

// workbookStart are the first bytes of a zip archive, which an .xlsx workbook is (ECMA-376).
const workbookStart = "PK\x03\x04"

// sheet reads the first sheet of a workbook row by row, as a table without separators and quotes. A cell with a formula
// gives the value that was last computed for it.
type sheet struct {
	file       *excelize.File
	raw, shown *excelize.Rows
	date1904   bool
	row, width int
}

// openSheet opens a workbook's first sheet. The caller closes it.
func openSheet(r io.Reader) (*sheet, error) {
	limited := &io.LimitedReader{R: r, N: MaxWorkbookBytes + 1}
	file, err := excelize.OpenReader(limited, excelize.Options{UnzipSizeLimit: maxUnpacked, UnzipXMLSizeLimit: partInMemory})
	switch {
	case limited.N == 0:
		return nil, trial.Fail(trial.Invalid, "table.too_large", "the workbook is larger than %d MB; accepted: up to that, or CSV", MaxWorkbookBytes>>20)
	case err != nil:
		return nil, notAWorkbook(err)
	}
	s := &sheet{file: file}
	if err := s.start(); err != nil {
		return nil, errors.Join(err, s.close())
	}
	return s, nil
}

func notAWorkbook(err error) error {
	return trial.Fail(trial.Invalid, "table.encoding", "the file cannot be read as an .xlsx workbook (%v); accepted: CSV in UTF-8, or the first sheet of an .xlsx workbook "+
		"without a password and of at most %d MB unpacked", err, maxUnpacked>>20)
}

func (s *sheet) start() error {
	names := s.file.GetSheetList()
	if len(names) == 0 {
		return notAWorkbook(errors.New("it has no sheet"))
	}
	var err error
	if s.raw, err = s.file.Rows(names[0]); err != nil {
		return notAWorkbook(err)
	}
	if s.shown, err = s.file.Rows(names[0]); err != nil {
		return notAWorkbook(err)
	}
	properties, err := s.file.GetWorkbookProps()
	if err != nil {
		return notAWorkbook(err)
	}
	s.date1904 = properties.Date1904 != nil && *properties.Date1904
	return nil
}

func (s *sheet) close() error {
	if err := s.file.Close(); err != nil {
		return fmt.Errorf("close workbook: %w", err)
	}
	return nil
}

// Line returns the number of the row last read, 1 the header.
func (s *sheet) Line() int { return s.row }

// Read returns the next row's values, io.EOF after the last.
func (s *sheet) Read() ([]string, error) {
	if !s.raw.Next() || !s.shown.Next() {
		if err := errors.Join(s.raw.Error(), s.shown.Error()); err != nil {
			return nil, notAWorkbook(err)
		}
		return nil, io.EOF
	}
	s.row++
	raw, err := s.raw.Columns(excelize.Options{RawCellValue: true})
	if err != nil {
		return nil, notAWorkbook(err)
	}
	shown, err := s.shown.Columns()
	if err != nil {
		return nil, notAWorkbook(err)
	}
	if len(raw) > MaxColumns {
		if blank(raw[MaxColumns:]) {
			raw = raw[:MaxColumns]
		} else {
			return nil, trial.Fail(trial.Invalid, "table.too_large", "row %d of the sheet has %d columns; accepted: up to %d", s.row, len(raw), MaxColumns)
		}
	}
	for i := range raw {
		if i < len(shown) {
			raw[i] = s.value(raw[i], shown[i])
		}
	}
	if s.row == 1 {
		s.width = len(raw)
	}
	// A sheet leaves out the empty cells at a row's end.
	return append(raw, make([]string, max(0, s.width-len(raw)))...), nil
}

var (
	dateForm = regexp.MustCompile(`[0-9A-Za-z]+[-/.][0-9A-Za-z]+[-/.]?[0-9A-Za-z]*|[0-9] ?[A-Za-z]{3}|[A-Za-z]{3}`)
	binary   = regexp.MustCompile(`^-?[0-9]+\.[0-9]{7,}(E[-+]?[0-9]+)?$|^-?[0-9](\.[0-9]+)?E[-+]?[0-9]+$`)
)

// The days since the workbook's first that are taken for dates, 1950 to 2100.
const (
	firstDay = 18264
	lastDay  = 73415
)

// value returns what a cell says: a date as its day, since a workbook's times have no offset, a number without what its
// binary form added beyond 15 digits, everything else as it is.
func (s *sheet) value(raw, shown string) string {
	if raw == shown && len(raw) < 8 {
		return raw
	}
	n, err := strconv.ParseFloat(raw, 64)
	switch {
	case err != nil || math.IsInf(n, 0) || math.IsNaN(n):
		return raw
	case shown == "TRUE" || shown == "FALSE":
		return shown
	case shown != raw && n >= firstDay && n < lastDay && isDate(shown):
		if day, err := excelize.ExcelDateToTime(math.Floor(n), s.date1904); err == nil {
			return day.Format(time.DateOnly)
		}
	case binary.MatchString(raw):
		return strconv.FormatFloat(rounded(n), 'f', -1, 64)
	}
	return raw
}

// isDate reports whether a number is shown as a date: not as a number with separators, a share or money.
func isDate(shown string) bool {
	_, err := strconv.ParseFloat(strings.ReplaceAll(shown, ",", ""), 64)
	return err != nil && !strings.ContainsAny(shown, "%$€£") && dateForm.MatchString(shown)
}

// rounded keeps 15 digits, as many as a spreadsheet program shows.
func rounded(n float64) float64 {
	n, err := strconv.ParseFloat(strconv.FormatFloat(n, 'g', 15, 64), 64)
	if err != nil {
		panic(err) // what FormatFloat wrote reads back
	}
	return n
}
