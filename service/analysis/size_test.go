package analysis_test

import (
	"slices"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/trial"
	"evenrig/stats/stattest"
)

// From a thousand anglers on what stands beside the answer is worked out in shorter ways, and the result says so; the shorter way's
// answer without late fish is that of a whole analysis without them, within a fiftieth of a standard error.
func TestManyAnglersStepBack(t *testing.T) {
	t.Parallel()
	in := season(1_000, 1, 16_000)
	in.Draw = nil
	r := mustRun(t, in, analysis.Settings{})
	if !slices.ContainsFunc(r.Warnings, func(w analysis.Warning) bool { return w.Code == analysis.WarnManyAnglers }) || r.Settings.Points != 7 {
		t.Errorf("%d points, warnings %+v", r.Settings.Points, r.Warnings)
	}
	in.Tallies = slices.DeleteFunc(in.Tallies, func(t trial.Tally) bool { return t.Late })
	whole := mustRun(t, in, analysis.Settings{Points: 15})
	stdErr := *whole.MixedModel.StdError
	found := false
	for _, row := range r.Sensitivity {
		if row.Case == analysis.CaseWithoutAngler {
			t.Errorf("%s is left out in turn", row.Of)
		}
		if row.Case == analysis.CaseWithoutLate {
			found = true
			stattest.Absolute(t, "log odds", *row.LogOdds, *whole.Headline.LogOdds, stdErr/50)
			stattest.Absolute(t, "low", *row.Low, *whole.Headline.Low, stdErr/50)
			stattest.Absolute(t, "high", *row.High, *whole.Headline.High, stdErr/50)
		}
	}
	if !found {
		t.Error("the answer without late fish is not there")
	}
	if r = mustRun(t, season(100, 1, 1_600), analysis.Settings{}); r.Settings.Points != 15 || slices.ContainsFunc(r.Warnings, func(w analysis.Warning) bool { return w.Code == analysis.WarnManyAnglers }) {
		t.Errorf("100 anglers: %d points, warnings %+v", r.Settings.Points, r.Warnings)
	}
}
