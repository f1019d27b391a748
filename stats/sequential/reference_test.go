package sequential_test

import (
	"math"
	"testing"

	"evenrig/stats/num"
	"evenrig/stats/sequential"
	"evenrig/stats/stattest"
)

// design is one entry of group_sequential.json: boundaries by two programs, one of them
// a public package.
type design struct {
	Schedule     string    `json:"schedule"`
	Type         string    `json:"type"`
	Information  []float64 `json:"information"`
	Alpha        float64   `json:"alpha_two_sided"`
	Z            []float64 `json:"critical_z"`
	NominalP     []float64 `json:"nominal_two_sided_p"`
	Spent        []float64 `json:"alpha_spent_cumulative"`
	Power80      planned   `json:"power80"`
	Power90      planned   `json:"power90"`
	MaxDifferent *float64  `json:"max_abs_diff_rpact_vs_own"`
}

type planned struct {
	Power      float64   `json:"power"`
	Drift      float64   `json:"drift"`
	Inflation  float64   `json:"inflation_factor"`
	ExpectedH1 float64   `json:"expected_information_under_H1_over_fixed"`
	ExpectedH0 float64   `json:"expected_information_under_H0_over_fixed"`
	StopUpper  []float64 `json:"stage_exit_upper_H1"`
}

type constants struct {
	Alpha  float64 `json:"alpha"`
	K      int     `json:"K"`
	Pocock float64 `json:"pocock_C"`
	OBF    float64 `json:"obf_C"`
}

type reference struct {
	Designs   []design    `json:"designs"`
	Classical []constants `json:"classical_constants_computed"`
	Printed   struct {
		Pocock []struct {
			K int     `json:"K"`
			C float64 `json:"C"`
		} `json:"pocock_C"`
		OBF []struct {
			K int     `json:"K"`
			C float64 `json:"C"`
		} `json:"obf_C"`
	} `json:"jennison_turnbull_from_memory"`
	Repeated []struct {
		Looks   int     `json:"looks"`
		Overall float64 `json:"overall_alpha_if_each_look_at_1.96"`
	} `json:"repeated_1.96_overall_alpha"`
}

func loadReference(t testing.TB) reference {
	var r reference
	stattest.Load(t, "sequential/group_sequential.json", &r)
	return r
}

// boundaries computes a design's boundaries; ok is false for the alternative function that
// spends α two-sided in the one-sided formula, which this package does not offer.
func (d design) boundaries(t *testing.T) ([]sequential.Boundary, bool) {
	t.Helper()
	var bounds []sequential.Boundary
	var err error
	switch d.Type {
	case "OF":
		bounds, err = sequential.Classic(sequential.OBrienFleming, d.Information, d.Alpha)
	case "P":
		bounds, err = sequential.Classic(sequential.Pocock, d.Information, d.Alpha)
	case "asOF":
		bounds, err = sequential.Boundaries(sequential.OBrienFleming, d.Information, d.Alpha)
	case "asP":
		bounds, err = sequential.Boundaries(sequential.Pocock, d.Information, d.Alpha)
	default:
		return nil, false
	}
	if err != nil {
		t.Fatal(err)
	}
	return bounds, true
}

// Boundaries, α spent, power, stopping chances and expected information of 24 designs by
// rpact and by an independent integration (64 nodes a panel). 1e-8 is ten times the
// largest disagreement of those two.
func TestBoundariesOfTheReference(t *testing.T) {
	t.Parallel()
	checked := 0
	for _, d := range loadReference(t).Designs {
		bounds, ok := d.boundaries(t)
		if !ok {
			continue
		}
		checked++
		name := d.Type + " " + d.Schedule
		for k, b := range bounds {
			stattest.Absolute(t, name+" z", b.Z, d.Z[k], 1e-8)
			stattest.Relative(t, name+" nominal p", b.NominalP, d.NominalP[k], 1e-8*(1+d.Z[k])) // d ln p/dz is about -z
			stattest.Absolute(t, name+" spent", b.Spent, d.Spent[k], 1e-9)
		}
	}
	if checked != 24 {
		t.Errorf("%d designs checked, want 24", checked)
	}
}

// Power, chances of stopping and expected information at the reference's drifts. 1e-8: the
// drift is given to about 1e-11 and the power's slope in it is under 1.
func TestPowerOfTheReference(t *testing.T) {
	t.Parallel()
	for _, d := range loadReference(t).Designs {
		for _, p := range []planned{d.Power80, d.Power90} {
			exits, err := sequential.Crossing(d.Information, d.Z, p.Drift)
			if err != nil {
				t.Fatal(err)
			}
			name := d.Type + " " + d.Schedule
			stattest.Absolute(t, name+" power", exits.TotalUpper(), p.Power, 1e-8)
			for k, chance := range p.StopUpper {
				stattest.Absolute(t, name+" stop", exits.Upper[k], chance, 1e-8)
			}
			none, err := sequential.Crossing(d.Information, d.Z, 0)
			if err != nil {
				t.Fatal(err)
			}
			stattest.Absolute(t, name+" expected, effect", p.Inflation*exits.Expected(d.Information), p.ExpectedH1, 1e-8)
			stattest.Absolute(t, name+" expected, none", p.Inflation*none.Expected(d.Information), p.ExpectedH0, 1e-8)
		}
	}
}

// What a plan needs, against the reference's equal schedules by spending.
func TestPlanOfTheReference(t *testing.T) {
	t.Parallel()
	shapes := map[string]sequential.Spending{"asOF": sequential.OBrienFleming, "asP": sequential.Pocock}
	checked := 0
	for _, d := range loadReference(t).Designs {
		spending, ok := shapes[d.Type]
		if !ok || d.Schedule[:5] != "equal" {
			continue
		}
		for _, want := range []planned{d.Power80, d.Power90} {
			checked++
			plan := sequential.Plan{Looks: len(d.Z), Spending: spending, Alpha: d.Alpha, Power: want.Power, Information: 1}
			got, err := plan.Characteristics()
			if err != nil {
				t.Fatal(err)
			}
			stattest.Absolute(t, "drift", got.Drift, want.Drift, 1e-8)
			stattest.Absolute(t, "inflation", got.Inflation, want.Inflation, 1e-8)
			stattest.Absolute(t, "expected, effect", got.ExpectedEffect, want.ExpectedH1, 1e-8)
			stattest.Absolute(t, "expected, none", got.ExpectedNoEffect, want.ExpectedH0, 1e-8)
			stattest.Absolute(t, "level", got.StopNoEffectTotal, d.Alpha, 1e-9)
			made, err := sequential.PlanFor(len(d.Z), spending, d.Alpha, want.Power, -0.405)
			if err != nil {
				t.Fatal(err)
			}
			stattest.Relative(t, "information", made.Information, want.Drift*want.Drift/(0.405*0.405), 1e-8)
		}
	}
	if checked != 16 {
		t.Errorf("%d plans checked, want 16", checked)
	}
}

// The classic constants: to the printed digits of Jennison and Turnbull (2000), tables 2.1 and
// 2.3 (from memory, 3 decimals), and to 1e-8 of the independent integration.
func TestClassicConstants(t *testing.T) {
	t.Parallel()
	ref := loadReference(t)
	constant := func(shape sequential.Spending, k int, alpha float64) float64 {
		bounds, err := sequential.Classic(shape, sequential.Plan{Looks: k}.Fractions(), alpha)
		if err != nil {
			t.Fatal(err)
		}
		return bounds[k-1].Z
	}
	for _, c := range ref.Printed.Pocock {
		stattest.Absolute(t, "printed Pocock", constant(sequential.Pocock, c.K, 0.05), c.C, 0.0005)
	}
	for _, c := range ref.Printed.OBF {
		stattest.Absolute(t, "printed O'Brien-Fleming", constant(sequential.OBrienFleming, c.K, 0.05), c.C, 0.0005)
	}
	for _, c := range ref.Classical {
		if testing.Short() && c.K > 5 {
			continue
		}
		stattest.Absolute(t, "Pocock", constant(sequential.Pocock, c.K, c.Alpha), c.Pocock, 1e-8)
		stattest.Absolute(t, "O'Brien-Fleming", constant(sequential.OBrienFleming, c.K, c.Alpha), c.OBF, 1e-8)
	}
}

// Looking k times at 1.96: the overall level. Besides the independent integration, Armitage,
// McPherson and Rowe (1969), table 2, print 0.142 for 5 and 0.193 for 10 looks (from memory).
func TestRepeatedLooksAtTheFixedBoundary(t *testing.T) {
	t.Parallel()
	for _, c := range loadReference(t).Repeated {
		z := make([]float64, c.Looks)
		for k := range z {
			z[k] = 1.959963984540054
		}
		exits, err := sequential.Crossing(sequential.Plan{Looks: c.Looks}.Fractions(), z, 0)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Absolute(t, "overall level", exits.Total(), c.Overall, 1e-9)
		switch c.Looks {
		case 5:
			stattest.Absolute(t, "printed, 5 looks", exits.Total(), 0.142, 0.0005)
		case 10:
			stattest.Absolute(t, "printed, 10 looks", exits.Total(), 0.193, 0.0005)
		}
	}
}

// Published boundaries. Spending, five and four looks: rpact 3.3.4, as in the tables of Jennison
// and Turnbull (2000) and DeMets and Lan (1994). Classic with seven looks: the Beta-Blocker Heart
// Attack Trial, DeMets, Hardy, Friedman and Lan (1984), Controlled Clinical Trials 5:362 (from
// memory).
func TestPublishedBoundaries(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name     string
		classic  bool
		spending sequential.Spending
		tol      float64
		z        []float64
	}{
		{"O'Brien-Fleming type, 5", false, sequential.OBrienFleming, 0.00005, []float64{4.8769, 3.3570, 2.6803, 2.2898, 2.0310}},
		{"O'Brien-Fleming type, 4", false, sequential.OBrienFleming, 0.00005, []float64{4.3326, 2.9631, 2.3590, 2.0141}},
		{"O'Brien-Fleming, 5", true, sequential.OBrienFleming, 0.00005, []float64{4.5617, 3.2256, 2.6337, 2.2809, 2.0401}},
		{"Pocock, 5", true, sequential.Pocock, 0.00005, []float64{2.4132, 2.4132, 2.4132, 2.4132, 2.4132}},
		{"O'Brien-Fleming, 7", true, sequential.OBrienFleming, 0.005, []float64{5.46, 3.86, 3.15, 2.73, 2.44, 2.23, 2.06}},
	} {
		method := sequential.Boundaries
		if c.classic {
			method = sequential.Classic
		}
		bounds, err := method(c.spending, sequential.Plan{Looks: len(c.z)}.Fractions(), 0.05)
		if err != nil {
			t.Fatal(err)
		}
		for k, b := range bounds {
			stattest.Absolute(t, c.name, b.Z, c.z[k], c.tol*1.02) // the printed value's own rounding
		}
	}
	stattest.Absolute(t, "one-sided spent at 0.4", sequential.OBrienFleming.Spent(0.4, 0.05)/2, 0.000394, 0.0000005)
}

// Inflation factors of the classic boundaries, two-sided .05, as Jennison and Turnbull (2000) print them in
// tables 2.2 and 2.4 (from memory, 3 decimals): power by the drift of the fixed size times the root of the
// factor. 0.0005 in the factor is at most 0.0003 in the power.
func TestPrintedInflationFactors(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		shape   sequential.Spending
		power   float64
		factors []float64 // for 2, 3, 4, 5 looks
	}{
		{sequential.Pocock, 0.8, []float64{1.110, 1.166, 1.202, 1.229}},
		{sequential.Pocock, 0.9, []float64{1.100, 1.151, 1.183, 1.207}},
		{sequential.OBrienFleming, 0.8, []float64{1.008, 1.017, 1.024, 1.028}},
		{sequential.OBrienFleming, 0.9, []float64{1.007, 1.016, 1.022, 1.026}},
	} {
		for i, factor := range c.factors {
			fractions := sequential.Plan{Looks: i + 2}.Fractions()
			bounds, err := sequential.Classic(c.shape, fractions, 0.05)
			if err != nil {
				t.Fatal(err)
			}
			fixed := num.NormalQuantile(0.975) + num.NormalQuantile(c.power)
			exits, err := sequential.Crossing(fractions, zs(bounds), fixed*math.Sqrt(factor))
			if err != nil {
				t.Fatal(err)
			}
			stattest.Absolute(t, "power", exits.TotalUpper(), c.power, 0.0003)
		}
	}
}
