package exchange

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// handMade is a workbook put together from its parts as ECMA-376 (Part 1, clauses 12 and 18) describes them, the first
// sheet's rows as given. Its cell styles: 0 general, 1 a date by the built-in format 14, 2 dd.mm.yyyy, 3 a date with the time
// of day by the built-in format 22, 4 #,##0.00 by the built-in format 4.
func handMade(t testing.TB, rows, workbookPr string) []byte {
	t.Helper()
	const main, rels = "http://schemas.openxmlformats.org/spreadsheetml/2006/main", "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
	const package_ = "http://schemas.openxmlformats.org/package/2006/"
	parts := []struct{ name, text string }{
		{"[Content_Types].xml", `<Types xmlns="` + package_ + `content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>` +
			`<Default Extension="xml" ContentType="application/xml"/>` +
			`<Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/></Types>`},
		{"_rels/.rels", `<Relationships xmlns="` + package_ + `relationships"><Relationship Id="r1" Type="` + rels + `/officeDocument" Target="xl/workbook.xml"/></Relationships>`},
		{"xl/workbook.xml", `<workbook xmlns="` + main + `" xmlns:r="` + rels + `">` + workbookPr +
			`<sheets><sheet name="Fish" sheetId="3" r:id="r1"/><sheet name="Notes" sheetId="1" r:id="r2"/></sheets></workbook>`},
		{"xl/_rels/workbook.xml.rels", `<Relationships xmlns="` + package_ + `relationships"><Relationship Id="r1" Type="` + rels + `/worksheet" Target="worksheets/sheet7.xml"/>` +
			`<Relationship Id="r2" Type="` + rels + `/worksheet" Target="worksheets/sheet2.xml"/><Relationship Id="r3" Type="` + rels + `/styles" Target="styles.xml"/>` +
			`<Relationship Id="r4" Type="` + rels + `/sharedStrings" Target="sharedStrings.xml"/></Relationships>`},
		{"xl/styles.xml", `<styleSheet xmlns="` + main + `"><numFmts count="1"><numFmt numFmtId="164" formatCode="dd\.mm\.yyyy"/></numFmts>` +
			`<cellXfs count="5"><xf numFmtId="0"/><xf numFmtId="14" applyNumberFormat="1"/><xf numFmtId="164" applyNumberFormat="1"/><xf numFmtId="22" applyNumberFormat="1"/><xf numFmtId="4" applyNumberFormat="1"/></cellXfs></styleSheet>`},
		{"xl/sharedStrings.xml", `<sst xmlns="` + main + `"><si><t>lower_pattern</t></si><si><t>taken_position</t></si><si><t>caught_at</t></si><si><t>length</t></si>` +
			`<si><t>length_unit</t></si><si><r><t>ol</t></r><r><rPr><b/></rPr><t>ives</t></r></si></sst>`},
		{"xl/worksheets/sheet7.xml", `<worksheet xmlns="` + main + `"><sheetData>` + rows + `</sheetData></worksheet>`},
		{"xl/worksheets/sheet2.xml", `<worksheet xmlns="` + main + `"><sheetData><row r="1"><c r="A1"><v>7</v></c></row></sheetData></worksheet>`},
	}
	var b bytes.Buffer
	archive := zip.NewWriter(&b)
	for _, part := range parts {
		w, err := archive.Create(part.name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(w, `<?xml version="1.0" encoding="UTF-8" standalone="yes"?>`+part.text); err != nil {
			t.Fatal(err)
		}
	}
	if err := archive.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

const sheetHeader = `<row r="1"><c r="A1" t="s"><v>0</v></c><c r="B1" t="s"><v>1</v></c><c r="C1" t="s"><v>2</v></c><c r="D1" t="s"><v>3</v></c>` +
	`<c r="E1" t="s"><v>4</v></c><c r="F1" t="inlineStr"><is><t>Hatch</t></is></c></row>`

// The first sheet is a table like any other, whatever its place in the file: formulas give what they came to, dates their day,
// numbers what was typed, empty cells nothing. Serial 46266 is 1 September 2026 (ECMA-376, Part 1, clause 18.17.4: day 1 is
// 1 January 1900, and 1900 counts as a leap year), in the 1904 system 44804.
func TestWorkbookIsRead(t *testing.T) {
	rows := sheetHeader +
		`<row r="2"><c r="A2" t="inlineStr"><is><t>A</t></is></c><c r="B2" t="str"><f>LOWER("LOWER")</f><v>lower</v></c><c r="C2" s="1"><v>46266</v></c>` +
		`<c r="D2"><f>63/2</f><v>31.499999999999996</v></c><c r="E2" t="inlineStr"><is><t>cm</t></is></c><c r="F2" t="s"><v>5</v></c></row>` +
		`<row r="4"><c r="A4" t="inlineStr"><is><t>B</t></is></c><c r="B4" t="inlineStr"><is><t>upper</t></is></c><c r="C4" s="2"><v>46266</v></c><c r="F4"><v>46266</v></c></row>` +
		`<row r="5"><c r="A5" t="inlineStr"><is><t>B</t></is></c><c r="B5" t="inlineStr"><is><t>lower</t></is></c><c r="C5" s="3"><v>46266.75</v></c><c r="F5" s="4"><v>46266.5</v></c></row>` +
		`<row r="6"><c r="A6" t="inlineStr"><is><t>A</t></is></c><c r="B6" t="inlineStr"><is><t>upper</t></is></c><c r="C6" t="inlineStr"><is><t>2026-09-01T18:00:00+02:00</t></is></c><c r="F6" s="1"><v>46265</v></c></row>`
	table, faults, err := ReadCatchTable(bytes.NewReader(handMade(t, rows, "")), ReadOptions{Test: "A"})
	if err != nil || len(faults) > 0 {
		t.Fatal(err, faults)
	}
	var said []string
	for _, row := range all(t, table.Rows) {
		text := fmt.Sprintf("%d: %s %s %s %s", row.Line, row.LowerPattern, row.TakenPosition, row.CaughtAt, row.Further[0])
		if row.Length != nil {
			text += " " + row.Length.Value + " " + row.Length.Unit
		}
		said = append(said, text)
	}
	want := []string{
		"2: A lower 2026-09-01 olives 31.5 cm", "4: B upper 2026-09-01 46266", "5: B lower 2026-09-01 46266.5", "6: A upper 2026-09-01T18:00:00+02:00 2026-08-31",
	}
	if !slices.Equal(said, want) || table.Control != "B" {
		t.Errorf("read %q, want %q", said, want)
	}
	old := sheetHeader + `<row r="2"><c r="A2" t="inlineStr"><is><t>A</t></is></c><c r="B2" t="inlineStr"><is><t>lower</t></is></c><c r="C2" s="1"><v>44804</v></c></row>`
	table, faults, err = ReadCatchTable(bytes.NewReader(handMade(t, old, `<workbookPr date1904="1"/>`)), ReadOptions{Test: "A", Control: "B"})
	if err != nil || len(faults) > 0 || all(t, table.Rows)[0].CaughtAt != "2026-09-01" {
		t.Errorf("in the 1904 system: %v %v", err, faults)
	}
}

// Faults name the sheet's own row.
func TestFaultsOfAWorkbook(t *testing.T) {
	rows := sheetHeader + `<row r="9"><c r="A9" t="inlineStr"><is><t>A</t></is></c><c r="B9" t="inlineStr"><is><t>sideways</t></is></c><c r="C9"><v>2026</v></c></row>`
	_, faults, err := ReadCatchTable(bytes.NewReader(handMade(t, rows, "")), ReadOptions{Test: "A", Control: "B"})
	if err != nil || len(faults) != 2 || faults[0].Line != 9 || faults[0].Column != "taken_position" || faults[1].Column != "caught_at" || faults[1].Value != "2026" {
		t.Errorf("%v %v", err, faults)
	}
}

// A workbook that unpacks beyond the limit, is broken or has a cell far to the right is refused, and nothing is unpacked first.
func TestWorkbooksThatAreRefused(t *testing.T) {
	far := sheetHeader + `<row r="2"><c r="A2"><v>1</v></c><c r="XFD2"><v>1</v></c></row>`
	bomb := func() []byte {
		var b bytes.Buffer
		archive := zip.NewWriter(&b)
		for _, name := range []string{"[Content_Types].xml", "xl/workbook.xml", "xl/worksheets/sheet1.xml"} {
			w, err := archive.Create(name)
			if err != nil {
				t.Fatal(err)
			}
			for range 200 {
				if _, err := w.Write(make([]byte, 1<<20)); err != nil {
					t.Fatal(err)
				}
			}
		}
		if err := archive.Close(); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	good := handMade(t, sheetHeader, "")
	for _, c := range []struct {
		name string
		file []byte
		code string
		says string
	}{
		{"a bomb", bomb(), "table.encoding", "512 MB unpacked"},
		{"cut off", good[:len(good)/2], "table.encoding", ".xlsx"},
		{"another archive", []byte("PK\x03\x04 and so on"), "table.encoding", ".xlsx"},
		{"a cell far to the right", handMade(t, far, ""), "table.too_large", "row 2"},
		{"no rows", good, "table.empty", "no rows"},
		{"an empty sheet", handMade(t, "", ""), "table.empty", "empty"},
		{"too large", append([]byte("PK\x03\x04"), make([]byte, MaxWorkbookBytes)...), "table.too_large", "32 MB"},
	} {
		_, _, err := ReadCatchTable(bytes.NewReader(c.file), ReadOptions{Test: "A", Control: "B"})
		if trial.KindOf(err) != trial.Invalid || !strings.Contains(err.Error(), c.code) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %s", c.name, err, c.code)
		}
	}
}

// drawnTable is a table of every sort of text.
func drawnTable(rt *rapid.T) Table {
	text := rapid.StringMatching(`[=+@'a-z0-9 µé,;"-]{0,8}`)
	var rows []Row
	for range rapid.IntRange(1, 6).Draw(rt, "rows") {
		trim := func(name string) string { return strings.TrimSpace(text.Draw(rt, name)) }
		row := Row{
			Angler: "me", Outing: trim("outing"), LowerPattern: "A", TakenPosition: trial.Lower, TakenPattern: "A", Origin: trial.Wild, Outcome: trial.Landed,
			Fly: trim("fly"), Further: []string{trim("hatch"), trim("note")}, CaughtAt: rapid.SampledFrom([]string{"", "2026-09-01", "2026-09-01T10:00:00Z"}).Draw(rt, "at"),
		}
		if rapid.Bool().Draw(rt, "measured") {
			row.Length = &Length{rapid.StringMatching(`[1-9][0-9](\.[0-9]{1,2})?`).Draw(rt, "length"), "cm"}
		}
		if rapid.Bool().Draw(rt, "in a block") {
			block := rapid.IntRange(0, 1_000_000_000).Draw(rt, "block")
			row.Block = &block
		}
		rows = append(rows, row)
	}
	return Table{Test: "A", Control: "B", Further: []string{"hatch", "=note"}, Rows: RowsOf(rows)}
}

// writeWorkbook writes a table as a workbook, as WriteCatchTable writes it as CSV.
func writeWorkbook(w io.Writer, t Table) (err error) {
	out := NewWorkbookWriter(w)
	defer func() { err = errors.Join(err, out.Close()) }()
	return t.writeTo(out)
}

// A table written as a workbook reads back as it was, and so like the same table written as CSV.
func TestWrittenWorkbookReadsBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		table := drawnTable(rt)
		var b bytes.Buffer
		if err := writeWorkbook(&b, table); err != nil {
			rt.Fatal(err)
		}
		again, faults, err := ReadCatchTable(bytes.NewReader(b.Bytes()), ReadOptions{Test: table.Test, Control: table.Control})
		if err != nil || len(faults) > 0 {
			rt.Fatal(err, faults)
		}
		if d := difference(t, again, table); d != "" {
			rt.Errorf("read back: %s", d)
		}
	})
}

// Nothing in a written workbook is a formula, and text that would become one when the sheet is saved as CSV is guarded.
func TestNoFormulaInAWorkbook(t *testing.T) {
	var b bytes.Buffer
	table := Table{Test: "A", Control: "B", Further: []string{"=cmd"}, Rows: RowsOf([]Row{{Angler: "=1+1", LowerPattern: "A", TakenPattern: "A", Further: []string{"@x"}}})}
	if err := writeWorkbook(&b, table); err != nil {
		t.Fatal(err)
	}
	archive, err := zip.NewReader(bytes.NewReader(b.Bytes()), int64(b.Len()))
	if err != nil {
		t.Fatal(err)
	}
	part, err := archive.Open("xl/worksheets/sheet1.xml")
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(part)
	if err != nil {
		t.Fatal(err)
	}
	for _, value := range []string{"=cmd", "=1+1", "@x"} {
		if !strings.Contains(string(text), ">&#39;"+value) && !strings.Contains(string(text), ">'"+value) {
			t.Errorf("%s is not guarded in %s", value, text)
		}
	}
	if strings.Contains(string(text), "<f") {
		t.Errorf("a formula in %s", text)
	}
	long := Table{Test: "A", Control: "B", Further: []string{"note"}, Rows: RowsOf([]Row{{Angler: "me", Further: []string{strings.Repeat("x", maxCellUnits+1)}}})}
	if err := writeWorkbook(io.Discard, long); trial.KindOf(err) != trial.Invalid || !strings.Contains(err.Error(), "note") {
		t.Errorf("a text that no cell holds: %v", err)
	}
}

// The row beyond a million is refused by name, and nothing of the workbook was written before.
func TestCatchTableOfMoreThanAMillionRowsIsNoWorkbook(t *testing.T) {
	var b bytes.Buffer
	out := NewWorkbookWriter(&b)
	if err := out.Begin(nil, false); err != nil {
		t.Fatal(err)
	}
	out.book.rows = MaxWorkbookRows - 1 // as if they were written
	if err := out.Write(Row{Angler: "me"}); err != nil {
		t.Errorf("the millionth row: %v", err)
	}
	if err := out.Write(Row{Angler: "me"}); trial.KindOf(err) != trial.Invalid || !strings.Contains(err.Error(), "table.too_large") || !strings.Contains(err.Error(), "1000000 rows") || !strings.Contains(err.Error(), "CSV") {
		t.Errorf("the row beyond: %v", err)
	}
	if err := out.Close(); err != nil || b.Len() > 0 {
		t.Errorf("%d bytes were written, closing says %v", b.Len(), err)
	}
}

// A catch table of any length takes the same memory as a workbook: ten times the rows need hardly more.
//
//	go test ./service/exchange -run - -bench WorkbookOfManyFish -benchtime 1x
func BenchmarkWorkbookOfManyFish(b *testing.B) {
	for _, fish := range []int{100_000, 1_000_000} {
		b.Run(fmt.Sprintf("fish=%d", fish), func(b *testing.B) {
			for b.Loop() {
				b.ReportMetric(peakHeap(func() {
					out := NewWorkbookWriter(io.Discard)
					defer out.Close()
					if err := out.Begin(nil, true); err != nil {
						b.Fatal(err)
					}
					for i := range fish {
						if err := out.Write(Row{
							Angler: fmt.Sprint("angler ", i%50), Outing: fmt.Sprint(i / 100), LowerPattern: "A", TakenPosition: trial.Lower, TakenPattern: "A", CaughtAt: "2026-09-01",
							Species: "Thymallus thymallus", Origin: trial.Wild, Outcome: trial.Landed, Length: &Length{"31.5", "cm"},
						}); err != nil {
							b.Fatal(err)
						}
					}
					if err := out.End(); err != nil {
						b.Fatal(err)
					}
				}), "MB")
				b.ReportMetric(float64(fish)/b.Elapsed().Seconds(), "rows/s")
			}
		})
	}
}

// Whatever a workbook's sheet holds, it is read or refused with a reason.
func FuzzReadWorkbook(f *testing.F) {
	f.Add(sheetHeader+`<row r="2"><c r="A2" t="inlineStr"><is><t>A</t></is></c><c r="B2" t="str"><v>lower</v></c><c r="C2" s="1"><v>46266</v></c></row>`, "")
	f.Add(`<row><c t="s"><v>99</v></c></row><row r="0"/>`, `<workbookPr date1904="x"/>`)
	f.Add(`<row r="1048577"><c r="ZZZ1"><v>1e999</v></c></row>`, "")
	f.Fuzz(func(t *testing.T, rows, workbookPr string) {
		table, _, err := ReadCatchTable(bytes.NewReader(handMade(t, rows, workbookPr)), ReadOptions{Test: "A"})
		if err != nil && trial.KindOf(err) != trial.Invalid {
			t.Fatalf("an error that is not the file's: %v", err)
		}
		if err == nil {
			tallied(t, table)
		}
	})
}

// Reading and writing 10,000 fish as a workbook and as CSV, for their ratio.
func BenchmarkFormats(b *testing.B) {
	var rows []Row
	for i := range 10_000 {
		rows = append(rows, Row{
			Angler: fmt.Sprint("angler ", i%50), Outing: fmt.Sprint(i / 100), LowerPattern: "A", TakenPosition: trial.Lower, TakenPattern: "A", CaughtAt: "2026-09-01",
			Species: "Thymallus thymallus", Origin: trial.Wild, Outcome: trial.Landed, Length: &Length{"31.5", "cm"}, Further: []string{"olives"},
		})
	}
	table := Table{Test: "A", Control: "B", Further: []string{"hatch"}, Rows: RowsOf(rows)}
	for name, write := range map[string]func(io.Writer, Table) error{"csv": WriteCatchTable, "workbook": writeWorkbook} {
		var file bytes.Buffer
		b.Run("write/"+name, func(b *testing.B) {
			for b.Loop() {
				file.Reset()
				if err := write(&file, table); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run("read/"+name, func(b *testing.B) {
			for b.Loop() {
				if _, _, err := ReadCatchTable(bytes.NewReader(file.Bytes()), ReadOptions{Test: "A", Control: "B"}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
