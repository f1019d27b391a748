package exchange

import (
	"archive/zip"
	"bufio"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"time"
)

// OwnDataWriter writes what a server keeps of one person, table by table, a record at a time, so that any number of records
// takes no more memory than one. Values are nil, truth values, numbers, texts, times and JSON.
type OwnDataWriter interface {
	// Table begins the next table.
	Table(name string, columns []string) error
	// Record adds a record to the table, a value for each of its columns.
	Record(values []any) error
	// Close ends the last table and whatever holds the tables.
	Close() error
}

// aboutOwnData says what the copy is, in the copy.
const aboutOwnData = "Everything that this server keeps of you, in every club and trial: a table for each kind of record. " +
	"Times are RFC 3339. Receipts are your records as they stand in the trial's hash chain, with their salts: SHA-256 of the salt's 32 bytes " +
	"and the text gives the digests in the chain. Only you should have this copy: with it anybody can tell which records of a published trial are yours."

// ownDataJSON writes one JSON object with a list for each table.
type ownDataJSON struct {
	w       *bufio.Writer
	columns [][]byte // names, quoted, with a colon
	records int      // in the table; -1 before the first table
}

// NewOwnDataJSON returns a writer of one JSON object: made_at, about, and a list of objects for each table under its name.
func NewOwnDataJSON(w io.Writer, madeAt time.Time) OwnDataWriter {
	j := &ownDataJSON{w: bufio.NewWriter(w), records: -1}
	fmt.Fprintf(j.w, `{"made_at":%s,"about":%s`, quoted(madeAt), quoted(aboutOwnData))
	return j
}

func (j *ownDataJSON) Table(name string, columns []string) error {
	j.end()
	j.columns, j.records = j.columns[:0], 0
	for _, c := range columns {
		j.columns = append(j.columns, append(quoted(c), ':'))
	}
	_, err := fmt.Fprintf(j.w, ",\n%s:[", quoted(name))
	return err
}

func (j *ownDataJSON) Record(values []any) error {
	if j.records > 0 {
		j.w.WriteByte(',') //nolint:errcheck // bufio keeps the first error and returns it from Flush
	}
	j.records++
	for i, v := range values {
		text, err := json.Marshal(v)
		if err != nil {
			return fmt.Errorf("write own data: %w", err)
		}
		j.w.WriteByte("\n,"[min(i, 1)]) //nolint:errcheck // as above
		if i == 0 {
			j.w.WriteByte('{') //nolint:errcheck // as above
		}
		j.w.Write(j.columns[i]) //nolint:errcheck // as above
		if _, err := j.w.Write(text); err != nil {
			return err
		}
	}
	return j.w.WriteByte('}')
}

func (j *ownDataJSON) end() {
	if j.records >= 0 {
		j.w.WriteByte(']') //nolint:errcheck // as above
	}
}

func (j *ownDataJSON) Close() error {
	j.end()
	j.w.WriteString("}\n") //nolint:errcheck // as above
	return j.w.Flush()
}

func quoted(v any) []byte {
	text, err := json.Marshal(v)
	if err != nil {
		panic(err) // texts and times of this century: cannot fail
	}
	return text
}

// ownDataZip writes a zip with a CSV file for each table.
type ownDataZip struct {
	zip *zip.Writer
	csv *csv.Writer
	err error
}

// NewOwnDataZip returns a writer of a zip: README.txt, and for each table a CSV file by RFC 4180 that spreadsheet programs
// can open: what they would take for a formula has an apostrophe before it, as in a catch table.
func NewOwnDataZip(w io.Writer, madeAt time.Time) OwnDataWriter {
	z := &ownDataZip{zip: zip.NewWriter(w)}
	var readme io.Writer
	if readme, z.err = z.zip.Create("README.txt"); z.err == nil {
		_, z.err = fmt.Fprintf(readme, "%s\nMade at %s.\n", aboutOwnData, madeAt.Format(time.RFC3339))
	}
	return z
}

func (z *ownDataZip) Table(name string, columns []string) error {
	if err := z.flush(); err != nil {
		return err
	}
	file, err := z.zip.Create(name + ".csv")
	if err != nil {
		return err
	}
	z.csv = csv.NewWriter(file)
	z.csv.UseCRLF = true
	return z.csv.Write(columns)
}

func (z *ownDataZip) Record(values []any) error {
	record := make([]string, len(values))
	for i, v := range values {
		record[i] = guard(plainText(v))
	}
	return z.csv.Write(record)
}

func (z *ownDataZip) flush() error {
	if z.csv != nil && z.err == nil {
		z.csv.Flush()
		z.err = z.csv.Error()
	}
	return z.err
}

func (z *ownDataZip) Close() error {
	if err := z.flush(); err != nil {
		return err
	}
	return z.zip.Close()
}

// plainText is a value as a table has it.
func plainText(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case string:
		return v
	case json.RawMessage:
		return string(v)
	case bool:
		if v {
			return "yes"
		}
		return "no"
	case time.Time:
		return v.Format(time.RFC3339Nano)
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return fmt.Sprint(v)
}
