package exact_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/exact"
	"evenrig/stats/num"
	"evenrig/stats/stattest"
)

// Eagle et al. (2002), 5/5, 1/10 and 0/4 fish above 12 in: p = .001 as printed; R 4.2.2
// fisher.test on it and on invented tables, which works to 1e-7.
func TestFreemanHaltonReference(t *testing.T) {
	var file struct {
		Cases []struct {
			Rows [][2]int64
			P    float64
		} `json:"freeman_halton"`
	}
	stattest.Load(t, "exact/rates_rules.json", &file)
	for i, c := range file.Cases {
		got, err := exact.FisherFreemanHalton(c.Rows)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Relative(t, "p", got, c.P, 1e-9)
		if i == 0 {
			stattest.Absolute(t, "p as printed", got, 0.001, 5e-4)
			stattest.Absolute(t, "p to seven digits", got, 0.0008846, 5e-8)
		}
	}
	if len(file.Cases) < 6 {
		t.Error("cases are missing")
	}
}

// Two rows are Fisher's test; more are the definition: tables by their binomial
// coefficients, all combinations of rows, those with the right sum kept.
func TestFreemanHaltonDefinition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cell := rapid.Int64Range(0, 6)
		rows := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) [2]int64 {
			return [2]int64{cell.Draw(t, "first"), cell.Draw(t, "second")}
		}), 1, 4).Draw(t, "rows")
		var first, total int64
		for _, row := range rows {
			first += row[0]
			total += row[0] + row[1]
		}
		got, err := exact.FisherFreemanHalton(rows)
		if total == 0 {
			if !errors.Is(err, exact.ErrNoCatches) {
				t.Errorf("no fish: %v", err)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		choose := func(n, k int64) float64 { return math.Round(math.Exp(lnChoose(n, k))) }
		seen := 1.
		for _, row := range rows {
			seen *= choose(row[0]+row[1], row[0])
		}
		var all, extreme float64
		var try func(i int, left int64, ways float64)
		try = func(i int, left int64, ways float64) {
			if i == len(rows) {
				if left == 0 {
					all += ways
					if ways <= seen {
						extreme += ways
					}
				}
				return
			}
			size := rows[i][0] + rows[i][1]
			for x := int64(0); x <= min(size, left); x++ {
				try(i+1, left-x, ways*choose(size, x))
			}
		}
		try(0, first, 1)
		near(t, "p over its value", got*all/extreme, 1, 1e-11)
		if len(rows) == 2 {
			fisher, err := exact.FisherTwoSided(exact.Table{A: rows[0][0], B: rows[0][1], D: rows[1][0], C: rows[1][1]})
			if err != nil {
				t.Fatal(err)
			}
			near(t, "Fisher's p", got, fisher, 1e-11)
		}
	})
}

func TestFreemanHaltonRefusals(t *testing.T) {
	for name, c := range map[string]struct {
		rows [][2]int64
		want error
	}{
		"nothing":       {nil, exact.ErrNoCatches},
		"empty rows":    {[][2]int64{{}, {}}, exact.ErrNoCatches},
		"negative":      {[][2]int64{{1, 2}, {-1, 3}}, exact.ErrCount},
		"many fish":     {[][2]int64{{exact.MaxCount, exact.MaxCount}, {exact.MaxCount, 0}}, exact.ErrTooManyTables},
		"too many rows": {[][2]int64{{9, 9}, {9, 9}, {9, 9}, {9, 9}, {9, 9}, {9, 9}, {9, 9}, {9, 9}, {9, 9}}, exact.ErrTooManyTables},
	} {
		if _, err := exact.FisherFreemanHalton(c.rows); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
	}
}

// Firth (1993) from its definition in R 4.2.2: likelihood and determinant maximised and
// profiled numerically, good to 1e-6; see rates_rules.R.
func TestFirthReference(t *testing.T) {
	var file struct {
		Firth []struct {
			Cells       [4]int64 `json:"a_b_c_d"`
			Theta, Beta float64
			StdErr      float64 `json:"std_error"`
			Low, High   float64
			P           float64
		}
	}
	stattest.Load(t, "exact/rates_rules.json", &file)
	for _, c := range file.Firth {
		got, err := exact.Firth(exact.Table{A: c.Cells[0], B: c.Cells[1], C: c.Cells[2], D: c.Cells[3]}, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		const numerical = 1e-6
		stattest.Within(t, "θ", got.Theta, c.Theta, numerical)
		stattest.Within(t, "β", got.Beta, c.Beta, numerical)
		stattest.Relative(t, "SE", got.StdErr, c.StdErr, numerical)
		stattest.Within(t, "low", got.Low, c.Low, numerical)
		stattest.Within(t, "high", got.High, c.High, numerical)
		stattest.Absolute(t, "p", got.P, c.P, numerical)
	}
	if len(file.Firth) < 8 {
		t.Error("cases are missing")
	}
}

// The estimate is ½ added to every cell; limits hold it and turn over with the patterns;
// with many fish they come to Woolf's.
func TestFirthIdentities(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cell := rapid.OneOf(rapid.Int64Range(0, 3), rapid.Int64Range(0, 1000))
		table := exact.Table{A: cell.Draw(t, "a"), B: cell.Draw(t, "b"), C: cell.Draw(t, "c"), D: cell.Draw(t, "d")}
		got, err := exact.Firth(table, 0.9)
		if table.A+table.B == 0 || table.C+table.D == 0 {
			if !errors.Is(err, exact.ErrNoInformation) {
				t.Errorf("an empty arrangement: %v", err)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		half := func(n int64) float64 { return float64(n) + 0.5 }
		near(t, "θ", got.Theta, math.Log(half(table.A)*half(table.C)/half(table.B)/half(table.D))/2, 1e-12)
		if !(got.Low < got.Theta && got.Theta < got.High) {
			t.Errorf("limits %g, %g do not hold %g", got.Low, got.High, got.Theta)
		}
		if outside := got.Low > 0 || got.High < 0; math.Abs(got.P-0.1) > 1e-9 && outside != (got.P < 0.1) {
			t.Errorf("p = %g, limits %g to %g", got.P, got.Low, got.High)
		}
		swapped, err := exact.Firth(swapPatterns([]exact.Table{table})[0], 0.9)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "θ, patterns swapped", swapped.Theta, -got.Theta, 1e-12)
		near(t, "low, patterns swapped", swapped.Low, -got.High, 1e-10)
	})
	large := exact.Table{A: 52_000_000, B: 48_000_000, C: 51_000_000, D: 49_000_000}
	firth, err := exact.Firth(large, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	woolf, err := exact.Woolf(large, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Relative(t, "low with many fish", firth.Low, woolf.Low, 1e-6)
	stattest.Relative(t, "high with many fish", firth.High, woolf.High, 1e-6)
}

// Both tails of single tables and of binomial counts: R 4.2.2 fisher.test and binom.test.
func TestOneSidedReference(t *testing.T) {
	var file struct {
		Tables []struct {
			Name    string
			Table   rows    `json:"table_a_b_c_d"`
			Less    float64 `json:"p_less"`
			Greater float64 `json:"p_greater"`
		}
		Counts []struct {
			X, N    int64
			P0      float64
			Less    float64 `json:"p_less"`
			Greater float64 `json:"p_greater"`
		}
	}
	stattest.Load(t, "exact/one_sided.json", &file)
	for _, c := range file.Tables {
		table := c.Table.table()
		h, err := num.NewHypergeometric(table.A+table.B, table.C+table.D, table.A+table.D)
		if err != nil {
			t.Fatal(err)
		}
		lower, upper := h.Tails(table.A)
		stattest.Relative(t, c.Name+" lower", lower, c.Less, double)
		stattest.Relative(t, c.Name+" upper", upper, c.Greater, double)
	}
	for _, c := range file.Counts {
		lower, upper := num.Binomial{N: c.N, P: c.P0, Q: 1 - c.P0}.Tails(c.X)
		stattest.Relative(t, "lower", lower, c.Less, double)
		stattest.Relative(t, "upper", upper, c.Greater, double)
	}
	if len(file.Tables) < 19 || len(file.Counts) < 7 {
		t.Error("cases are missing")
	}
}

func BenchmarkFreemanHaltonMillionTables(b *testing.B) {
	rows := [][2]int64{{500, 500}, {500, 500}, {700, 300}}
	for b.Loop() {
		if _, err := exact.FisherFreemanHalton(rows); err != nil {
			b.Fatal(err)
		}
	}
}
