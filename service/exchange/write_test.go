package exchange

import (
	"bytes"
	"encoding/csv"
	"reflect"
	"strings"
	"testing"

	"evenrig/service/trial"
)

// roundTrip writes a table and reads it again.
func roundTrip(t testing.TB, table Table) Table {
	t.Helper()
	var b bytes.Buffer
	if err := WriteCatchTable(&b, table); err != nil {
		t.Fatal(err)
	}
	again, faults, err := ReadCatchTable(bytes.NewReader(b.Bytes()), ReadOptions{Test: table.Test, Control: table.Control})
	if err != nil || len(faults) > 0 {
		t.Fatalf("what was written is not accepted: %v %v\n%+v", err, faults, table)
	}
	return again
}

func TestWrittenTableReadsBack(t *testing.T) {
	block, period := 3, 1
	table := Table{
		Test: "A", Control: "=B", Further: []string{"hatch", "hatch", "@column"},
		Rows: RowsOf([]Row{
			{
				Angler: "-Ann", Outing: "+1", Block: &block, Period: &period, LowerPattern: "A", TakenPosition: trial.Lower, TakenPattern: "A",
				CaughtAt: "2026-09-01T18:30:00.250+02:00", Species: "Thymallus thymallus", Origin: trial.Wild, WaterType: `riffle, "fast"`,
				Fly: "'=dressing", Outcome: trial.Landed, Length: &Length{"31.5", "cm"}, Further: []string{"=HYPERLINK(1)", "-1.5", "''@x"},
			},
			{
				Angler: "me", LowerPattern: "=B", TakenPosition: trial.Upper, TakenPattern: "A", Origin: trial.UnknownOrigin, Outcome: trial.Lost,
				FoulHooked: true, Exclusion: trial.Double, Further: []string{"two\nlines", "", ""},
			},
		}),
	}
	if d := difference(t, roundTrip(t, table), table); d != "" {
		t.Errorf("read back: %s", d)
	}
}

// A fish of which nothing is known but that it was caught is written so that it can be read.
func TestUnknownFishReadsBack(t *testing.T) {
	again := roundTrip(t, Table{Test: "A", Control: "B", Rows: RowsOf([]Row{{Angler: "me", Outcome: trial.Landed}})})
	if tally := tallied(t, again)[0]; tally.Exclusion != trial.NotSure {
		t.Errorf("counted as %+v", tally)
	}
}

// The columns are those of the catch table; exclusion stands only where it says something. Values that a spreadsheet
// program would run start with an apostrophe (common practice, no source); RFC 4180 asks for CRLF.
func TestWrittenForm(t *testing.T) {
	var b bytes.Buffer
	table := Table{Test: "A", Control: "B", Rows: RowsOf([]Row{{
		Angler: "=1+1", LowerPattern: "A", TakenPosition: trial.Lower, TakenPattern: "A", Origin: trial.Wild, Outcome: trial.Landed,
	}})}
	if err := WriteCatchTable(&b, table); err != nil {
		t.Fatal(err)
	}
	const want = "angler,outing,block,period,lower_pattern,taken_position,taken_pattern,caught_at,species,origin,water_type,fly,outcome,foul_hooked,length,length_unit\r\n" +
		"'=1+1,,,,A,lower,A,,,wild,,,landed,no,,\r\n"
	if b.String() != want {
		t.Errorf("%q, want %q", b.String(), want)
	}
	for _, value := range []string{"=a", "+a", "-a", "@a", "'=a", "''=a", "-1,5", "+49 1", "a", "", "'", "'a", "-", "="} {
		if got := unguard(guard(value)); got != value {
			t.Errorf("%q guarded is %q and comes back as %q", value, guard(value), got)
		}
	}
	for _, value := range []string{"-1.5", "+3", "-1,5", "plain", "'plain"} {
		if guard(value) != value {
			t.Errorf("%q is guarded as %q without need", value, guard(value))
		}
	}
}

// A table that is accepted is written, read back as it was, and counted alike; nothing that is read makes it panic.
func FuzzReadCatchTable(f *testing.F) {
	for _, seed := range []string{
		"lower_pattern,taken_position\nA,lower\nB,upper\n",
		"\xef\xbb\xbfangler;lower_pattern;taken_pattern;length;length_unit\r\nAnn;A;B;31,5;cm\r\nBo;B;unknown;;\r\n",
		"taken_position\ttaken_pattern\tcaught_at\tnote\nupper\tA\t2026-09-01T10:00:00Z\t'=x\nother\tother\t\t\"two\nlines\"\n",
		"outing,block,lower_pattern,taken_position,exclusion,hatch,hatch\n1,1,A,lower,double,=x,-1\n2,1,B,lower,,@y,\n",
		"lower_pattern,taken_position,\n\"A\",\"lower\",x\nB,lo\"wer,\n",
		"lower_pattern,taken_position,x\rA,lower,\"\r\"\nB,lower,\r\n",
		"0;lower_pattern;taken_pattern;0;000\n;A;0;0;0\r0", // a lone carriage return was once lost in writing
	} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		table, faults, err := ReadCatchTable(strings.NewReader(text), ReadOptions{Test: "A"})
		if err != nil {
			if trial.KindOf(err) != trial.Invalid {
				t.Fatalf("an error that is not the file's: %v", err)
			}
			return
		}
		if len(faults) > MaxFaults || table.Faults < len(faults) {
			t.Fatalf("%d faults listed of %d", len(faults), table.Faults)
		}
		rows := len(all(t, table.Rows))
		if rows == 0 {
			return
		}
		again := roundTrip(t, table)
		if d := difference(t, again, table); d != "" {
			t.Fatalf("read back: %s", d)
		}
		table.Subgroups, again.Subgroups = table.Further, table.Further
		tallies := tallied(t, table)
		if !reflect.DeepEqual(tallied(t, again), tallies) {
			t.Fatal("counted otherwise when read back")
		}
		var fish int64
		for _, tally := range tallies {
			fish += tally.N
			if columns := trial.Further(tally.Columns); trial.NewFurther(columns.Values()) != columns {
				t.Fatalf("columns %q are not canonical", columns)
			}
		}
		if fish != int64(rows) {
			t.Fatalf("%d fish counted of %d", fish, rows)
		}
		var b bytes.Buffer
		if err := WriteCatchTable(&b, table); err != nil {
			t.Fatal(err)
		}
		records, err := csv.NewReader(&b).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for _, record := range records {
			for _, value := range record {
				if value != "" && strings.ContainsAny(value[:1], "=@\t\r") {
					t.Fatalf("a value starts like a formula: %q", value)
				}
			}
		}
	})
}
