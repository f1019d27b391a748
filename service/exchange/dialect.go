package exchange

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"evenrig/service/trial"
)

// dialect is how a file separates its values, if it is no workbook. Where the comma separates, it cannot be a decimal comma too.
type dialect struct {
	separator    rune
	decimalComma bool
	workbook     bool
}

// mostRows is how many rows the file may have.
func (d dialect) mostRows() int {
	if d.workbook {
		return MaxSheetRows
	}
	return MaxRows
}

func (d dialect) rowsAccepted() string {
	if d.workbook {
		return fmt.Sprintf("up to %d in a workbook and %d as CSV", MaxSheetRows, MaxRows)
	}
	return fmt.Sprintf("up to %d", MaxRows)
}

var errLongLine = errors.New("a line is too long")

// source gives a table's rows one by one, the header first; io.EOF ends them. Line is where the row last read begins.
type source interface {
	Read() ([]string, error)
	Line() int
}

// csvSource is a file of separated values.
type csvSource struct{ *csv.Reader }

func (c csvSource) Line() int {
	line, _ := c.FieldPos(0)
	return line
}

// open returns what stands before the header, the file's dialect, and what closes it. A byte order mark is skipped.
func open(r io.Reader) (_ source, _ dialect, closeIt func() error, err error) {
	nothing := func() error { return nil }
	plain := bufio.NewReader(r)
	if start, err := plain.Peek(len(workbookStart)); err == nil && string(start) == workbookStart {
		s, err := openSheet(plain)
		if err != nil {
			return nil, dialect{}, nothing, err
		}
		return s, dialect{decimalComma: true, workbook: true}, s.close, nil
	}
	buffered := bufio.NewReaderSize(&lineGuard{r: plain}, MaxLineBytes+4)
	start, err := buffered.Peek(MaxLineBytes)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, dialect{}, nothing, readError(err)
	}
	switch {
	case bytes.HasPrefix(start, []byte("\xef\xbb\xbf")):
		start = start[3:]
		if _, err := buffered.Discard(3); err != nil {
			return nil, dialect{}, nothing, readError(err)
		}
	case bytes.HasPrefix(start, []byte("\xff\xfe")), bytes.HasPrefix(start, []byte("\xfe\xff")):
		return nil, dialect{}, nothing, trial.Fail(trial.Invalid, "table.encoding",
			"the file is UTF-16; accepted: CSV in UTF-8 (in a spreadsheet program: save as CSV UTF-8), or an .xlsx workbook")
	}
	header, _, _ := bytes.Cut(start, []byte("\n"))
	d := sniff(string(header))
	reader := csv.NewReader(buffered)
	reader.Comma = d.separator
	reader.FieldsPerRecord = -1
	reader.ReuseRecord = true
	return csvSource{reader}, d, nothing, nil
}

// sniff chooses the separator that gives the header the most columns of the catch table; a tie goes to the comma.
func sniff(header string) dialect {
	best, most := ',', -1
	for _, separator := range []rune{',', ';', '\t'} {
		known := 0
		for _, name := range strings.Split(header, string(separator)) {
			if slices.Contains(Columns(), columnName(strings.Trim(strings.TrimSpace(name), `"`))) {
				known++
			}
		}
		if known > most {
			best, most = separator, known
		}
	}
	return dialect{separator: best, decimalComma: best != ','}
}

// columnName is a header's name as it is compared: without spaces around it, in lower case.
func columnName(name string) string { return strings.ToLower(strings.TrimSpace(name)) }

// lineGuard passes bytes on until one line is longer than MaxLineBytes, so that a file without line ends is not read
// into memory whole.
type lineGuard struct {
	r      io.Reader
	length int
}

func (g *lineGuard) Read(p []byte) (int, error) {
	n, err := g.r.Read(p)
	for rest := p[:n]; ; {
		i := bytes.IndexByte(rest, '\n')
		if i < 0 {
			g.length += len(rest)
			break
		}
		if g.length+i > MaxLineBytes {
			return 0, errLongLine
		}
		g.length, rest = 0, rest[i+1:]
	}
	if g.length > MaxLineBytes {
		return 0, errLongLine
	}
	return n, err
}

// readError tells a line that is too long from a file that could not be read.
func readError(err error) error {
	if errors.Is(err, errLongLine) {
		return trial.Fail(trial.Invalid, "table.too_large", "a line is longer than %d bytes; accepted: one fish a line", MaxLineBytes)
	}
	return fmt.Errorf("read catch table: %w", err)
}
