package exchange

import (
	"strconv"
	"strings"
	"time"

	"evenrig/service/trial"
)

// The limits of a catch table. What is beyond them is refused with a reason, so that no file can use up the machine.
const (
	MaxRows       = 1_000_000 // fish
	MaxSheetRows  = 500_000   // fish of a workbook, which is unpacked to be read
	MaxAnglers    = 100_000   // anglers
	MaxColumns    = 100       // further columns too
	MaxLineBytes  = 64 * 1024 // one line of the file
	MaxTextLength = 200       // characters in one of the table's own columns
	MaxFaults     = 1000      // faults listed; the rest is counted
)

// The columns of the catch table, in the order in which they are written.
const (
	colAngler        = "angler"
	colOuting        = "outing"
	colBlock         = "block"
	colPeriod        = "period"
	colLowerPattern  = "lower_pattern"
	colTakenPosition = "taken_position"
	colTakenPattern  = "taken_pattern"
	colCaughtAt      = "caught_at"
	colSpecies       = "species"
	colOrigin        = "origin"
	colWaterType     = "water_type"
	colFly           = "fly"
	colOutcome       = "outcome"
	colFoulHooked    = "foul_hooked"
	colLength        = "length"
	colLengthUnit    = "length_unit"
	colExclusion     = "exclusion"
)

// colMonth is no column of the table: it is taken from caught_at.
const colMonth = "month"

// Columns returns the names of the catch table's own columns in the order in which they are written.
func Columns() []string {
	return []string{
		colAngler, colOuting, colBlock, colPeriod, colLowerPattern, colTakenPosition, colTakenPattern, colCaughtAt,
		colSpecies, colOrigin, colWaterType, colFly, colOutcome, colFoulHooked, colLength, colLengthUnit, colExclusion,
	}
}

// DefaultAngler is the angler of a table without that column: one who fishes alone.
const DefaultAngler = "me"

// Row is one fish of a catch table.
//
// LowerPattern, TakenPosition and TakenPattern agree, and each is derived from the other two where those are enough.
// LowerPattern is empty where the arrangement is not known; TakenPattern may be "unknown" (not sure) or "other" (a third
// fly). Outing is as given; see OutingLabel. Block and Period are nil where there are none. CaughtAt is RFC 3339, or a
// date like 2026-09-01, or empty. Exclusion is a reason that the other columns cannot show (a fish of a double, say); empty
// for none. Further holds the values of Table.Further, in that order.
type Row struct {
	Line          int // line of the file on which the row starts, 1 the header; 0 for a row that was not read
	Angler        string
	Outing        string
	Block, Period *int
	LowerPattern  string
	TakenPosition trial.Position
	TakenPattern  string
	CaughtAt      string
	Species       string
	Origin        trial.Origin
	WaterType     string
	Fly           string
	Outcome       trial.Outcome
	FoulHooked    bool
	Length        *Length
	Exclusion     trial.Exclusion
	Further       []string
}

// Length is a length as it was typed: Value a plain decimal number with a point, Unit "mm", "cm" or "in".
type Length struct {
	Value string
	Unit  string
}

// Table is a catch table: the codes of its two patterns, its rows in the file's order, and the names of its further
// columns. Rows of a table that was read come from its file, each time that they are run; rows at fault are not among them.
// Codes are the pattern codes that stand in the file, the most frequent first. Subgroups are the columns by which its
// fish are told apart when they are counted, named as in the file. Of a table that was read, Count is how many rows the file has,
// Anglers how many anglers those without a fault are of, and Faults counts all faults found, also those beyond MaxFaults.
type Table struct {
	Test, Control string
	Codes         []string
	Rows          Rows[Row]
	Further       []string
	Subgroups     []string
	Count         int
	Anglers       int
	Faults        int
}

// RowFault says what is wrong with one value of one row. Line counts lines of the file, 1 the header. Column is empty
// where the fault is of the whole line.
type RowFault struct {
	Line   int    `json:"line"`
	Column string `json:"column"`
	Value  string `json:"value"`
	Reason string `json:"reason"`
}

// String says the fault in one line: line 4, taken_position "Lower": ….
func (f RowFault) String() string {
	var b strings.Builder
	b.WriteString("line " + strconv.Itoa(f.Line))
	if f.Column != "" {
		b.WriteString(", " + f.Column)
	}
	if f.Value != "" {
		b.WriteString(" " + strconv.Quote(f.Value))
	}
	return b.String() + ": " + f.Reason
}

// Time returns when the fish was caught; dateOnly says that only the day is known, ok is false when nothing is.
func (r Row) Time() (at time.Time, dateOnly, ok bool) {
	form := time.RFC3339
	if dateOnly = len(r.CaughtAt) == len(time.DateOnly); dateOnly {
		form = time.DateOnly
	}
	at, err := time.Parse(form, r.CaughtAt)
	return at, dateOnly && err == nil, err == nil
}

// OutingLabel is the outing's label, unique within the angler: as given, else the date (where the fish was caught, by
// its own offset), else empty.
func (r Row) OutingLabel() string {
	if r.Outing != "" {
		return r.Outing
	}
	if at, _, ok := r.Time(); ok {
		return at.Format(time.DateOnly)
	}
	return ""
}

// MM returns the length in whole millimetres, converted once, halves rounded up; 1 in = 25.4 mm exactly (NIST SP 811). It is
// 0 for a Length that was not checked by the reader.
func (l Length) MM() int64 {
	perUnit, ok := map[string]int64{"mm": 10, "cm": 100, "in": 254}[l.Unit] // tenths of a millimetre
	whole, fraction, _ := strings.Cut(l.Value, ".")
	units, err := strconv.ParseInt(whole+fraction, 10, 64)
	if !ok || err != nil {
		return 0
	}
	scale := int64(10)
	for range fraction {
		scale *= 10
	}
	return (2*units*perUnit + scale) / (2 * scale)
}
