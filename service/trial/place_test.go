package trial_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// Cells are found by rounding down; worked by hand from the definition in Chapman & Wieczorek 2020: a position belongs to
// the cell whose south-west corner is the greatest multiple of the grid's step that is not above it.
func TestCells(t *testing.T) {
	p := complete()
	for _, c := range []struct {
		lat, long   float64
		tenth, cent string
	}{
		{54.18, -2.31, "54.1N 2.4W", "54.18N 2.31W"},
		{54.1, -2.3, "54.1N 2.3W", "54.10N 2.30W"},
		{54.123456789, -2.345678901, "54.1N 2.4W", "54.12N 2.35W"},
		{0.29, 0.29, "0.2N 0.2E", "0.29N 0.29E"},
		{-0.29, -0.29, "0.3S 0.3W", "0.29S 0.29W"},
		{-0.05, 0.05, "0.1S 0.0E", "0.05S 0.05E"},
		{0, 0, "0.0N 0.0E", "0.00N 0.00E"},
		{-45.5, 170.5, "45.5S 170.5E", "45.50S 170.50E"},
		{90, 180, "89.9N 179.9E", "89.99N 179.99E"},
		{-90, -180, "90.0S 180.0W", "90.00S 180.00W"},
		{1e-9, -1e-9, "0.0N 0.1W", "0.00N 0.01W"},
	} {
		for grid, want := range map[string]string{trial.Grid10Kilo: c.tenth, trial.Grid1Kilo: c.cent, trial.NoGrid: ""} {
			p.PlaceGrid = grid
			got, err := p.CellOf(trial.PlaceAt(c.lat, c.long))
			if err != nil || got != want {
				t.Errorf("%g, %g by %s is in %q (%v), want %q", c.lat, c.long, grid, got, err, want)
			}
			if grid == trial.NoGrid {
				continue
			}
			if trial.GridOf(got) != grid || trial.GridOf("") != trial.NoGrid {
				t.Errorf("%s is taken for a cell of %s", got, trial.GridOf(got))
			}
			if again, err := p.CellOf(got); err != nil || again != got {
				t.Errorf("the cell %s by its name is in %q (%v)", got, again, err)
			}
		}
	}
	p.PlaceGrid = trial.Grid10Kilo
	if got, err := p.CellOf("54.18N 2.31W"); err != nil || got != "54.1N 2.4W" {
		t.Errorf("a finer cell is in %q (%v)", got, err)
	}
}

// What is no place is refused without repeating it.
func TestNoPlaces(t *testing.T) {
	p := complete()
	p.PlaceGrid = trial.Grid1Kilo
	for _, bad := range []string{
		"", " ", "54.12N", "54.12N 2.31", "54.12 2.31", "54N 2W", "54.1N 2.3W", "91.00N 2.31W", "54.12N 181.00W", "90.01N 0.00E", "54.12W 2.31N",
		"-54.12N 2.31W", "54.12N  2.31W", "54.12N 2.31W ", "5.4.12N 2.31W", "٣.12N 2.31W", "1e1.00N 2.31W", ".12N 2.31W", "54.N 2.31W", "+54.12N 2.31W",
		strings.Repeat("9", 400) + ".00N 2.31W", trial.PlaceAt(math.Inf(1), 0), trial.PlaceAt(0, math.NaN()), trial.PlaceAt(-90.0001, 0), trial.PlaceAt(0, 180.0001),
	} {
		got, err := p.CellOf(bad)
		wantFaults(t, err, "place")
		if got != "" || err != nil && len(bad) > 3 && strings.Contains(err.Error(), bad) {
			t.Errorf("%q is in %q, and is told %v", bad, got, err)
		}
	}
}

// Wherever a device is, its cell holds it, the two are no farther apart than a grid's step each way, and neither a finer
// name of the same place nor the cell's own changes it.
func TestCellsHoldTheirPlaces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lat, long := rapid.Float64Range(-90, 90).Draw(t, "latitude"), rapid.Float64Range(-180, 180).Draw(t, "longitude")
		p := trial.Protocol{PlaceGrid: rapid.SampledFrom([]string{trial.Grid10Kilo, trial.Grid1Kilo}).Draw(t, "grid")}
		cell, err := p.CellOf(trial.PlaceAt(lat, long))
		if err != nil {
			t.Fatal(err)
		}
		if again, err := p.CellOf(cell); err != nil || again != cell {
			t.Fatalf("%s by its name is in %q (%v)", cell, again, err)
		}
		south, west, _ := strings.Cut(cell, " ")
		step := trial.CellSize(p.PlaceGrid)
		for _, c := range []struct {
			corner string
			at     float64
		}{{south, lat}, {west, long}} {
			corner, err := strconv.ParseFloat(c.corner[:len(c.corner)-1], 64)
			if err != nil {
				t.Fatal(err)
			}
			if last := c.corner[len(c.corner)-1]; last == 'S' || last == 'W' {
				corner = -corner
			}
			if over := c.at - corner; over < 0 || over > step*(1+1e-9) {
				t.Fatalf("%g is %g from %s", c.at, over, c.corner)
			}
		}
	})
}

// What rounding adds is at least the diagonal of the largest cell, the one at the equator (WGS 84: a degree of longitude is
// 111 319.49 m there, a degree of latitude 110 574.27 m). The figures are those of Chapman & Wieczorek 2020.
func TestCellUncertainty(t *testing.T) {
	for grid, want := range map[string]int{trial.NoGrid: 0, trial.Grid10Kilo: 15691, trial.Grid1Kilo: 1570} {
		got := trial.CellUncertainty(grid)
		diagonal := trial.CellSize(grid) * math.Hypot(111319.49, 110574.27)
		if got != want || math.Abs(float64(got)-diagonal) > 2 {
			t.Errorf("%s: %d m, want %d, about the diagonal of %.0f m", grid, got, want, diagonal)
		}
	}
}
