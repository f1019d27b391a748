package conduct_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/conduct"
	"evenrig/service/exchange"
	"evenrig/service/trial"
)

func (e *contest) importTable(file string, dryRun bool) (conduct.ImportView, error) {
	return e.w.s.ImportTable(e.w.ctx, e.organiser, e.trial, strings.NewReader(file), dryRun)
}

// twelveBlocks is an invented table of 12 blocks of 4 + 4 fish of 6 anglers, with what R 4.2.2 (glm, fisher.test) and
// metafor 3.8.1 (rma, REML, test "adhoc") give for it.
func twelveBlocks() string {
	anglers := strings.Fields("a b c a d e f b c d e f")
	lowerC := []int{3, 4, 3, 4, 2, 3, 4, 3, 4, 3, 4, 3} // takes of the lower fly with the test pattern lower
	lowerN := []int{2, 2, 1, 3, 2, 1, 2, 3, 1, 1, 2, 2} // and with the control lower
	var file strings.Builder
	file.WriteString("angler,outing,block,period,lower_pattern,taken_position,species\r\n")
	for b, angler := range anglers {
		for half, lower := range []string{"C", "N"} {
			takes := lowerC[b]
			if lower == "N" {
				takes = lowerN[b]
			}
			for i := range 4 {
				position := "lower"
				if i >= takes {
					position = "upper"
				}
				fmt.Fprintf(&file, "%s,day %d,%d,%d,%s,%s,Thymallus thymallus\r\n", angler, b+1, b+1, half+1, lower, position)
			}
		}
	}
	return file.String()
}

func TestImportedTableIsAnalysed(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 0).opened(recordedSheet())
	view := must(e.importTable(twelveBlocks(), false))(t)
	if !view.Saved || view.Rows != 96 || view.Anglers != 6 || view.FaultsTotal != 0 || view.AlreadyImported {
		t.Fatalf("import: %+v", view)
	}
	a := must(w.s.RequestAnalysis(w.ctx, e.organiser, e.trial))(t)
	w.ok(w.s.Analyse(w.ctx, e.trial, a.N))
	done := must(w.s.Analysis(w.ctx, e.organiser, e.trial, a.N))(t)
	if done.State != trial.Done {
		t.Fatalf("analysis: %+v", done)
	}
	var result struct {
		Counts struct {
			Anglers, Outings, Catches, Analysed int
		}
		PooledTable struct {
			LogOdds         float64 `json:"log_odds"`
			StdError        float64 `json:"std_error"`
			PositionLogOdds float64 `json:"position_log_odds"`
			FisherP         float64 `json:"fisher_p"`
			Share           float64 `json:"share"`
		} `json:"pooled_table"`
		RawShare struct {
			Estimate float64
		} `json:"raw_share"`
		Combined struct {
			Headline  int
			Estimates []struct {
				Estimator, Adjustment string
				LogOdds               float64 `json:"log_odds"`
				Low, High             float64
			}
		}
	}
	w.ok(json.Unmarshal(done.Result, &result))
	if result.Counts.Anglers != 6 || result.Counts.Outings != 12 || result.Counts.Catches != 96 || result.Counts.Analysed != 96 {
		t.Errorf("counts %+v", result.Counts)
	}
	near(t, "theta", result.PooledTable.LogOdds, .888246, 5e-7)
	near(t, "standard error", result.PooledTable.StdError, .241824, 5e-7)
	near(t, "beta", result.PooledTable.PositionLogOdds, .721192, 5e-7)
	near(t, "Fisher's p", result.PooledTable.FisherP, .0002286688, 5e-11)
	near(t, "share", result.PooledTable.Share, .708528, 5e-7)
	near(t, "raw share", result.RawShare.Estimate, .6875, 1e-12) // 66 of 96
	headline := result.Combined.Estimates[result.Combined.Headline]
	if headline.Estimator != "REML" || headline.Adjustment != "modified_HK" {
		t.Errorf("headline of the combination: %+v", headline)
	}
	// Log odds ratios 1.80084 (.49727 to 3.10441); theta is half of each.
	near(t, "combined theta", headline.LogOdds, 1.80084/2, 5e-6)
	near(t, "lower limit", headline.Low, .49727/2, 5e-6)
	near(t, "upper limit", headline.High, 3.10441/2, 5e-6)
}

// The same answer comes of a table that is imported and of the same table analysed without any database.
func TestImportGivesWhatTheTableGives(t *testing.T) {
	t.Parallel()
	for name, file := range map[string]string{
		"blocks":              twelveBlocks(),
		"one angler":          withoutColumn(twelveBlocks(), 0),
		"no block":            withoutColumn(withoutColumn(twelveBlocks(), 3), 2),
		"semicolons":          "\xef\xbb\xbf" + strings.ReplaceAll(twelveBlocks(), ",", ";"),
		"unsure and other":    "taken_pattern,lower_pattern,outcome,foul_hooked,caught_at,angler\nC,N,landed,no,2026-09-03,a\nunknown,N,landed,no,2026-09-03,a\nother,C,landed,no,2026-09-04,a\nN,C,lost,no,2026-09-03,b\nN,C,landed,yes,2026-09-03,b\nN,C,landed,no,2026-09-05,b\nC,C,landed,no,2026-09-05,b\n",
		"no outing":           withoutColumn(twelveBlocks(), 1),
		"fish alone":          withoutColumn(withoutColumn(withoutColumn(withoutColumn(twelveBlocks(), 3), 2), 1), 0),
		"two outings a block": "outing,block,period,lower_pattern,taken_position\n1,1,1,C,lower\n1,1,1,C,lower\n1,1,1,C,upper\n2,1,2,N,upper\n2,1,2,N,lower\n3,2,1,N,lower\n3,2,1,N,upper\n4,2,2,C,lower\n4,2,2,C,lower\n5,1,1,C,upper\n",
		"nothing fished":      "taken_position,taken_pattern,lower_pattern,angler\nlower,unknown,,a\nupper,unknown,,a\nunknown,N,,a\nunknown,C,,b\nother,other,,b\nlower,C,,b\nlower,N,N,b\n",
		"times":               "taken_pattern,lower_pattern,caught_at,angler,species,origin,length,length_unit\nC,N,2026-09-30T23:30:00-02:00,a,Thymallus thymallus,wild,31.5,cm\nN,N,2026-10-01T00:30:00+02:00,a,,stocked,12,in\nN,C,2026-10-25T02:30:00+01:00,b,Thymallus thymallus,,,\n",
	} {
		t.Run(name, func(t *testing.T) {
			w := newWorld(t)
			e := w.newClub("Wend Grayling Club", 0).opened(recordedSheet())
			if view := must(e.importTable(file, false))(t); !view.Saved {
				t.Fatalf("import: %+v", view)
			}
			a := must(w.s.RequestAnalysis(w.ctx, e.organiser, e.trial))(t)
			w.ok(w.s.Analyse(w.ctx, e.trial, a.N))
			imported := must(analysis.Decode(must(w.s.Analysis(w.ctx, e.organiser, e.trial, a.N))(t).Result))(t)
			table, faults, err := exchange.ReadCatchTable(strings.NewReader(file), exchange.ReadOptions{Test: "C", Control: "N"})
			if err != nil || len(faults) > 0 {
				t.Fatal(faults, err)
			}
			direct := must(analysis.Run(analysis.Input{
				Design: trial.Paired, Test: "C", Control: "N", LowerWord: "point", UpperWord: "dropper", SmallestShare: .6, Alpha: .05, Source: trial.Recorded,
				Tallies: must(table.Tallies())(t),
			}, analysis.Settings{ProgramVersion: "test"}))(t)
			for part, pair := range map[string][2]any{
				"counts": {imported.Counts, direct.Counts}, "headline": {imported.Headline, direct.Headline}, "pooled table": {imported.PooledTable, direct.PooledTable},
				"stratified": {imported.Stratified, direct.Stratified}, "mixed model": {imported.MixedModel, direct.MixedModel},
			} {
				sameNumbers(t, part, plain(t, pair[0]), plain(t, pair[1]))
			}
		})
	}
}

// plain is a value as JSON reads back.
func plain(t *testing.T, v any) (out any) {
	t.Helper()
	if err := json.Unmarshal(must(json.Marshal(v))(t), &out); err != nil {
		t.Fatal(err)
	}
	return out
}

// sameNumbers compares two JSON values; numbers may differ by 1e-9, since sums are taken in another order when anglers
// have other names.
func sameNumbers(t *testing.T, path string, got, want any) {
	t.Helper()
	switch want := want.(type) {
	case map[string]any:
		g, _ := got.(map[string]any)
		if len(g) != len(want) {
			t.Errorf("%s: %v, want %v", path, got, want)
		}
		for k := range want {
			sameNumbers(t, path+"."+k, g[k], want[k])
		}
	case float64:
		if g, ok := got.(float64); !ok || math.Abs(g-want) > 1e-9*max(1, math.Abs(want)) {
			t.Errorf("%s: %v, want %v", path, got, want)
		}
	default:
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %v, want %v", path, got, want)
		}
	}
}

func withoutColumn(file string, column int) string {
	var out strings.Builder
	for line := range strings.Lines(file) {
		cells := strings.Split(strings.TrimSpace(line), ",")
		out.WriteString(strings.Join(append(cells[:column:column], cells[column+1:]...), ",") + "\n")
	}
	return out.String()
}

// A dry run lists every bad row and saves nothing; a table with a bad row is not saved either; the same file again
// changes nothing; another file adds its fish to the anglers already known.
func TestImportIsRepeatable(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(recordedSheet())
	state := func() (int64, int) {
		return must(w.s.Progress(w.ctx, e.organiser, e.trial))(t).Catches, len(must(w.s.Enrolments(w.ctx, e.organiser, e.trial))(t))
	}
	bad := "angler,lower_pattern,taken_position\nann,C,lower\nann,Z,lower\nbob,C,sideways\nbob,N,upper\n"
	for _, dry := range []bool{true, false} {
		view := must(e.importTable(bad, dry))(t)
		if view.Saved || view.FaultsTotal != 2 || len(view.Faults) != 2 || view.Rows != 4 {
			t.Errorf("dry run %t: %+v", dry, view)
		}
		if view.Faults[0].Line != 3 || view.Faults[0].Column != "lower_pattern" || view.Faults[0].Value != "Z" || view.Faults[1].Line != 4 || view.Faults[1].Column != "taken_position" || view.Faults[1].Value != "sideways" {
			t.Errorf("faults %+v", view.Faults)
		}
	}
	good := "angler,lower_pattern,taken_position\nann,C,lower\nann,N,lower\nbob,C,upper\nbob,N,upper\n"
	if view := must(e.importTable(good, true))(t); view.Saved || view.Rows != 4 || view.Anglers != 2 {
		t.Errorf("dry run: %+v", view)
	}
	if fish, anglers := state(); fish != 0 || anglers != 0 {
		t.Errorf("%d fish, %d anglers saved by dry runs and a bad table", fish, anglers)
	}
	first := must(e.importTable(good, false))(t)
	if !first.Saved {
		t.Fatalf("import: %+v", first)
	}
	points := len(must(w.s.Checkpoints(w.ctx, e.organiser, e.trial))(t))
	for range 2 {
		again := must(e.importTable(good, false))(t)
		if again.Saved || !again.AlreadyImported || again.File != first.File {
			t.Errorf("the same file again: %+v", again)
		}
	}
	if fish, anglers := state(); fish != 4 || anglers != 2 {
		t.Errorf("%d fish, %d anglers after one file three times", fish, anglers)
	}
	w.ok(w.s.Checkpoint(w.ctx))
	w.ok(w.s.Checkpoint(w.ctx))
	if got := len(must(w.s.Checkpoints(w.ctx, e.organiser, e.trial))(t)); got > points+1 {
		t.Errorf("%d checkpoints, %d before", got, points)
	}
	before := map[string]bool{}
	for _, x := range must(w.s.Enrolments(w.ctx, e.organiser, e.trial))(t) {
		before[x.Pseudonym] = true
		if x.Name != "" || x.AccountID != (trial.ID{}) || len(x.Pseudonym) != 6 {
			t.Errorf("enrolment %+v", x)
		}
	}
	if view := must(e.importTable("angler,lower_pattern,taken_position\nann,C,lower\ncay,N,lower\n", false))(t); !view.Saved {
		t.Errorf("another file: %+v", view)
	}
	if fish, anglers := state(); fish != 6 || anglers != 3 {
		t.Errorf("%d fish, %d anglers after a second file", fish, anglers)
	}
	kept := 0
	for _, x := range must(w.s.Enrolments(w.ctx, e.organiser, e.trial))(t) {
		if before[x.Pseudonym] {
			kept++
		}
	}
	if kept != 2 {
		t.Errorf("%d of 2 anglers kept their pseudonyms", kept)
	}
	var file bytes.Buffer
	w.ok(w.s.ExportCatches(w.ctx, e.organiser, e.trial, &file))
	for _, name := range []string{"ann", "bob", "cay"} {
		if strings.Contains(file.String(), name) {
			t.Errorf("the table names %s", name)
		}
	}
	checked := must(w.s.Check(w.ctx))(t)
	if len(checked.Faults) > 0 {
		t.Errorf("check: %+v", checked)
	}
	_, err := w.s.Enrol(w.ctx, e.anglers[0], e.trial, trial.Enrolment{ID: w.randomID(), Code: [32]byte{1}, Consent: allTicks})
	wantKind(t, err, trial.Conflict, "trial.recorded")
	e.move(trial.Paused)
	_, err = e.importTable("lower_pattern,taken_position\nC,lower\n", false)
	wantKind(t, err, trial.Conflict, "trial.state")
	drawn := e.opened(ruleSheet())
	_, err = drawn.importTable(good, true)
	wantKind(t, err, trial.Conflict, "trial.drawn")
}

// Rows with odd but legal numbers are taken or refused by name, never a failure of the server.
func TestOddTables(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 0).opened(recordedSheet())
	for _, file := range []string{
		"block,period,lower_pattern,taken_position\n1,1,C,lower\n1,2,N,lower\n1,3,C,upper\n-4,7,C,upper\n2147483647,2147483647,N,upper\n",
		"block,lower_pattern,taken_position\n99999999999999999999,C,lower\n",
		"angler,lower_pattern,taken_position\n" + strings.Repeat("x", 199) + ",C,lower\n",
		"lower_pattern,taken_position,length,length_unit\nC,lower,0.0001,mm\nC,lower,99999999,in\n",
		"lower_pattern,taken_position,species\nC,lower,the big one\n",
		"lower_pattern,taken_position,caught_at\nC,lower,0001-01-01\nC,lower,9999-12-31\n",
		"taken_pattern,taken_position\nC,lower\nN,lower\nunknown,unknown\nother,unknown\n",
		"lower_pattern,taken_pattern,taken_position\nC,C,upper\n",
		"", "\n\n", "angler\nann\n", "\x00\x01",
	} {
		view, err := e.importTable(file, false)
		if err != nil && trial.KindOf(err) != trial.Invalid {
			t.Errorf("%.60q: %v", file, err)
		}
		if err == nil && view.Saved == (view.FaultsTotal > 0) {
			t.Errorf("%.60q: %+v", file, view)
		}
	}
	checked := must(w.s.Check(w.ctx))(t)
	if len(checked.Faults) > 0 {
		t.Errorf("check: %+v", checked)
	}
}

// manyColumns is an invented table with every column that a catch table can have, and three of its own: texts that CSV, JSON and
// spreadsheets write in ways of their own, values left out, a block of two outings.
const manyColumns = "angler,outing,block,period,lower_pattern,taken_position,taken_pattern,caught_at,species,origin,water_type,fly,outcome,foul_hooked,length,length_unit,exclusion,hatch,Zander?,=note\r\n" +
	"Ann,1,1,1,C,lower,C,2026-09-03,Thymallus thymallus,wild,river,orange tag,landed,no,31.5,cm,,\"olives, \"\"small\"\"\",yes,\"two\nlines\"\r\n" +
	"Ann,1,1,2,N,upper,C,2026-09-03,Thymallus thymallus,wild,river,\"pink tag, short\",landed,no,,,double,olives,,\\ back\r\n" +
	"Ann,2,2,5,C,upper,N,2026-09-04,,unknown,,,landed,no,12,in,,,,'=2+2\r\n" +
	"Ann,2,2,3,N,lower,N,2026-09-04,,stocked,weir pool,,landed,no,,,,,no,\r\n" +
	"Bo,1,,,C,unknown,unknown,,,unknown,lake,orange tag,landed,no,,,,µ \u2028 é,no,\r\n" +
	"Bo,1,,,,unknown,N,,,unknown,lake,,lost,yes,,,,,,\r\n" +
	"Bo,1,,,,unknown,N,,,unknown,lake,,,,,,,,,\r\n" + // an arrangement that is not known stays so
	"Bo,1,,,,upper,unknown,,,unknown,lake,,,,,,,,,\r\n" +
	"Bo,1,,,,other,other,,,unknown,lake,,,,,,,,,\r\n" +
	"Cay,3,7,1,C,lower,C,2026-09-05,Salmo trutta,wild,river,,landed,no,301,mm,,,no,\r\n" +
	"Cay,4,7,2,N,other,other,2026-09-06,Salmo trutta,wild,river,,landed,no,,,,,no,\r\n"

// A table imported and exported again says of each fish what it said, but for the anglers' names and the outings' labels,
// in whatever order; and so it does when that one is imported in its turn.
func TestEveryColumnIsKept(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := w.newClub("Wend Grayling Club", 0)
	sheet := recordedSheet()
	sheet.Species = append(sheet.Species, "Salmo trutta")
	file, want := manyColumns, []string(nil)
	for round := range 3 {
		e := c.opened(sheet)
		if view := must(e.importTable(file, false))(t); !view.Saved || view.Rows != 11 {
			t.Fatalf("round %d: %+v", round, view)
		}
		var out bytes.Buffer
		w.ok(w.s.ExportCatches(w.ctx, e.organiser, e.trial, &out))
		if round == 0 {
			want = fishSaid(t, manyColumns)
		}
		if got := fishSaid(t, out.String()); !slices.Equal(got, want) {
			t.Errorf("round %d: the table says\n%s\nwant\n%s", round, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
		var masked bytes.Buffer
		w.ok(w.s.ExportCatches(w.ctx, e.eyes, e.trial, &masked))
		if strings.Contains(masked.String(), "hatch") || strings.Contains(masked.String(), "olives") || !strings.Contains(masked.String(), "weir pool") {
			t.Errorf("the scrutineer reads\n%s", &masked)
		}
		if checked := must(w.s.Check(w.ctx))(t); len(checked.Faults) > 0 || checked.Counts == 0 && round > 0 {
			t.Errorf("check: %+v", checked)
		}
		must(w.s.Progress(w.ctx, e.organiser, e.trial))(t) // so that counts are cached, for the next check
		file = out.String()
	}
}

// fishSaid lists what a table says of each fish, sorted; an angler is told by the number of his fish.
func fishSaid(t *testing.T, file string) []string {
	t.Helper()
	table, faults, err := exchange.ReadCatchTable(strings.NewReader(file), exchange.ReadOptions{Test: "C", Control: "N"})
	if err != nil || len(faults) > 0 {
		t.Fatal(faults, err)
	}
	fish, alike := map[string]int{}, map[string]int{}
	for row, err := range table.Rows {
		if err != nil {
			t.Fatal(err)
		}
		fish[row.Angler]++
		alike[row.Angler+"|"+row.Outing]++
	}
	var said []string
	for row := range table.Rows {
		further := map[string]string{}
		for i, name := range table.Further {
			if row.Further[i] != "" {
				further[name] = row.Further[i]
			}
		}
		row.Angler, row.Outing = fmt.Sprint(fish[row.Angler]), fmt.Sprint(alike[row.Angler+"|"+row.Outing])
		row.Line, row.Further = 0, nil
		// A trial's table says of every fish why it is not analysed, also where another column shows it.
		row.Exclusion = must(exchange.Table{Test: "C", Control: "N", Rows: exchange.RowsOf([]exchange.Row{row})}.Tallies())(t)[0].Exclusion
		said = append(said, string(must(json.Marshal([]any{row, further}))(t)))
	}
	slices.Sort(said)
	return said
}

// What a table says beside the model's own columns reaches the counts of an imported trial as it does those of the table.
func TestImportCountsWhatTheTableCounts(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	sheet := recordedSheet()
	sheet.Species = append(sheet.Species, "Salmo trutta")
	e := w.newClub("Wend Grayling Club", 0).opened(sheet)
	must(e.importTable(manyColumns, false))(t)
	table, _, err := exchange.ReadCatchTable(strings.NewReader(manyColumns), exchange.ReadOptions{Test: "C", Control: "N"})
	w.ok(err)
	// Labels differ: an imported outing's is its id.
	kinds := func(tallies []trial.Tally) []string {
		var list []string
		for _, c := range tallies {
			c.Angler, c.Outing, c.Block, c.Period = "", "", "", ""
			list = append(list, fmt.Sprintf("%+v", c))
		}
		slices.Sort(list)
		return list
	}
	var imported []trial.Tally
	w.ok(w.store.InReadTx(w.ctx, func(ctx context.Context, tx trial.ReadTx) error {
		enrolments, err := tx.EnrolmentsOf(ctx, e.trial)
		if err != nil {
			return err
		}
		for _, enrolment := range enrolments {
			records, err := tx.RecordsOf(ctx, e.trial, enrolment.ID)
			if err != nil {
				return err
			}
			tallies, _ := records.Count(sheet)
			imported = append(imported, tallies...)
		}
		return nil
	}))
	if got, want := kinds(imported), kinds(must(table.Tallies())(t)); !slices.Equal(got, want) {
		t.Errorf("imported fish are counted as\n%s\nthe table's as\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// What a trial cannot keep is refused and said, never dropped: two columns of one name, a period numbered 0.
func TestColumnsThatCannotBeKept(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 0).opened(recordedSheet())
	_, err := e.importTable("lower_pattern,taken_position,hatch,hatch\nC,lower,a,b\nN,lower,,\n", false)
	wantKind(t, err, trial.Invalid, "table.columns")
	view := must(e.importTable("block,period,lower_pattern,taken_position\n1,0,C,lower\n1,1,Z,lower\n1,1,N,lower\n", false))(t)
	if view.Saved || view.Rows != 3 || view.FaultsTotal != 2 || view.Faults[0].Line != 2 || view.Faults[0].Column != "period" || view.Faults[1].Line != 3 {
		t.Errorf("a period numbered 0: %+v", view)
	}
}
