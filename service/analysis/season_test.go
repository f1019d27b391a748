package analysis_test

import (
	"strings"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/trial"
	"evenrig/stats/stattest"
)

// fitted is a model of testdata/reference/analysis/season.json, by lme4.
type fitted struct {
	Estimate map[string]float64 `json:"estimate"`
	StdError map[string]float64 `json:"std_error"`
	SD       map[string]float64 `json:"sd"`
	LogLik   float64            `json:"log_likelihood"`
}

// ratio is a likelihood-ratio test of season.json.
type ratio struct {
	Statistic float64
	DF        int
	P         float64
}

// The tolerances of what lme4 gives: its estimates come within 1e-6 at the optimizer's tight stop, its standard errors from
// finite differences within 1e-4 of themselves, its log-likelihoods within 1e-7.
const (
	estimateTol = 1e-6
	stdErrorTol = 1e-4
	ratioTol    = 1e-6
)

// What stands beside the headline, for an invented season, against lme4's joint Laplace fits of the same models.
func TestSeasonAgainstMixedModelPackage(t *testing.T) {
	t.Parallel()
	var want struct {
		Analysed   int64
		NotSure    int64 `json:"not_sure"`
		Main       fitted
		Order      fitted
		CarryOver  fitted `json:"carry_over"`
		Drift      fitted
		Thirds     fitted
		Columns    map[string]ratio
		Levels     map[string]fitted
		PositionBy map[string]ratio `json:"position_by"`
	}
	stattest.Load(t, "analysis/season.json", &want)
	in := scenario(t, "season.csv", "species", "presentation")
	r := mustRun(t, in, analysis.Settings{Points: 1})
	if r.Counts.Analysed != want.Analysed || r.TippingPoint == nil || r.TippingPoint.NotSure != want.NotSure {
		t.Fatalf("analysed %d, not sure %+v", r.Counts.Analysed, r.TippingPoint)
	}
	is(t, "log_odds", r.MixedModel.LogOdds, want.Main.Estimate["(Intercept)"], estimateTol)
	is(t, "log_likelihood", r.MixedModel.LogLikelihood, want.Main.LogLik, 1e-6)

	stattest.Within(t, "order", r.OrderEffect.LogOdds, want.Order.Estimate["half"], estimateTol)
	stattest.Relative(t, "order's standard error", r.OrderEffect.StdError, want.Order.StdError["half"], stdErrorTol)
	stattest.Within(t, "carry-over", r.OrderEffect.CarryOver.LogOdds, want.CarryOver.Estimate["c:half"], estimateTol)
	stattest.Relative(t, "carry-over's standard error", r.OrderEffect.CarryOver.StdError, want.CarryOver.StdError["c:half"], stdErrorTol)

	is(t, "per_week", r.Drift.PerWeek, want.Drift.Estimate["week"], estimateTol)
	is(t, "drift low", r.Drift.Low, want.Drift.Estimate["week"]-t975[7]*want.Drift.StdError["week"], 1e-5)
	if len(r.Drift.Thirds) != 3 {
		t.Fatalf("thirds %+v", r.Drift.Thirds)
	}
	for _, third := range r.Drift.Thirds {
		is(t, third.Label+" third", third.LogOdds, want.Thirds.Estimate["third"+third.Label], estimateTol)
	}
	if len(r.Subgroups) != len(want.Columns) || !r.Subgroups[0].Named || !r.Subgroups[1].Named || r.Subgroups[2].Named {
		t.Fatalf("subgroups %+v", r.Subgroups)
	}
	for _, g := range r.Subgroups {
		test := want.Columns[g.Column]
		is(t, g.Column+" statistic", g.Statistic, test.Statistic, ratioTol)
		is(t, g.Column+" p", g.P, test.P, ratioTol)
		if *g.DF != test.DF {
			t.Errorf("%s: %d degrees of freedom, want %d", g.Column, *g.DF, test.DF)
		}
	}
	for _, p := range r.PositionBy {
		is(t, "position effect by "+p.Column, p.P, want.PositionBy[p.Column].P, ratioTol)
	}
	checkShrunken(t, r, want.Levels)
}

// checkShrunken holds the levels' shrunken θ to the formula at lme4's own θ and the τ² that stands in the result, and τ² to
// the equation that REML solves: the slope of the restricted likelihood is 0 there.
func checkShrunken(t *testing.T, r analysis.Result, levels map[string]fitted) {
	t.Helper()
	checked := 0
	for _, g := range r.Subgroups {
		fit, ok := levels[g.Column]
		if !ok {
			continue
		}
		var sum, mean, tau2 float64 = 0, 0, *g.Tau2
		weight := func(level string) float64 { s := fit.StdError[g.Column+level]; return 1 / (s*s + tau2) }
		for _, l := range g.Levels {
			sum += weight(l.Level)
			mean += weight(l.Level) * fit.Estimate[g.Column+l.Level]
		}
		mean /= sum
		slope := 0.0
		for _, l := range g.Levels {
			w, y := weight(l.Level), fit.Estimate[g.Column+l.Level]
			slope += w*w*(y-mean)*(y-mean) - w + w*w/sum
			is(t, g.Column+" "+l.Level, l.LogOdds, mean+tau2*w*(y-mean), 2e-5) // τ² carries the standard errors' error
			checked++
		}
		if tau2 > 0 {
			stattest.Absolute(t, g.Column+": slope of the restricted likelihood", slope/sum, 0, 1e-3)
		}
	}
	if checked != 6 {
		t.Errorf("%d levels checked", checked)
	}
}

// The headline's profile limits against refits by lme4 in which θ is held, and the cut for few anglers computed from its formula.
func TestHeadlineProfileAgainstMixedModelPackage(t *testing.T) {
	t.Parallel()
	var want struct {
		Profile struct{ Anglers, Theta, Low, High, P float64 }
	}
	stattest.Load(t, "analysis/season.json", &want)
	r := mustRun(t, scenario(t, "season.csv"), analysis.Settings{Vary: analysis.VaryPatternPosition, Points: 1})
	h, p := r.Headline, want.Profile
	if h.Method != analysis.MixedModelProfile || !strings.Contains(h.Reason, "7.94 anglers") {
		t.Errorf("%s: %s", h.Method, h.Reason)
	}
	is(t, "log_odds", h.LogOdds, p.Theta, estimateTol)
	is(t, "low", h.Low, p.Low, estimateTol)
	is(t, "high", h.High, p.High, estimateTol)
	is(t, "p", h.P, p.P, estimateTol)
	is(t, "df", h.DF, p.Anglers-1, 1e-9)
}

// A row of the sensitivity analysis is the headline of a table in which only its fish stand: each case written out anew.
func TestSensitivityRowsAreRunsOfTheirOwn(t *testing.T) {
	t.Parallel()
	in := scenario(t, "season.csv")
	settings := analysis.Settings{Vary: analysis.VaryPatternPosition, Points: 7}
	r := mustRun(t, in, settings)
	table := func(change func(t trial.Tally) trial.Tally) []trial.Tally {
		var tallies []trial.Tally
		for _, tally := range in.Tallies {
			if tally = change(tally); tally.Exclusion == trial.Analysed {
				tallies = append(tallies, tally)
			}
		}
		return tallies
	}
	counted := func(reason trial.Exclusion) func(trial.Tally) trial.Tally {
		return func(tally trial.Tally) trial.Tally {
			if tally.Exclusion == reason && (tally.Taken == trial.TookTest || tally.Taken == trial.TookControl) {
				tally.Exclusion = trial.Analysed
			}
			return tally
		}
	}
	taken := func(as trial.Taken) func(trial.Tally) trial.Tally {
		return func(tally trial.Tally) trial.Tally {
			if tally.Taken == trial.TookUnknown && tally.Exclusion == trial.NotSure {
				tally.Taken, tally.Exclusion = as, trial.Analysed
			}
			return tally
		}
	}
	left := func(unless func(trial.Tally) bool) func(trial.Tally) trial.Tally {
		return func(tally trial.Tally) trial.Tally {
			if !unless(tally) {
				tally.Exclusion = trial.Void
			}
			return tally
		}
	}
	checked := 0
	for _, row := range r.Sensitivity {
		var change func(trial.Tally) trial.Tally
		switch row.Case {
		case analysis.CaseMain:
			change = func(tally trial.Tally) trial.Tally { return tally }
		case analysis.CaseNotSureTest:
			change = taken(trial.TookTest)
		case analysis.CaseNotSureControl:
			change = taken(trial.TookControl)
		case analysis.CaseWithLost:
			change = counted(trial.ExcludeLost)
		case analysis.CaseWithFoulHooked:
			change = counted(trial.FoulHooked)
		case analysis.CaseWithDoubles:
			change = counted(trial.Double)
		case analysis.CaseOnlyFly:
			change = left(func(tally trial.Tally) bool { return tally.Fly == row.Of })
		case analysis.CaseWithoutAngler:
			change = left(func(tally trial.Tally) bool { return tally.Angler != row.Of })
		default:
			t.Fatalf("case %s is not checked", row.Case)
		}
		other := in
		other.Tallies = table(change)
		h := mustRun(t, other, settings)
		if h.Counts.Analysed != row.Analysed || row.Reason != "" || h.Headline.Method != r.Headline.Method {
			t.Errorf("%s %s: %d fish, want %d; %s", row.Case, row.Of, row.Analysed, h.Counts.Analysed, row.Reason)
		}
		is(t, string(row.Case)+" "+row.Of, row.LogOdds, *h.Headline.LogOdds, 1e-9)
		is(t, string(row.Case)+" "+row.Of+" low", row.Low, *h.Headline.Low, 1e-9)
		is(t, string(row.Case)+" "+row.Of+" high", row.High, *h.Headline.High, 1e-9)
		checked++
	}
	if checked != 6+2+8 || len(r.Unchanged) != 1 || r.Unchanged[0] != analysis.CaseWithSwapping {
		t.Errorf("%d rows, unchanged %v", checked, r.Unchanged)
	}
}
