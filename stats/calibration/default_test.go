package calibration_test

import (
	"os"
	"testing"

	"evenrig/stats/calibration"
)

// The kept table is of the grid as it is, and the rule chooses by it what CALIBRATION.md
// says (a check of the project against itself: both must be made anew together).
func TestKeptTableIsOfThisGridAndChoosesWhatIsSaid(t *testing.T) {
	t.Parallel()
	file, err := os.Open("default.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := calibration.ReadCSV(file)
	if err != nil {
		t.Fatal(err)
	}
	type key struct {
		cell   calibration.Cell
		method string
	}
	missing := map[key]bool{}
	for _, c := range calibration.DefaultGrid() {
		for _, m := range calibration.Methods() {
			missing[key{c, m.Name}] = true
		}
	}
	for _, r := range rows {
		if k := (key{r.Cell, r.Method}); missing[k] {
			delete(missing, k)
		} else {
			t.Errorf("%s, %s: not of the grid, or twice", r.Cell.Name(), r.Method)
		}
	}
	if len(missing) > 0 {
		t.Errorf("%d rows are missing", len(missing))
	}
	if c := calibration.Choose(rows, nil); c.Method != "profile_m_else_exact" {
		t.Errorf("the rule chooses %q", c.Method)
	}
}
