package trial_test

import (
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// 1 in = 25.4 mm exactly (NIST SP 811, appendix B.8); the products below by hand, halves rounded away from zero.
func TestMillimetres(t *testing.T) {
	for _, c := range []struct {
		value float64
		unit  string
		want  int
	}{
		{1, "mm", 1},
		{315, "mm", 315},
		{31.5, "cm", 315},
		{1, "in", 25},      // 25.4
		{10, "in", 254},    // 254
		{12.5, "in", 318},  // 317.5
		{12.25, "in", 311}, // 311.15
		{5, "in", 127},     // 127
		{300, "cm", 3000},
		{3000, "mm", 3000},
		{118.11, "in", 3000}, // 2999.994
		{.1, "cm", 1},
	} {
		if got, err := (trial.Measure{Value: c.value, Unit: c.unit}).Millimetres(); err != nil || got != c.want {
			t.Errorf("%g %s: %d, %v; want %d", c.value, c.unit, got, err, c.want)
		}
	}
	for _, bad := range []trial.Measure{
		{Value: 30},
		{Value: 30, Unit: "CM"},
		{Value: 30, Unit: "m"},
		{Value: 30, Unit: "inch"},
		{Value: 0, Unit: "mm"},
		{Value: -30, Unit: "cm"},
		{Value: 3001, Unit: "mm"},
		{Value: 118.2, Unit: "in"},
		{Value: math.NaN(), Unit: "cm"},
		{Value: math.Inf(1), Unit: "cm"},
		{Value: math.Inf(-1), Unit: "cm"},
		{Value: 300, Unit: "C"},
	} {
		if got, err := bad.Millimetres(); err == nil {
			t.Errorf("%v: %d, want a refusal", bad, got)
		}
	}
}

// C = (F-32)·5/9 (NIST SP 811, appendix B.8), rounded to a tenth.
func TestTenthsC(t *testing.T) {
	for _, c := range []struct {
		value float64
		unit  string
		want  int
	}{
		{0, "C", 0},
		{12.3, "C", 123},
		{-1, "C", -10},
		{35, "C", 350},
		{32, "F", 0},
		{50, "F", 100},
		{59, "F", 150},
		{68, "F", 200},
		{60, "F", 156}, // 15.555…
		{95, "F", 350},
		{31, "F", -6}, // -0.555…
	} {
		if got, err := (trial.Measure{Value: c.value, Unit: c.unit}).TenthsC(); err != nil || got != c.want {
			t.Errorf("%g %s: %d, %v; want %d", c.value, c.unit, got, err, c.want)
		}
	}
	for _, bad := range []trial.Measure{
		{Value: 12},
		{Value: 12, Unit: "K"},
		{Value: 12, Unit: "c"},
		{Value: -1.01, Unit: "C"},
		{Value: 35.01, Unit: "C"},
		{Value: 95.1, Unit: "F"},
		{Value: 30, Unit: "F"},
		{Value: math.NaN(), Unit: "C"},
		{Value: math.Inf(1), Unit: "F"},
	} {
		if got, err := bad.TenthsC(); err == nil {
			t.Errorf("%v: %d, want a refusal", bad, got)
		}
	}
}

// Whole tenths of an inch are converted as the exact product 254/100 mm says, so that typing a length in another unit
// never changes the millimetres.
func TestInchesAreExact(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		tenths := rapid.Int64Range(1, 1180).Draw(rt, "tenths of an inch")
		exact := new(big.Rat).Mul(big.NewRat(tenths, 10), big.NewRat(254, 10))
		half := new(big.Rat).Add(exact, big.NewRat(1, 2))
		want := int(new(big.Int).Quo(half.Num(), half.Denom()).Int64())
		got, err := (trial.Measure{Value: float64(tenths) / 10, Unit: "in"}).Millimetres()
		if err != nil || got != want {
			rt.Errorf("%d tenths of an inch: %d mm, %v; want %d", tenths, got, err, want)
		}
		mm := rapid.IntRange(1, 3000).Draw(rt, "mm")
		a, errA := (trial.Measure{Value: float64(mm), Unit: "mm"}).Millimetres()
		b, errB := (trial.Measure{Value: float64(mm) / 10, Unit: "cm"}).Millimetres()
		if errA != nil || errB != nil || a != mm || b != mm {
			rt.Errorf("%d mm: %d as mm, %d as cm (%v, %v)", mm, a, b, errA, errB)
		}
	})
}

func TestMeasureAsTyped(t *testing.T) {
	for want, m := range map[string]trial.Measure{"31.5 cm": {Value: 31.5, Unit: "cm"}, "12 in": {Value: 12, Unit: "in"}, "0.5 C": {Value: .5, Unit: "C"}} {
		if got := m.String(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// The greatest lengths accepted, in millimetres. From memory, above what is reported of each group, so that no record is
// lost; trout: 140 cm reported.
func TestLongest(t *testing.T) {
	for species, want := range map[string]int{
		"Salmo trutta": 1450, "Salmo trutta fario": 1450, "Salmo salar": 1550, "Oncorhynchus mykiss": 1250,
		"Salvelinus fontinalis": 900, "Salvelinus alpinus": 1100, "Thymallus thymallus": 650,
		"Coregonus lavaretus": 750, "Perca fluviatilis": 650, "Squalius cephalus": 850, "Leuciscus leuciscus": 850, "Rutilus rutilus": 850,
		"Barbus barbus": 1250, "Cyprinus carpio": 1300, "Esox lucius": 1550, "Micropterus salmoides": 1000,
		"Scomber scombrus": 1100, "Dicentrarchus labrax": 1100,
		"other": 3000, "unknown": 3000, "Silurus glanis": 3000, "": 3000, "Salmonella enterica": 3000, "Scomberomorus cavalla": 3000,
	} {
		if got := trial.Longest(species); got != want {
			t.Errorf("%q: %d mm, want %d", species, got, want)
		}
	}
}
