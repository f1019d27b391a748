package calibration_test

import (
	"bytes"
	"context"
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"

	"evenrig/stats/calibration"
)

var smallCell = calibration.Cell{Anglers: 5, Fish: 8, SDPattern: .3, SDPosition: .3, LowerShare: .65, TestShare: .5}

func TestAnyNumberOfWorkersGivesTheSameTable(t *testing.T) {
	t.Parallel()
	run := func(workers int) []calibration.Row {
		rows, err := calibration.Run(t.Context(), smallCell, calibration.Settings{Trials: 60, Seed: 3, Workers: workers, Methods: calibration.Methods()}, nil)
		if err != nil {
			t.Fatal(err)
		}
		return rows
	}
	one := run(1)
	for _, workers := range []int{2, 7} {
		if many := run(workers); !reflect.DeepEqual(one, many) {
			t.Errorf("%d workers give another table than 1", workers)
		}
	}
	if len(one) != len(calibration.Methods()) {
		t.Errorf("%d rows for %d methods", len(one), len(calibration.Methods()))
	}
}

// Where anglers do not differ and fish are many, every method is near its level; the
// exact one is at or above it by its construction (Clopper & Pearson 1934).
func TestMethodsCoverWhereTheyShould(t *testing.T) {
	t.Parallel()
	trials := 1000
	if testing.Short() {
		trials = 100
	}
	cell := calibration.Cell{Anglers: 8, Fish: 40, LowerShare: .65, TestShare: .6}
	rows, err := calibration.Run(t.Context(), cell, calibration.Settings{Trials: trials, Seed: 1, Workers: 2, Methods: calibration.Methods()}, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		// 4 Monte Carlo errors of a coverage of 93 %, which chance passes once in 30,000.
		if least := .93 - 4*.255/sqrt(trials); r.Coverage.Value < least {
			t.Errorf("%s covers %.3f, want at least %.3f", r.Method, r.Coverage.Value, least)
		}
		if r.NotFitted.Value > 0 {
			t.Errorf("%s: %g of the trials not fitted", r.Method, r.NotFitted.Value)
		}
	}
}

func TestRunRefusesAndEnds(t *testing.T) {
	t.Parallel()
	good := calibration.Settings{Trials: 4000, Seed: 3, Workers: 2, Methods: calibration.Methods()}
	for name, s := range map[string]calibration.Settings{
		"one trial":  {Trials: 1, Workers: 1, Methods: good.Methods},
		"no worker":  {Trials: 9, Methods: good.Methods},
		"no methods": {Trials: 9, Workers: 1},
	} {
		if _, err := calibration.Run(t.Context(), smallCell, s, nil); !errors.Is(err, calibration.ErrSettings) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for field, cell := range map[string]calibration.Cell{
		"Anglers":    {Anglers: 1, Fish: 5, LowerShare: .5, TestShare: .5},
		"Fish":       {Anglers: 5, LowerShare: .5, TestShare: .5},
		"LowerShare": {Anglers: 5, Fish: 5, LowerShare: 1, TestShare: .5},
		"TestShare":  {Anglers: 5, Fish: 5, LowerShare: .5},
		"SDPattern":  {Anglers: 5, Fish: 5, LowerShare: .5, TestShare: .5, SDPattern: -1},
		"SDOuting":   {Anglers: 5, Fish: 5, LowerShare: .5, TestShare: .5, SDOuting: .3},
		"OutingFish": {Anglers: 5, Fish: 5, LowerShare: .5, TestShare: .5, OutingFish: -1},
		"Effort":     {Anglers: 5, Fish: 5, LowerShare: .5, TestShare: .5, Effort: "little"},
	} {
		_, err := calibration.Run(t.Context(), cell, good, nil)
		if !errors.Is(err, calibration.ErrCell) || !strings.Contains(err.Error(), field+" is") {
			t.Errorf("%s: %v", field, err)
		}
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if rows, err := calibration.Run(ended, smallCell, good, nil); !errors.Is(err, context.Canceled) || rows != nil {
		t.Errorf("after cancelling: %d rows, %v", len(rows), err)
	}
}

func TestGrid(t *testing.T) {
	t.Parallel()
	cells := calibration.DefaultGrid()
	if len(cells) > 120 {
		t.Errorf("%d cells, want at most 120", len(cells))
	}
	seen := map[string]bool{}
	for _, c := range cells {
		if err := c.Validate(); err != nil {
			t.Error(err)
		}
		if seen[c.Name()] {
			t.Errorf("%s is there twice", c.Name())
		}
		seen[c.Name()] = true
	}
	for _, c := range calibration.EdgeGrid() {
		if err := c.Validate(); err != nil {
			t.Error(err)
		}
		if seen[c.Name()] {
			t.Errorf("%s is in both grids", c.Name())
		}
	}
	twelve := calibration.SlowGrid()
	if len(twelve) != 12 {
		t.Errorf("%d cells for slow methods, want 12", len(twelve))
	}
	for _, c := range twelve {
		if !seen[c.Name()] {
			t.Errorf("%s is not in the default grid", c.Name())
		}
	}
}

func TestTablesAreReadAsWritten(t *testing.T) {
	t.Parallel()
	outing := calibration.Cell{Anglers: 6, Fish: 12, SDOuting: .6, LowerShare: .8, TestShare: .6, Effort: calibration.Uneven, OutingFish: 4}
	var first bytes.Buffer
	for i, cell := range []calibration.Cell{smallCell, outing} {
		rows, err := calibration.Run(t.Context(), cell, calibration.Settings{Trials: 20, Seed: 18446744073709551615, Workers: 1, Methods: calibration.Methods()}, nil)
		if err != nil {
			t.Fatal(err)
		}
		if err := calibration.WriteCSV(&first, rows, i == 0); err != nil {
			t.Fatal(err)
		}
	}
	read, err := calibration.ReadCSV(bytes.NewReader(first.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	if last := read[len(read)-1]; last.Cell != outing || last.Seed != 18446744073709551615 || last.Trials != 20 {
		t.Errorf("the last row is %+v", last)
	}
	var second bytes.Buffer
	if err := calibration.WriteCSV(&second, read, true); err != nil {
		t.Fatal(err)
	}
	if first.String() != second.String() {
		t.Error("a table that was read is written otherwise")
	}
	var page bytes.Buffer
	if err := calibration.WriteMarkdown(&page, read); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"| mixed_t |", "### exact_stratified", "| K6_n12_u0_v0_low8_test6_uneven_w6_outing4 |"} {
		if !strings.Contains(page.String(), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

func FuzzReadCSV(f *testing.F) {
	rows, err := calibration.Run(f.Context(), smallCell, calibration.Settings{Trials: 2, Seed: 1, Workers: 1, Methods: calibration.Methods()[:2]}, nil)
	if err != nil {
		f.Fatal(err)
	}
	var table bytes.Buffer
	if err := calibration.WriteCSV(&table, rows, true); err != nil {
		f.Fatal(err)
	}
	f.Add(table.Bytes())
	f.Add([]byte("cell,anglers\n"))
	f.Add([]byte(nil))
	f.Fuzz(func(t *testing.T, content []byte) {
		rows, err := calibration.ReadCSV(bytes.NewReader(content))
		if err != nil {
			if !errors.Is(err, calibration.ErrTable) {
				t.Errorf("error of no kind: %v", err)
			}
			return
		}
		calibration.Choose(rows, nil)
		if err := calibration.WriteMarkdown(&bytes.Buffer{}, rows); err != nil {
			t.Error(err)
		}
	})
}

func sqrt(n int) float64 { return math.Sqrt(float64(n)) }
