package multiplicity_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/multiplicity"
	"evenrig/stats/stattest"
)

// rounding is the tolerance where both sides multiply and compare in double
// precision, in another order.
const rounding = 1e-15

type procedure func([]float64) ([]float64, error)

var procedures = map[string]procedure{
	"Bonferroni":        multiplicity.Bonferroni,
	"Holm":              multiplicity.Holm,
	"BenjaminiHochberg": multiplicity.BenjaminiHochberg,
}

// R 4.2.2's p.adjust, on small lists with ties, zeros and ones, and on the 15
// p-values of Benjamini & Hochberg (1995).
func TestReference(t *testing.T) {
	t.Parallel()
	var file struct {
		Cases []struct {
			Name       string
			P          []float64
			Holm       []float64
			BH         []float64
			Bonferroni []float64
		}
	}
	stattest.Load(t, "multiplicity/adjusted.json", &file)
	for _, c := range file.Cases {
		for _, one := range []struct {
			name   string
			adjust procedure
			want   []float64
		}{
			{"Bonferroni", multiplicity.Bonferroni, c.Bonferroni},
			{"Holm", multiplicity.Holm, c.Holm},
			{"BenjaminiHochberg", multiplicity.BenjaminiHochberg, c.BH},
		} {
			got, err := one.adjust(c.P)
			if err != nil || len(got) != len(one.want) {
				t.Fatalf("%s, %s: %v, %v", c.Name, one.name, got, err)
			}
			for i := range got {
				stattest.Relative(t, c.Name+" "+one.name, got[i], one.want[i], rounding)
			}
		}
	}
}

// Benjamini & Hochberg (1995), section 4.1: at the level .05 Bonferroni's
// procedure and Holm's reject three of the fifteen hypotheses, theirs four. The
// p-values and counts are from memory of the paper.
func TestPublishedRejections(t *testing.T) {
	t.Parallel()
	p := []float64{
		0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1,
	}
	for name, want := range map[string]int{"Bonferroni": 3, "Holm": 3, "BenjaminiHochberg": 4} {
		adjusted, err := procedures[name](p)
		if err != nil {
			t.Fatal(err)
		}
		rejected := 0
		for _, a := range adjusted {
			if a <= 0.05 {
				rejected++
			}
		}
		if rejected != want {
			t.Errorf("%s rejects %d, want %d", name, rejected, want)
		}
	}
}

func TestRefused(t *testing.T) {
	t.Parallel()
	for name, adjust := range procedures {
		for _, bad := range []float64{-1e-300, 1.0000000000000002, math.NaN(), math.Inf(1), math.Inf(-1)} {
			if _, err := adjust([]float64{0.5, bad}); !errors.Is(err, multiplicity.ErrPValue) {
				t.Errorf("%s of %g: %v", name, bad, err)
			}
		}
		if got, err := adjust(nil); err != nil || len(got) != 0 {
			t.Errorf("%s of nothing: %v, %v", name, got, err)
		}
	}
}

// pValues draws lists with ties, zeros and ones among them.
func pValues(t *rapid.T) []float64 {
	return rapid.SliceOfN(rapid.OneOf(
		rapid.Float64Range(0, 1),
		rapid.SampledFrom([]float64{0, 0.01, 0.05, 0.5, 1, 5e-324}),
	), 1, 25).Draw(t, "p")
}

func TestProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := pValues(t)
		before := append([]float64(nil), p...)
		order := make([]int, len(p))
		for i := range order {
			order[i] = i
		}
		order = rapid.Permutation(order).Draw(t, "order")
		shuffled := make([]float64, len(p))
		for to, from := range order {
			shuffled[to] = p[from]
		}
		adjusted := map[string][]float64{}
		for name, adjust := range procedures {
			got, err := adjust(p)
			if err != nil {
				t.Fatal(err)
			}
			adjusted[name] = got
			again, err := adjust(shuffled)
			if err != nil {
				t.Fatal(err)
			}
			for to, from := range order {
				if again[to] != got[from] {
					t.Errorf("%s: another order gives %g for %g, not %g", name, again[to], p[from], got[from])
				}
			}
			for i := range p {
				if p[i] != before[i] {
					t.Fatalf("%s changed its argument", name)
				}
				if !(got[i] >= p[i] && got[i] <= 1) {
					t.Errorf("%s: %g is adjusted to %g", name, p[i], got[i])
				}
				for j := range p {
					if p[i] <= p[j] && got[i] > got[j] {
						t.Errorf("%s: %g <= %g are adjusted to %g > %g", name, p[i], p[j], got[i], got[j])
					}
				}
			}
		}
		for i := range p {
			if adjusted["Holm"][i] > adjusted["Bonferroni"][i] {
				t.Errorf("Holm %g above Bonferroni %g", adjusted["Holm"][i], adjusted["Bonferroni"][i])
			}
			// m/j <= m-j+1 for every j in 1..m.
			if adjusted["BenjaminiHochberg"][i] > adjusted["Holm"][i]*(1+rounding) {
				t.Errorf("Benjamini-Hochberg %g above Holm %g", adjusted["BenjaminiHochberg"][i], adjusted["Holm"][i])
			}
		}
	})
}

// The procedures as they are defined, by rejection at one level: Holm steps down
// until the first p_(j) > level/(m-j+1); Benjamini-Hochberg finds the largest j
// with p_(j) <= level·j/m. Adjusted p-values reject the same hypotheses.
func TestRejectionByDefinition(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := pValues(t)
		level := math.Pi / float64(rapid.IntRange(7, 3000).Draw(t, "π over the level"))
		sorted := append([]float64(nil), p...)
		for i := range sorted { // selection sort: the test's own
			for j := i + 1; j < len(sorted); j++ {
				if sorted[j] < sorted[i] {
					sorted[i], sorted[j] = sorted[j], sorted[i]
				}
			}
		}
		m := float64(len(p))
		holm, bh := 0, 0
		for holm < len(sorted) && sorted[holm] <= level/(m-float64(holm)) {
			holm++
		}
		for j, x := range sorted {
			if x <= level*float64(j+1)/m {
				bh = j + 1
			}
		}
		count := func(adjust procedure) int {
			adjusted, err := adjust(p)
			if err != nil {
				t.Fatal(err)
			}
			n := 0
			for _, a := range adjusted {
				if a <= level {
					n++
				}
			}
			return n
		}
		// A multiple of π meets none of the decimal p-values, so that no rounding decides.
		if got := count(multiplicity.Holm); got != holm {
			t.Errorf("Holm rejects %d, by its definition %d", got, holm)
		}
		if got := count(multiplicity.BenjaminiHochberg); got != bh {
			t.Errorf("Benjamini-Hochberg rejects %d, by its definition %d", got, bh)
		}
	})
}

func FuzzProbabilityOrError(f *testing.F) {
	f.Add(0.01, 0.04, 0.03)
	f.Add(0.0, 1.0, 5e-324)
	f.Add(-1.0, math.Inf(1), 0.5)
	f.Fuzz(func(t *testing.T, a, b, c float64) {
		for name, adjust := range procedures {
			got, err := adjust([]float64{a, b, c})
			if err != nil {
				if !errors.Is(err, multiplicity.ErrPValue) {
					t.Errorf("%s: %v", name, err)
				}
				continue
			}
			for _, p := range got {
				if !(p >= 0 && p <= 1) {
					t.Errorf("%s of %g, %g, %g: %v", name, a, b, c, got)
				}
			}
		}
	})
}
