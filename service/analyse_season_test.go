package main

import (
	"encoding/json"
	"testing"

	"evenrig/service/analysis"
)

// A catch table with every column fills every part of the result that needs no draw, the named columns first; what is null is
// warned of.
func TestAnalyseFillsWhatATableCan(t *testing.T) {
	t.Parallel()
	status, out, errs := analyse(t, "", "--test", "A", "--subgroup", "presentation", "--subgroup", "Species", "--format", "json", scenarios+"season.csv")
	var r analysis.Result
	if err := json.Unmarshal([]byte(out), &r); status != 0 || err != nil {
		t.Fatalf("status %d: %v %s", status, err, errs)
	}
	var parts map[string]json.RawMessage
	if err := json.Unmarshal([]byte(out), &parts); err != nil {
		t.Fatal(err)
	}
	drawn := map[string]bool{"randomisation": true, "as_allocated": true}
	for name, part := range parts {
		if string(part) == "null" != drawn[name] {
			t.Errorf("%s is %.40s", name, part)
		}
	}
	for i, want := range []string{"presentation", "species", "origin", "water_type", "fly", "month"} {
		if g := r.Subgroups[i]; g.Column != want || g.Named != (i < 2) || g.P == nil {
			t.Errorf("subgroup %d is %s, named %v, p %v", i, g.Column, g.Named, g.P)
		}
	}
	m := r.MixedModel
	for name, value := range map[string]*float64{"profile_low": m.ProfileLow, "profile_high": m.ProfileHigh, "sd_pattern_high": m.SDPatternHigh, "boundary_p": m.BoundaryP} {
		if value == nil {
			t.Errorf("%s is null", name)
		}
	}
	if m.Correlation != nil {
		t.Error("a correlation that nobody asked for")
	}
	status, out, errs = analyse(t, "", "--test", "A", "--correlated", "--points", "5", "--format", "json", scenarios+"season.csv")
	if err := json.Unmarshal([]byte(out), &r); status != 0 || err != nil || !r.Settings.Correlated || r.Settings.Points != 5 {
		t.Fatalf("status %d: %v %s %+v", status, err, errs, r.Settings)
	}
	if m := r.MixedModel; m.Status == analysis.Converged && m.Correlation == nil && *m.SDPattern > 0 && *m.SDPosition > 0 {
		t.Error("both effects vary and their correlation is null")
	}
}
