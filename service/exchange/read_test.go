package exchange

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"unicode/utf16"

	"evenrig/service/trial"
)

func read(t testing.TB, text string, o ReadOptions) (Table, []RowFault, error) {
	t.Helper()
	if o.Test == "" {
		o.Test = "A"
	}
	return ReadCatchTable(strings.NewReader(text), o)
}

func mustRead(t testing.TB, text string, o ReadOptions) Table {
	t.Helper()
	table, faults, err := read(t, text, o)
	if err != nil || len(faults) > 0 {
		t.Fatalf("%q: %v %v", text, err, faults)
	}
	return table
}

// Any two of the three columns give the third; `unknown` and `other` give what they can.
func TestThirdColumnFollows(t *testing.T) {
	for _, c := range []struct {
		lower, position, pattern             string
		wantLower, wantPosition, wantPattern string
		arrangement                          trial.Arrangement
		taken                                trial.Taken
		exclusion                            trial.Exclusion
	}{
		{"A", "lower", "", "A", "lower", "A", trial.TestLower, trial.TookTest, ""},
		{"A", "upper", "", "A", "upper", "B", trial.TestLower, trial.TookControl, ""},
		{"B", "lower", "", "B", "lower", "B", trial.ControlLower, trial.TookControl, ""},
		{"B", "upper", "", "B", "upper", "A", trial.ControlLower, trial.TookTest, ""},
		{"A", "", "A", "A", "lower", "A", trial.TestLower, trial.TookTest, ""},
		{"A", "", "B", "A", "upper", "B", trial.TestLower, trial.TookControl, ""},
		{"", "lower", "A", "A", "lower", "A", trial.TestLower, trial.TookTest, ""},
		{"", "upper", "A", "B", "upper", "A", trial.ControlLower, trial.TookTest, ""},
		{"A", "lower", "A", "A", "lower", "A", trial.TestLower, trial.TookTest, ""},
		{"A", "lower", "unknown", "A", "lower", "A", trial.TestLower, trial.TookTest, ""},
		{"A", "unknown", "B", "A", "upper", "B", trial.TestLower, trial.TookControl, ""},
		{"A", "unknown", "", "A", "unknown", "unknown", trial.TestLower, trial.TookUnknown, trial.NotSure},
		{"A", "", "unknown", "A", "unknown", "unknown", trial.TestLower, trial.TookUnknown, trial.NotSure},
		{"A", "other", "", "A", "other", "other", trial.TestLower, trial.TookOther, trial.OtherFly},
		{"A", "", "other", "A", "other", "other", trial.TestLower, trial.TookOther, trial.OtherFly},
		{"A", "other", "unknown", "A", "other", "other", trial.TestLower, trial.TookOther, trial.OtherFly},
		{"", "other", "other", "", "other", "other", "", trial.TookOther, trial.OtherFly},
		{"", "unknown", "A", "", "unknown", "A", "", trial.TookTest, trial.NotConfirmed},
		{"", "lower", "unknown", "", "lower", "unknown", "", trial.TookUnknown, trial.NotSure},
	} {
		table := mustRead(t, fmt.Sprintf("lower_pattern,taken_position,taken_pattern\n%s,%s,%s\n", c.lower, c.position, c.pattern), ReadOptions{Control: "B"})
		row := all(t, table.Rows)[0]
		if row.LowerPattern != c.wantLower || string(row.TakenPosition) != c.wantPosition || row.TakenPattern != c.wantPattern {
			t.Errorf("%s/%s/%s became %s/%s/%s", c.lower, c.position, c.pattern, row.LowerPattern, row.TakenPosition, row.TakenPattern)
		}
		tally := tallied(t, table)[0]
		if tally.Arrangement != c.arrangement || tally.Taken != c.taken || tally.Exclusion != c.exclusion || tally.N != 1 {
			t.Errorf("%s/%s/%s is counted as %+v", c.lower, c.position, c.pattern, tally)
		}
	}
}

// A bad row is named with its line, its column, its value and what is accepted, and does not spoil the others.
func TestBadRowsAreNamed(t *testing.T) {
	const header = "angler,lower_pattern,taken_position,taken_pattern,block,caught_at,origin,outcome,foul_hooked,length,length_unit,exclusion\n"
	for _, c := range []struct{ row, column, value, reason string }{
		{"me,A,lower,B,,,,,,,,", "taken_pattern", "B", "disagrees with lower_pattern A and taken_position lower"},
		{"me,B,upper,B,,,,,,,,", "taken_pattern", "B", "disagrees"},
		{"me,A,lower,other,,,,,,,,", "taken_pattern", "other", "disagrees"},
		{"me,A,other,A,,,,,,,,", "taken_pattern", "A", "disagrees"},
		{"me,A,,,,,,,,,,", "", "", "any two of"},
		{"me,C,lower,,,,,,,,,", "lower_pattern", "C", "accepted: A, B"},
		{"me,A,,C,,,,,,,,", "taken_pattern", "C", "accepted: A, B, unknown, other"},
		{"me,unknown,lower,,,,,,,,,", "lower_pattern", "unknown", "accepted: A, B"},
		{"me,A,Lower,,,,,,,,,", "taken_position", "Lower", "accepted: lower, upper, unknown, other (in lower case)"},
		{"me,A,lower,,one,,,,,,,", "block", "one", "whole number"},
		{"me,A,lower,,-1,,,,,,,", "block", "-1", "whole number"},
		{"me,A,lower,,,1/9/2026,,,,,,", "caught_at", "1/9/2026", "2026-09-01"},
		{"me,A,lower,,,2026-09-01T10:00:00,,,,,,", "caught_at", "2026-09-01T10:00:00", "offset"},
		{"me,A,lower,,,,tame,,,,,", "origin", "tame", "wild, stocked, unknown"},
		{"me,A,lower,,,,,kept,,,,", "outcome", "kept", "landed, lost, touched"},
		{"me,A,lower,,,,,,maybe,,,", "foul_hooked", "maybe", "yes, no"},
		{"me,A,lower,,,,,,,31,,", "length_unit", "", "mm, cm, in"},
		{"me,A,lower,,,,,,,31,feet,", "length_unit", "feet", "mm, cm, in"},
		{"me,A,lower,,,,,,,long,cm,", "length", "long", "a number like 31.5"},
		{"me,A,lower,,,,,,,-3,cm,", "length", "-3", "a number like 31.5"},
		{"me,A,lower,,,,,,,0,cm,", "length", "0", "1 to 3000 mm"},
		{"me,A,lower,,,,,,,310,cm,", "length", "310", "3100 mm"},
		{`me,A,lower,,,,,,,"31,5",cm,`, "length", "31,5", "a number like 31.5"},
		{"me,A,lower,,,,,,,,,because", "exclusion", "because", "same_fly_check"},
		{"me,A,lower", "", "", "3 values where the header has 12 columns"},
		{"me,A,lower,,,,,,,,,,more", "", "more", "column 13"},
		{`me,A,lo"wer,,,,,,,,,`, "", "", "double quotes"},
		{"m\xe4,A,lower,,,,,,,,,", "angler", "m\uFFFD", "UTF-8"},
		{"\"two\nlines\",A,lower,,,,,,,,,", "angler", "two\nlines", "line break"},
		{strings.Repeat("x", 201) + ",A,lower,,,,,,,,,", "angler", strings.Repeat("x", 79) + "…", "longer than 200"},
	} {
		table, faults, err := read(t, header+"me,A,lower,,,,,,,,,\n"+c.row+"\nme,B,upper,,,,,,,,,\n", ReadOptions{Control: "B"})
		if err != nil || len(faults) != 1 || table.Faults != 1 || len(all(t, table.Rows)) != 2 || table.Count != 3 {
			t.Errorf("%q: %d rows, %v, %v", c.row, table.Count, faults, err)
			continue
		}
		f := faults[0]
		if f.Line != 3 || f.Column != c.column || f.Value != c.value || !strings.Contains(f.Reason, c.reason) {
			t.Errorf("%q: %+v", c.row, f)
		}
	}
}

// A row with several faults has all of them named; the list stops at MaxFaults in the order of the file, the count does
// not.
func TestFaultsAreListedUpToALimit(t *testing.T) {
	var b strings.Builder
	b.WriteString("lower_pattern,taken_position,outcome,origin\n")
	for i := range 1500 {
		switch i % 3 {
		case 0:
			b.WriteString("A,sideways,kept,tame\n")
		case 1:
			b.WriteString("C,lower,,\n")
		default:
			b.WriteString("A,lower,,\n")
		}
	}
	table, faults, err := read(t, b.String(), ReadOptions{Control: "B"})
	if err != nil || len(faults) != MaxFaults || table.Faults != 4*500 || len(all(t, table.Rows)) != 500 || table.Count != 1500 {
		t.Fatalf("%d listed of %d, %d rows: %v", len(faults), table.Faults, table.Count, err)
	}
	for i := 1; i < len(faults); i++ {
		if faults[i].Line < faults[i-1].Line {
			t.Fatalf("fault %d is of line %d, after line %d", i, faults[i].Line, faults[i-1].Line)
		}
	}
	if last := faults[MaxFaults-1].Line; last != 2+3*249+1 {
		t.Errorf("the last fault listed is of line %d", last)
	}
}

// What is wrong with the whole table is said with what was found and what is accepted.
func TestTablesThatAreRefused(t *testing.T) {
	wide := "lower_pattern,taken_position" + strings.Repeat(",x", 120) + "\n"
	units := utf16.Encode([]rune("lower_pattern,taken_position\nA,lower\n"))
	utf16le := "\xff\xfe"
	for _, u := range units {
		utf16le += string([]byte{byte(u), byte(u >> 8)})
	}
	for _, c := range []struct {
		name, text string
		o          ReadOptions
		code       string
		says       []string
	}{
		{"empty", "", ReadOptions{}, "table.empty", []string{"empty", "header"}},
		{"only a byte order mark", "\xef\xbb\xbf", ReadOptions{}, "table.empty", []string{"empty"}},
		{"no rows", "angler,lower_pattern,taken_position\n\n", ReadOptions{}, "table.empty", []string{"no rows", "angler"}},
		{"one column of the three", "angler,lower_pattern\nme,A\n", ReadOptions{}, "table.columns", []string{"angler, lower_pattern", "any two of"}},
		{"a column twice", "lower_pattern,taken_position,Lower_Pattern\nA,lower,A\n", ReadOptions{}, "table.columns", []string{"lower_pattern", "twice"}},
		{"too many columns", wide, ReadOptions{}, "table.too_large", []string{"122 columns", "100"}},
		{"a long line", "lower_pattern,taken_position\n" + strings.Repeat("x", MaxLineBytes+1) + "\n", ReadOptions{}, "table.too_large", []string{"line"}},
		{"a long header", strings.Repeat("x", 4*MaxLineBytes), ReadOptions{}, "table.too_large", []string{"line"}},
		{"UTF-16", utf16le, ReadOptions{}, "table.encoding", []string{"UTF-16", "UTF-8"}},
		{"a workbook", "PK\x03\x04 and so on", ReadOptions{}, "table.encoding", []string{".xlsx workbook", "CSV"}},
		{"a header that is not UTF-8", "lower_pattern,taken_position,\xff\nA,lower,\n", ReadOptions{}, "table.encoding", []string{"column 3"}},
		{"three codes", "lower_pattern,taken_position\nA,lower\nB,lower\nB,upper\nC,lower\n", ReadOptions{}, "table.patterns", []string{"3 pattern codes", `"B" (2 rows)`, `"A" (1 row)`, `"C"`}},
		{"one code", "lower_pattern,taken_position\nA,lower\nA,upper\n", ReadOptions{}, "table.patterns", []string{`"A" (2 rows)`, "control"}},
		{"an unknown test pattern", "lower_pattern,taken_position\nA,lower\nB,upper\n", ReadOptions{Test: "Z"}, "table.patterns", []string{`"Z"`, `"A"`, `"B"`}},
		{"NUL bytes", "\x00\x00lower_pattern,taken_position\n", ReadOptions{}, "table.encoding", []string{"NUL", "UTF-16"}},
		{"UTF-16 without a mark", utf16le[2:], ReadOptions{}, "table.encoding", []string{"UTF-16"}},
		{"lines ended by CR alone", "lower_pattern,taken_position\rA,lower\r", ReadOptions{}, "table.encoding", []string{"column 2", "LF or CRLF"}},
		{"neither pattern, the control named", "lower_pattern,taken_position\nX,lower\nY,upper\n", ReadOptions{Control: "B"}, "table.patterns", []string{`no pattern "A"`, `"X" (1 row)`}},
		{"no code", "taken_position,taken_pattern\nunknown,unknown\n", ReadOptions{}, "table.patterns", []string{"no pattern code"}},
		{"the same code twice", "lower_pattern,taken_position\nA,lower\n", ReadOptions{Control: "A"}, "table.patterns", []string{"same code"}},
		{"a code that is a word of the table", "lower_pattern,taken_position\nA,lower\n", ReadOptions{Control: "other"}, "table.patterns", []string{"other"}},
	} {
		_, _, err := read(t, c.text, c.o)
		var known *trial.Error
		if !errors.As(err, &known) || known.Kind != trial.Invalid || known.Code != c.code {
			t.Errorf("%s: %v, want code %s", c.name, err, c.code)
			continue
		}
		for _, text := range c.says {
			if !strings.Contains(known.Detail, text) {
				t.Errorf("%s: %q does not say %q", c.name, known.Detail, text)
			}
		}
	}
	_, _, err := ReadCatchTable(cutFile{strings.NewReader("lower_pattern,taken_position\nA,lower\n")}, ReadOptions{Test: "A"})
	if err == nil || trial.KindOf(err) != trial.Internal || !strings.Contains(err.Error(), "cable pulled") {
		t.Errorf("a reader that fails: %v", err)
	}
}

// cutFile fails where its text ends.
type cutFile struct{ *strings.Reader }

func (f cutFile) Size() int64 { return f.Reader.Size() + 1 }

func (f cutFile) ReadAt(b []byte, offset int64) (int, error) {
	n, err := f.Reader.ReadAt(b, offset)
	if err != nil {
		err = errors.New("cable pulled")
	}
	return n, err
}

// tallied counts a table's fish.
func tallied(t testing.TB, table Table) []trial.Tally {
	t.Helper()
	tallies, err := table.Tallies()
	if err != nil {
		t.Fatal(err)
	}
	return tallies
}

// A bad row is named also where it hides a pattern's code: the patterns are looked for in bad rows too, and where even then they
// are not known the bad rows come first.
func TestBadRowsBeforeMissingPatterns(t *testing.T) {
	for name, text := range map[string]string{
		"a decimal comma":    "lower_pattern,taken_position,length,length_unit\nA,lower,\"31,5\",cm\nB,upper,30,cm\n",
		"one value too many": "lower_pattern,taken_position\nA,lower,zzz\nB,upper\n",
		"not UTF-8":          "lower_pattern,taken_position\n\xc1,lower\nB,upper\n",
		"no CSV":             "lower_pattern,taken_position\nB,upper\n\"A,lower\n",
	} {
		table, faults, err := read(t, text, ReadOptions{})
		if err != nil || table.Faults != 1 || len(faults) != 1 {
			t.Errorf("%s: %v, %d faults %v", name, err, table.Faults, faults)
		}
	}
}

// A number that may be thousands or a fraction, by country, is asked back; so is a NUL byte in a column of the user's own.
func TestValuesThatMeanTwoThings(t *testing.T) {
	for _, c := range []struct {
		length, unit string
		good         bool
	}{{"1.250", "mm", false}, {"1,250", "mm", false}, {"1250", "mm", true}, {"315.5", "mm", true}, {"31,550", "cm", true}, {"12.125", "in", true}} {
		_, faults, err := read(t, "lower_pattern;taken_position;length;length_unit\nA;lower;"+c.length+";"+c.unit+"\nB;upper;;\n", ReadOptions{})
		if err != nil || (len(faults) == 0) != c.good {
			t.Errorf("%s %s: %v %v", c.length, c.unit, faults, err)
		}
	}
	if _, faults, err := read(t, "lower_pattern,taken_position,hatch\nA,lower,a\x00b\nB,upper,\n", ReadOptions{}); err != nil || len(faults) != 1 || faults[0].Column != "hatch" {
		t.Errorf("a NUL byte in a further column: %v %v", faults, err)
	}
}

// One code in the table is enough when the control pattern is named.
func TestOneCodeWithTheControlNamed(t *testing.T) {
	table := mustRead(t, "lower_pattern,taken_pattern\nA,A\nA,A\n", ReadOptions{Control: "B"})
	if table.Test != "A" || table.Control != "B" || table.Count != 2 {
		t.Errorf("%+v", table)
	}
}

// Separator, byte order mark, line ends, order and case of the header, quotes and the decimal comma are the file's own
// affair: the rows are the same.
func TestDialects(t *testing.T) {
	plain := mustRead(t, "angler,outing,lower_pattern,taken_position,length,length_unit,hatch\n"+
		"Ann,1,A,lower,31.5,cm,\"olives, some\"\nBo,2,B,upper,,,none\n", ReadOptions{})
	for name, text := range map[string]string{
		"semicolons, BOM, CRLF": "\xef\xbb\xbfangler;outing;lower_pattern;taken_position;length;length_unit;hatch\r\n" +
			"Ann;1;A;lower;31,5;cm;\"olives, some\"\r\nBo;2;B;upper;;;none\r\n",
		"tabs": "angler\touting\tlower_pattern\ttaken_position\tlength\tlength_unit\thatch\n" +
			"Ann\t1\tA\tlower\t31.5\tcm\tolives, some\nBo\t2\tB\tupper\t\t\tnone\n",
		"other order and case, blank lines, spaces, no last line end": " Length_Unit ,LENGTH,Taken_Position,\"lower_pattern\",hatch,Angler,outing,\n" +
			"\ncm,31.5, lower ,A,\"olives, some\",Ann,1,\n,,,,,,,\n,,upper,B,none,Bo,2,",
		"everything quoted": "\"angler\";\"outing\";\"lower_pattern\";\"taken_position\";\"length\";\"length_unit\";\"hatch\"\n" +
			"\"Ann\";\"1\";\"A\";\"lower\";\"31,5\";\"cm\";\"olives, some\"\n\"Bo\";\"2\";\"B\";\"upper\";\"\";\"\";\"none\"\n",
	} {
		got := mustRead(t, text, ReadOptions{})
		if d := difference(t, got, plain); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
}

// difference says how two tables differ, but for what a file alone can give: the lines, the codes that stand in it, and what was
// counted. It is empty where they do not.
func difference(t testing.TB, got, want Table) string {
	t.Helper()
	rows := [][]Row{all(t, got.Rows), all(t, want.Rows)}
	for _, list := range rows {
		for i := range list {
			list[i].Line = 0
		}
	}
	for _, table := range []*Table{&got, &want} {
		table.Codes, table.Rows, table.Count, table.Anglers, table.Faults = nil, nil, 0, 0, 0
	}
	if reflect.DeepEqual(got, want) && reflect.DeepEqual(rows[0], rows[1]) {
		return ""
	}
	return fmt.Sprintf("\n%+v\n%+v\nwant\n%+v\n%+v", got, rows[0], want, rows[1])
}

func TestDefaultsAndDerivedLabels(t *testing.T) {
	table := mustRead(t, "lower_pattern,taken_position,caught_at,outcome\n"+
		"A,lower,2026-09-01,\nA,lower,2026-09-01T23:30:00+02:00,lost\nB,lower,2026-12-31T23:30:00-05:00,\nB,lower,,\n", ReadOptions{})
	rows := all(t, table.Rows)
	first := rows[0]
	if first.Angler != "me" || first.Outcome != trial.Landed || first.Origin != trial.UnknownOrigin || first.FoulHooked || first.Block != nil {
		t.Errorf("defaults: %+v", first)
	}
	for i, want := range []string{"2026-09-01", "2026-09-01", "2026-12-31", ""} {
		if got := rows[i].OutingLabel(); got != want {
			t.Errorf("outing of row %d is %q, want %q", i, got, want)
		}
	}
	var months, weeks []string
	for _, tally := range tallied(t, table) {
		months, weeks = append(months, tally.Month), append(weeks, tally.Week)
	}
	slices.Sort(months)
	slices.Sort(weeks)
	// 31 December 2026 is a Thursday, so it lies in week 53 (ISO 8601).
	if fmt.Sprint(months) != "[ 2026-09 2026-09 2026-12]" || fmt.Sprint(weeks) != "[ 2026-W36 2026-W36 2026-W53]" {
		t.Errorf("months %v, weeks %v", months, weeks)
	}
}

// The first reason that applies is the one counted.
func TestFirstExclusionThatApplies(t *testing.T) {
	for _, c := range []struct {
		row  string
		want trial.Exclusion
	}{
		{"A,lower,,landed,no,", trial.Analysed},
		{"A,lower,,lost,yes,", trial.ExcludeLost},
		{"A,lower,,touched,no,", trial.ExcludeTouched},
		{"A,lower,,,yes,", trial.FoulHooked},
		{"A,unknown,,lost,no,", trial.ExcludeLost},
		{"A,other,,,yes,", trial.FoulHooked},
		{"A,other,,,,", trial.OtherFly},
		{"A,lower,,,,double", trial.Double},
		{"A,lower,,,yes,double", trial.FoulHooked},
		{"A,lower,,lost,,void", trial.Void},
		{"A,unknown,,,,double", trial.Double},
		{",unknown,A,,,", trial.NotConfirmed},
		{",unknown,A,,,while_swapping", trial.NotConfirmed},
	} {
		table := mustRead(t, "lower_pattern,taken_position,taken_pattern,outcome,foul_hooked,exclusion\n"+c.row+"\n", ReadOptions{Control: "B"})
		if got := tallied(t, table)[0].Exclusion; got != c.want {
			t.Errorf("%s: %q, want %q", c.row, got, c.want)
		}
	}
}

// A block number counts within its outing, unless it joins two outings of one arrangement each.
func TestBlockLabels(t *testing.T) {
	table := mustRead(t, "outing,block,period,lower_pattern,taken_position\n1,1,1,A,lower\n1,1,2,B,lower\n2,1,1,A,lower\n2,1,2,B,lower\n3,7,1,A,lower\n4,7,2,B,lower\n", ReadOptions{})
	var labels []string
	for _, tally := range tallied(t, table) {
		labels = append(labels, tally.Block+" | "+tally.Period)
	}
	slices.Sort(labels)
	want := []string{
		"1, block 1 | 1, block 1, period 1", "1, block 1 | 1, block 1, period 2",
		"2, block 1 | 2, block 1, period 1", "2, block 1 | 2, block 1, period 2",
		"7 | 7, period 1", "7 | 7, period 2",
	}
	if !reflect.DeepEqual(labels, want) {
		t.Errorf("labels %q, want %q", labels, want)
	}
}

// 1 in = 25.4 mm exactly (NIST SP 811); halves of a millimetre are rounded up.
func TestLengthsInMillimetres(t *testing.T) {
	for _, c := range []struct {
		value, unit string
		want        int64
	}{
		{"315", "mm", 315},
		{"31.5", "cm", 315},
		{"31.55", "cm", 316},
		{"31.54", "cm", 315},
		{"12", "in", 305},
		{"12.5", "in", 318},
		{"10", "in", 254},
		{"0.1", "cm", 1},
		{"118.110236", "in", 3000},
	} {
		if got := (Length{c.value, c.unit}).MM(); got != c.want {
			t.Errorf("%s %s = %d mm, want %d", c.value, c.unit, got, c.want)
		}
	}
}

// The order of the rows changes no tally.
func TestRowOrderChangesNoTally(t *testing.T) {
	rows := []string{"Ann,1,A,lower", "Ann,1,A,lower", "Bo,1,B,lower", "Ann,2,B,upper"}
	a := tallied(t, mustRead(t, "angler,outing,lower_pattern,taken_position\n"+strings.Join(rows, "\n"), ReadOptions{}))
	rows[0], rows[3] = rows[3], rows[0]
	b := tallied(t, mustRead(t, "angler,outing,lower_pattern,taken_position\n"+strings.Join(rows, "\n"), ReadOptions{}))
	twice := func(t trial.Tally) bool { return t.Angler == "Ann" && t.Outing == "1" && t.N == 2 }
	if !reflect.DeepEqual(a, b) || len(a) != 3 || !slices.ContainsFunc(a, twice) {
		t.Errorf("%v and %v", a, b)
	}
}

// What a table may hold is bounded, and refused with its number.
func TestLongerTables(t *testing.T) {
	t.Parallel()
	var anglers strings.Builder
	anglers.WriteString("angler,lower_pattern,taken_position\n")
	for i := range MaxAnglers + 1 {
		fmt.Fprintf(&anglers, "%d,A,lower\n", i)
	}
	for _, c := range []struct{ name, text, says string }{
		{"too many fish", "lower_pattern,taken_position\n" + strings.Repeat("A,lower\n", MaxRows+1), "accepted: up to 1000000"},
		{"too many anglers", anglers.String(), "of more than 100000 anglers"},
	} {
		_, _, err := read(t, c.text, ReadOptions{Control: "B"})
		if e, ok := errors.AsType[*trial.Error](err); !ok || e.Code != "table.too_large" || !strings.Contains(e.Detail, c.says) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	// However many wrong codes a table has, those that were named are found.
	var codes strings.Builder
	codes.WriteString("lower_pattern,taken_position\n")
	for i := range 2 * mostCodes {
		fmt.Fprintf(&codes, "X%d,lower\n", i)
	}
	codes.WriteString("A,lower\n")
	table, faults, err := read(t, codes.String(), ReadOptions{Control: "B"})
	if err != nil || table.Faults != 2*mostCodes || len(faults) != MaxFaults || !slices.Contains(table.Codes, "A") || len(all(t, table.Rows)) != 1 {
		t.Errorf("%d faults, %d codes: %v", table.Faults, len(table.Codes), err)
	}
}
