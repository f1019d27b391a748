package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

func exampleOf(t testing.TB, name string) example {
	t.Helper()
	for _, x := range examples(t) {
		if x.name == name {
			return x
		}
	}
	t.Fatalf("there is no example %q", name)
	return example{}
}

// across reads a place back to a share, by the scale of the rows.
func across(t *testing.T, place string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(strings.TrimSuffix(place, "%"), 64)
	if err != nil {
		t.Fatal(err)
	}
	return (x - rowsScale.from) / (rowsScale.to - rowsScale.from)
}

// nearby allows for places being set to a hundredth of a percent of the width.
func nearby(a, b float64) bool { return math.Abs(a-b) < 3e-4 }

func logistic(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

// Every row of the sensitivity figure stands in the order of the result, its marks at the logistic function of the result's numbers.
func TestSensitivityRowsAreTheResults(t *testing.T) {
	for _, name := range []string{"club", "planned counts", "a table with halves, weeks and species"} {
		x := exampleOf(t, name)
		f := sensitivityFigure(x.result, names{})
		if got, want := across(t, f.MainAt), *x.result.Headline.Share; !nearby(got, want) {
			t.Errorf("%s: the main line is at %v, want %v", name, got, want)
		}
		rows := x.result.Sensitivity[1:]
		if len(f.Rows) != len(rows) {
			t.Fatalf("%s: %d rows for %d cases", name, len(f.Rows), len(rows))
		}
		last := 0
		for i, c := range rows {
			row := f.Rows[i]
			if row.Y <= last || row.Y > f.Bottom {
				t.Errorf("%s: row %d lies at %d, the one before at %d", name, i, row.Y, last)
			}
			last = row.Y
			if c.LogOdds == nil {
				continue
			}
			if got := across(t, row.Knot); !nearby(got, logistic(*c.LogOdds)) {
				t.Errorf("%s: %s is drawn at %v, want %v", name, c.Case, got, logistic(*c.LogOdds))
			}
			if got := across(t, row.Stretch.Low); !nearby(got, logistic(*c.Low)) {
				t.Errorf("%s: the low limit of %s is drawn at %v", name, c.Case, got)
			}
			if got := across(t, row.Stretch.High); !nearby(got, logistic(*c.High)) {
				t.Errorf("%s: the high limit of %s is drawn at %v", name, c.Case, got)
			}
		}
	}
}

// Levels keep the result's order, which is never that of the effect.
func TestGroupsKeepTheirOrder(t *testing.T) {
	x := exampleOf(t, "planned counts")
	for _, named := range []bool{true, false} {
		var want []string
		for _, g := range x.result.Subgroups {
			if g.Named == named {
				for _, l := range g.Levels {
					want = append(want, ColumnName(g.Column)+": "+levelName(l.Level))
				}
			}
		}
		f := subgroupFigure(x.result, names{}, named)
		for i, row := range f.Table {
			if row.What != want[i] {
				t.Errorf("row %d is %q, want %q", i, row.What, want[i])
			}
		}
	}
}

// The posts of a planned count stand at ±z standard errors from even, on the share scale (Jennison and Turnbull 2000, section 2.3).
func TestBoundaryOfALook(t *testing.T) {
	low, high := boundaryShares(analysis.MonitoredLook{BoundaryZ: at(2.963), Information: at(16)})
	near(t, "low", low, logistic(-2.963/4), 1e-12)
	near(t, "high", high, logistic(2.963/4), 1e-12)
	if low, _ := boundaryShares(analysis.MonitoredLook{BoundaryZ: at(0), Information: at(16)}); low != nil {
		t.Error("a count with nothing to spend has a boundary")
	}
	f := looksFigure(exampleOf(t, "planned counts").result, names{})
	if len(f.Rows) != 3 || len(f.Table) != 3 {
		t.Fatalf("%d rows for 3 planned counts", len(f.Rows))
	}
	if looksFigure(exampleOf(t, "at any time").result, names{}) != nil {
		t.Error("a trial without planned counts has a figure of them")
	}
}

// The steps of the sequence and of the evidence are the result's, week by week, the scale of the evidence a logarithm.
func TestTimeFigureIsTheResults(t *testing.T) {
	x := exampleOf(t, "at any time")
	path := x.result.Monitoring.Evidence.Path
	f := newTimeFigure(x.result, names{})
	if len(f.Steps) != len(path) {
		t.Fatalf("%d steps for %d weeks", len(f.Steps), len(path))
	}
	if s := f.Steps[0]; s.Top != timeTop || s.Bottom != timeBottom {
		t.Errorf("before the first round all of 0 to 100 is open, but the band runs from %v to %v", s.Top, s.Bottom)
	}
	for i, p := range path[:len(path)-1] {
		s := f.Steps[i+1]
		for what, c := range map[string][2]float64{"high": {s.Top, *p.SequenceShareHigh}, "low": {s.Bottom, *p.SequenceShareLow}} {
			if want := timeBottom - (timeBottom-timeTop)*c[1]; math.Abs(c[0]-want) > .051 { // set to a tenth of a pixel
				t.Errorf("week %s: the %s limit is drawn at %v, want %v", p.Week, what, c[0], want)
			}
		}
	}
	height := func(label string) float64 {
		for _, tick := range f.Evidence.Ticks {
			if tick.Text == label {
				return float64(tick.Y)
			}
		}
		t.Fatalf("no tick %q", label)
		return 0
	}
	tenfold := height("1") - height("10")
	want := height("1") - tenfold*math.Log10(*path[len(path)-1].EValue)
	if math.Abs(f.Evidence.KnotY-want) > 4 { // ticks are set to whole pixels, and the knot lies several tens above 1
		t.Errorf("the evidence ends at %v, want %v", f.Evidence.KnotY, want)
	}
	if want := height("1") - tenfold*math.Log10(20); math.Abs(float64(f.Evidence.Mark)-want) > 2 {
		t.Errorf("the mark is at %v, want %v", f.Evidence.Mark, want)
	}
}

// Calendar of ISO 8601: 2020-W53 begins on 28 December 2020, 2026-W01 on 29 December 2025.
func TestWeeks(t *testing.T) {
	for week, want := range map[string]string{"2020-W53": "28 December 2020", "2026-W01": "29 December 2025", "2026-W36": "31 August 2026", "soon": "soon"} {
		if got := weekName(week); got != want {
			t.Errorf("%s is said as %q, want %q", week, got, want)
		}
	}
	axis, ok := newWeekAxis([]string{"2026-W02", "2025-W51"})
	if !ok || axis.weeks != 4 {
		t.Fatalf("%d weeks from 2025-W51 to 2026-W02, want 4", axis.weeks)
	}
	if part, _ := axis.at("2026-W01", .5); part != 2.5/4 {
		t.Errorf("the middle of the third of four weeks is at %v", part)
	}
	if _, ok := newWeekAxis([]string{"never"}); ok {
		t.Error("an axis was made of no week")
	}
}

// The verdict's change is said with the shares of the points on either side of it.
func TestTippingWords(t *testing.T) {
	n := names{Test: "A", Control: "B"}
	points := []analysis.TippingShift{{Delta: -1, Test: .3}, {Delta: 0, Test: .5}, {Delta: 1, Test: .7}}
	r := analysis.Result{TippingPoint: &analysis.TippingPoint{NotSure: 9, Points: points}}
	if said := tipping(r, n); !strings.Contains(said, "from 30 to 70 of 100") || !strings.Contains(said, "would stand") {
		t.Errorf("a verdict that stands is said as %q", said)
	}
	for delta, want := range map[float64]string{-.4: "fewer than 50 of 100", -1: "fewer than 50 of 100", .4: "more than 50 of 100"} {
		r.TippingPoint.Delta, r.TippingPoint.Verdict = at(delta), analysis.NotSettled
		if said := tipping(r, n); !strings.Contains(said, want) || !strings.Contains(said, "not enough to tell") {
			t.Errorf("%v is said as %q, want %q", delta, said, want)
		}
	}
}

// Answers and limits without bound stand at the ends of the line; nothing known draws nothing.
func TestAnswersWithoutBound(t *testing.T) {
	for _, c := range []struct {
		a    answerOf
		want string
	}{
		{answerOf{at(0), at(-1), at(1)}, "50 of 100 (27 to 73)"},
		{answerOf{nil, at(1), nil}, "100 of 100 (73 to 100)"},
		{answerOf{nil, nil, at(-1)}, "0 of 100 (0 to 27)"},
		{answerOf{at(0), nil, at(1)}, "50 of 100 (0 to 73)"},
		{answerOf{}, Missing},
	} {
		if got := c.a.text(); got != c.want {
			t.Errorf("%v is %q, want %q", fmt.Sprint(c.a), got, c.want)
		}
	}
}

// What would settle it is said once, in the answer sentence.
func TestMoreFishIsSaidOnce(t *testing.T) {
	x := exampleOf(t, "club")
	if x.result.Verdict.More == nil {
		t.Fatal("the example is settled")
	}
	if n := strings.Count(parse(t, render(t, x.result, x.about)).text(), "would settle it"); n != 1 {
		t.Errorf("it is said %d times", n)
	}
}

// Compliance counts what the effort and the result hold.
func TestCompliance(t *testing.T) {
	r := analysis.Result{AsAllocated: &analysis.AsAllocated{Analysed: 200, Changed: 6}}
	r.Counts.Catches, r.Counts.Excluded = 250, map[trial.Exclusion]int64{trial.NotConfirmed: 5}
	var said []string
	for _, f := range compliance(r, About{Effort: &trial.Effort{Enrolled: 9, Outings: 40, BlankOutings: 2, Blocks: 80, FinishedBlocks: 60, Deviations: 3}}) {
		said = append(said, f.What+": "+f.Value)
	}
	all := strings.Join(said, "; ")
	for _, want := range []string{"60 of 80 rounds opened, 75 of 100", "2 of 40 outings", "6 of 200 fish", "5 of 250 fish recorded, 2 of 100"} {
		if !strings.Contains(all, want) {
			t.Errorf("%q lacks %q", all, want)
		}
	}
}
