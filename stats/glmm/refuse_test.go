package glmm

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

var kinds = []error{
	ErrInput, ErrPoints, ErrNoCatches, ErrOneAngler, ErrOneArrangement, ErrNoVariation,
	ErrNotIdentified, ErrSeparation, ErrRunaway, ErrNotConverged,
}

// kindOf is the one sentinel err wraps; nil if there is none or more than one.
func kindOf(err error) error {
	var found error
	for _, k := range kinds {
		if errors.Is(err, k) {
			if found != nil {
				return nil
			}
			found = k
		}
	}
	return found
}

func TestRefusals(t *testing.T) {
	pp := Options{Vary: VaryPatternPosition}
	ordinary := []Cell{{0, 0, true, 5, 3}, {0, 0, false, 4, 4}, {1, 0, true, 6, 2}, {1, 0, false, 3, 5}}
	for _, c := range []struct {
		name    string
		cells   []Cell
		options Options
		want    error
		text    string
	}{
		{"nothing", nil, pp, ErrNoCatches, "no angler"},
		{"blank outings", []Cell{{0, 0, true, 0, 0}, {1, 0, false, 0, 0}}, pp, ErrNoCatches, "no angler"},
		{"negative", []Cell{{0, 0, true, -1, 2}}, pp, ErrInput, "counts of 0 or more"},
		{"one angler", []Cell{{3, 0, true, 5, 3}, {3, 1, false, 4, 4}}, pp, ErrOneAngler, "from 1"},
		{"one arrangement", []Cell{{0, 0, true, 5, 3}, {1, 0, true, 4, 4}}, pp, ErrOneArrangement, "no fish with the control pattern lower"},
		{"all test", []Cell{{0, 0, true, 5, 0}, {1, 0, false, 4, 0}}, pp, ErrNoVariation, "took the test pattern"},
		{"all control", []Cell{{0, 0, true, 0, 5}, {1, 0, false, 0, 4}}, pp, ErrNoVariation, "took the control pattern"},
		{"one way round always test", []Cell{{0, 0, true, 5, 0}, {0, 0, false, 2, 2}, {1, 0, true, 4, 0}, {1, 0, false, 1, 3}}, pp, ErrSeparation, "with the test pattern lower all 9 fish took the test pattern"},
		{"an arrangement each", []Cell{{0, 0, true, 5, 3}, {1, 0, false, 4, 4}, {2, 0, true, 2, 4}}, pp, ErrNotIdentified, "by pattern and by position"},
		{"an outing each", ordinary, Options{Vary: VaryPatternOuting}, ErrNotIdentified, "by pattern and by outing"},
		{"a fish each", []Cell{{0, 0, true, 1, 0}, {1, 0, true, 0, 1}, {2, 0, false, 1, 0}, {3, 0, false, 0, 1}}, Options{Vary: VaryPattern}, ErrNotIdentified, "no two fish"},
		{"anglers who take one pattern only", []Cell{{0, 0, true, 90, 0}, {0, 0, false, 80, 0}, {1, 0, true, 0, 70}, {1, 0, false, 0, 85}, {2, 0, true, 60, 0}, {2, 0, false, 90, 0}, {3, 0, true, 0, 80}, {3, 0, false, 0, 70}}, Options{Vary: VaryPattern, Points: 15}, ErrRunaway, "spreads by more than 10"},
		{"correlated without positions", ordinary, Options{Vary: VaryPattern, Correlated: true}, ErrInput, "no second effect"},
		{"counts", ordinary, Options{Family: Poisson}, ErrInput, "see FitRates"},
		{"too many points", ordinary, Options{Vary: VaryPattern, Points: 201}, ErrPoints, "1 to 200"},
		{"negative points", ordinary, Options{Vary: VaryPattern, Points: -1}, ErrPoints, "1 to 200"},
		{"no such model", ordinary, Options{Vary: 9}, ErrInput, "not a model"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, err := FitTrial(c.cells, c.options)
			if r != nil || kindOf(err) != c.want {
				t.Fatalf("result %v, error %v", r, err)
			}
			if !strings.Contains(err.Error(), c.text) {
				t.Errorf("message %q does not say %q", err, c.text)
			}
		})
	}
}

func TestRefusedRows(t *testing.T) {
	good := []Row{{0, 0, 1, 3, []float64{1}, 1, 0, 0}, {0, 1, 2, 3, []float64{1}, 1, 0, 0}, {1, 0, 1, 4, []float64{1}, 1, 0, 0}}
	if _, err := Fit(good, Options{Vary: VaryPattern, Points: 1}); err != nil {
		t.Fatal(err)
	}
	for name, bad := range map[string]Row{
		"above total":   {0, 0, 4, 3, []float64{1}, 1, 0, 0},
		"other width":   {0, 0, 1, 3, []float64{1, 2}, 1, 0, 0},
		"no columns":    {0, 0, 1, 3, nil, 1, 0, 0},
		"NaN column":    {0, 0, 1, 3, []float64{math.NaN()}, 1, 0, 0},
		"infinite load": {0, 0, 1, 3, []float64{1}, math.Inf(1), 0, 0},
		"too many":      {0, 0, 1, math.MaxInt, []float64{1}, 1, 0, 0},
	} {
		if r, err := Fit(append(good[:3:3], bad), Options{Vary: VaryPattern, Points: 1}); r != nil || kindOf(err) != ErrInput {
			t.Errorf("%s: %v, %v", name, r, err)
		}
	}
	dependent := []Row{{0, 0, 1, 3, []float64{1, 2}, 1, 0, 0}, {0, 0, 2, 3, []float64{2, 4}, 1, 0, 0}, {1, 0, 1, 4, []float64{1, 2}, 1, 0, 0}}
	if _, err := Fit(dependent, Options{Vary: VaryPattern, Points: 1}); kindOf(err) != ErrNotIdentified {
		t.Errorf("dependent columns: %v", err)
	}
}

func TestVaryText(t *testing.T) {
	for v := range varyNames {
		if got, err := ParseVary(v.String()); err != nil || got != v {
			t.Errorf("%v: %v, %v", v, got, err)
		}
	}
	if _, err := ParseVary("position"); kindOf(err) != ErrInput {
		t.Errorf("position: %v", err)
	}
}

// Whatever the counts, up to a million in a cell: a finite result or one sentinel.
func TestAnyCounts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		most := rapid.SampledFrom([]int{1, 3, 10, 100, 10_000, 1_000_000}).Draw(t, "most")
		count := rapid.OneOf(rapid.Just(0), rapid.IntRange(0, most), rapid.IntRange(0, min(most, 5)))
		anglers := rapid.IntRange(0, 6).Draw(t, "anglers")
		var cells []Cell
		for a := range anglers {
			for o := range rapid.IntRange(1, 3).Draw(t, "outings") {
				for _, lower := range []bool{true, false} {
					cells = append(cells, Cell{a, o, lower, count.Draw(t, "test"), count.Draw(t, "control")})
				}
			}
		}
		options := rapid.SampledFrom(everyModel).Draw(t, "model")
		r, err := FitTrial(cells, options)
		if err != nil {
			if r != nil || kindOf(err) == nil {
				t.Fatalf("result %v, error %v", r, err)
			}
			return
		}
		if bad := notFinite(reflect.ValueOf(*r), ""); bad != "" {
			t.Fatalf("%s: %+v", bad, r)
		}
		if share := r.AverageShare(); !(share > 0 && share < 1) || !(r.ThetaSE > 0) || !(r.BetaSE > 0) {
			t.Fatalf("average share %v: %+v", share, r)
		}
		if r.Correlation != nil && !(math.Abs(*r.Correlation) <= 1) {
			t.Fatalf("correlation %v", *r.Correlation)
		}
		// The profile encloses the estimate, where it can be followed at all.
		limits, err := r.ProfileTheta(.95)
		checkLimits(t, limits, err, r.Theta)
		limits, err = r.ProfileSD(TermPattern, .95)
		checkLimits(t, limits, err, r.SDPattern)
		if r.Vary.Position() {
			limits, err = r.ProfileSD(TermPosition, .95)
			checkLimits(t, limits, err, r.SDPosition)
		}
		b, err := r.BoundaryTest(TermPattern)
		if (err != nil && kindOf(err) == nil) || !(b.Statistic >= 0) || !(b.P >= 0 && b.P <= 1) {
			t.Fatalf("boundary test %+v, %v", b, err)
		}
	})
}

func checkLimits(t *rapid.T, limits Limits, err error, estimate float64) {
	switch {
	case err != nil && kindOf(err) == nil:
		t.Fatalf("profile: %v", err)
	case err != nil:
	case limits.Low != nil && !(*limits.Low <= estimate && !math.IsInf(*limits.Low, 0)),
		limits.High != nil && !(*limits.High >= estimate && !math.IsInf(*limits.High, 0)):
		t.Fatalf("limits %v about %v", limits, estimate)
	}
}

// notFinite names the first float in v that is NaN or infinite.
func notFinite(v reflect.Value, path string) string {
	switch v.Kind() {
	case reflect.Float64:
		if math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0) {
			return path
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if bad := notFinite(v.Field(i), path+"."+v.Type().Field(i).Name); bad != "" {
				return bad
			}
		}
	case reflect.Slice:
		for i := range v.Len() {
			if bad := notFinite(v.Index(i), fmt.Sprintf("%s[%d]", path, i)); bad != "" {
				return bad
			}
		}
	}
	return ""
}
