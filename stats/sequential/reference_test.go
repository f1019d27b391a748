package sequential_test

import (
	"testing"

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
