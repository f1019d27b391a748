package glmm

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"evenrig/stats/simulate"
	"evenrig/stats/stattest"
)

// outingCells reads the invented trials with outings.
func outingCells(t *testing.T, name string) []Cell {
	var ref struct {
		Boundary outingData `json:"boundary"`
		Interior outingData `json:"interior"`
	}
	stattest.Load(t, "glmm/glmm_outing.json", &ref)
	return map[string]outingData{"boundary": ref.Boundary, "interior": ref.Interior}[name].cells()
}

// Profile limits against those from the deviance function of another program, known to
// about 1e-7.
func TestProfileLimits(t *testing.T) {
	type limits struct {
		Theta    [2]float64  `json:"theta"`
		Pattern  [2]float64  `json:"sd_pattern"`
		Position *[2]float64 `json:"sd_position"`
		Outing   *[2]float64 `json:"sd_outing"`
	}
	var ref struct {
		D2Pattern         limits `json:"d2_pattern"`
		D2PatternPosition limits `json:"d2_pattern_position"`
		Boundary          limits `json:"outing_boundary"`
		Interior          limits `json:"outing_interior"`
		Correlated        limits `json:"beitler_landis_correlated"`
	}
	stattest.Load(t, "glmm/glmm_profile.json", &ref)
	var clinics binomialReference
	stattest.Load(t, "glmm/glmm_binomial.json", &clinics)
	rig, _ := centreCells(clinics.BeitlerLandisRig.Data)
	check := func(t *testing.T, name string, got Limits, err error, want [2]float64) {
		t.Helper()
		if err != nil || got.Low == nil || got.High == nil {
			t.Fatalf("%s: %v, %v", name, got, err)
		}
		stattest.Absolute(t, name+" low", *got.Low, want[0], 1e-6)
		stattest.Absolute(t, name+" high", *got.High, want[1], 1e-6)
		if want[0] == 0 && *got.Low != 0 {
			t.Errorf("%s: low is %v, not exactly 0", name, *got.Low)
		}
	}
	for name, c := range map[string]struct {
		cells   []Cell
		options Options
		want    limits
	}{
		"D2 u":               {workedD2(), Options{Vary: VaryPattern, Points: 1}, ref.D2Pattern},
		"D2 u v":             {workedD2(), Options{Points: 1}, ref.D2PatternPosition},
		"outings, boundary":  {outingCells(t, "boundary"), Options{Vary: VaryPatternPositionOuting, Points: 1}, ref.Boundary},
		"outings, interior":  {outingCells(t, "interior"), Options{Vary: VaryPatternPositionOuting, Points: 1}, ref.Interior},
		"clinics correlated": {rig, Options{Points: 1, Correlated: true}, ref.Correlated},
	} {
		t.Run(name, func(t *testing.T) {
			r := mustFit(t, c.cells, c.options)
			got, err := r.ProfileTheta(.95)
			check(t, "theta", got, err, c.want.Theta)
			got, err = r.ProfileSD(TermPattern, .95)
			check(t, "sd_pattern", got, err, c.want.Pattern)
			got.High, err = r.SDUpper(TermPattern, .95)
			check(t, "sd_pattern, upper limit alone", got, err, c.want.Pattern)
			if c.want.Position != nil {
				got, err = r.ProfileSD(TermPosition, .95)
				check(t, "sd_position", got, err, *c.want.Position)
			}
			if c.want.Outing != nil {
				got, err = r.ProfileSD(TermOuting, .95)
				check(t, "sd_outing", got, err, *c.want.Outing)
			}
		})
	}
}

// By definition a limit of θ loses half the chi-square quantile of log-likelihood,
// whatever the model and the points; the maximum over the rest is searched here over every
// face from scratch.
func TestProfileLimitsByDefinition(t *testing.T) {
	cells := inventedCells(8, 10, 3, .7, .6, .6)
	for _, o := range append(everyModel, Options{Points: 5, Correlated: true}) {
		r := mustFit(t, cells, o)
		for level, quantile := range map[float64]float64{.95: 3.841459, .5: .454936} { // χ²(1) as tabled (Fisher & Yates 1963, table IV; six digits from memory)
			limits, err := r.ProfileTheta(level)
			if err != nil {
				t.Fatal(err)
			}
			for _, theta := range []float64{*limits.Low, *limits.High} {
				p := r.inference.evaluator.problem
				e := newEvaluator(p, r.Points)
				best := math.Inf(-1)
				for _, f := range p.faces([]float64{theta, r.Beta}) {
					for _, s := range f.starts {
						at := e.search(s, f.free[1:], math.Inf(-1))
						best = max(best, at.value)
					}
				}
				stattest.Absolute(t, fmt.Sprint(o.Vary, " deviance"), 2*(r.LogLikelihood-best), quantile, 2e-6)
			}
		}
	}
}

// Two anglers say next to nothing against any SD of u: at a level of 1 - 10⁻⁶ the profile
// does not fall far enough, and no upper limit is given.
func TestUnboundedSD(t *testing.T) {
	cells := []Cell{{0, 0, true, 9, 3}, {0, 0, false, 8, 4}, {1, 0, true, 2, 10}, {1, 0, false, 4, 8}}
	r := mustFit(t, cells, Options{Vary: VaryPattern})
	limits, err := r.ProfileSD(TermPattern, 1-1e-6)
	if err != nil {
		t.Fatal(err)
	}
	if limits.High != nil {
		t.Errorf("upper limit %v", *limits.High)
	}
	if limits.Low == nil {
		t.Error("no lower limit")
	}
}

func TestProfileRefuses(t *testing.T) {
	r := mustFit(t, workedD2(), Options{Vary: VaryPattern, Points: 1})
	for _, level := range []float64{0, 1, -.5, math.NaN()} {
		if _, err := r.ProfileTheta(level); kindOf(err) != ErrInput {
			t.Errorf("level %v: %v", level, err)
		}
	}
	for _, term := range []Term{TermPosition, TermOuting, TermLevel, TermDispersion, 0} {
		if _, err := r.ProfileSD(term, .95); kindOf(err) != ErrInput {
			t.Errorf("%v: %v", term, err)
		}
		if _, err := r.BoundaryTest(term); kindOf(err) != ErrInput {
			t.Errorf("%v: %v", term, err)
		}
	}
	if _, err := r.ParametricBootstrap(context.Background(), 0, 1, 1); kindOf(err) != ErrInput {
		t.Errorf("no draws: %v", err)
	}
}

// The mixtures' 5 % points are 2.706 and 5.139 (Self & Liang 1987; Stram & Lee 1994), three
// decimals: up to .0005 times a density of .04 off. A statistic of 0 has p = 1.
func TestMixture(t *testing.T) {
	stattest.Absolute(t, "variance", mixtureTail(2.706, false), .05, 2e-5)
	stattest.Absolute(t, "variance at 3.841", mixtureTail(3.841, false), .025, 2e-5)
	stattest.Absolute(t, "variance and correlation", mixtureTail(5.139, true), .05, 2e-5)
	if mixtureTail(0, false) != 1 || mixtureTail(0, true) != 1 {
		t.Error("p of 0")
	}
}

// The herds of Lesnoff et al. (2004): R's lme4 at its default settings gives a deviance of
// 184.0531 and a likelihood ratio of 14.00527 for their variation, thus 198.05837 without;
// its fit stopped .0005 short of the minimum, 184.0525637 (glmm_binomial.json).
func TestBoundaryCbpp(t *testing.T) {
	rows, _ := cbppRows(t)
	m, _, err := fit(rows, Options{Vary: VaryPattern, Points: 1})
	if err != nil {
		t.Fatal(err)
	}
	f := &inference{m, 0, map[Term]int{TermPattern: atPattern}}
	b, err := f.boundary(TermPattern)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "statistic", b.Statistic, 198.05837-184.0525637, 5e-5)
	stattest.Relative(t, "p", b.P, 9.115e-5, 5e-4)
}

// An SD whose estimate is 0 has statistic 0 and p = 1; the fit without a term is
// the fit of the smaller model.
func TestBoundaryOfTerms(t *testing.T) {
	r := mustFit(t, workedD2(), Options{Points: 7})
	b, err := r.BoundaryTest(TermPosition)
	if err != nil || b.Statistic != 0 || b.P != 1 {
		t.Errorf("position: %+v, %v", b, err)
	}
	cells := inventedCells(8, 10, 4, .7, .6, .6)
	whole := mustFit(t, cells, Options{Vary: VaryPatternPositionOuting, Points: 3})
	less := mustFit(t, cells, Options{Vary: VaryPatternPosition, Points: 3})
	b, err = whole.BoundaryTest(TermOuting)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "statistic", b.Statistic, 2*(whole.LogLikelihood-less.LogLikelihood), 1e-7)
	both := mustFit(t, cells, Options{Points: 3, Correlated: true})
	alone := mustFit(t, cells, Options{Vary: VaryPattern, Points: 3})
	b, err = both.BoundaryTest(TermPosition)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "with its correlation", b.Statistic, 2*(both.LogLikelihood-alone.LogLikelihood), 1e-7)
	stattest.Absolute(t, "p", b.P, mixtureTail(b.Statistic, true), 1e-12)
}

// Seed and draws fix the answer, whatever the workers; another seed differs; a context
// that ends ends it.
func TestBootstrapIsReproducible(t *testing.T) {
	r := mustFit(t, workedD2(), Options{Points: 1})
	ctx := t.Context()
	one, err := r.ParametricBootstrap(ctx, 60, 5, 1)
	if err != nil {
		t.Fatal(err)
	}
	four, err := r.ParametricBootstrap(ctx, 60, 5, 4)
	if err != nil {
		t.Fatal(err)
	}
	other, err := r.ParametricBootstrap(ctx, 60, 6, 4)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(one.T, four.T) || one.Failed != four.Failed {
		t.Error("the answer depends on the workers")
	}
	if slices.Equal(one.T, other.T) {
		t.Error("the answer does not depend on the seed")
	}
	b1, err1 := r.BootstrapBoundary(ctx, TermPattern, 40, 5, 1)
	b3, err3 := r.BootstrapBoundary(ctx, TermPattern, 40, 5, 3)
	if err1 != nil || err3 != nil || b1 != b3 {
		t.Errorf("%+v %v, %+v %v", b1, err1, b3, err3)
	}
	ended, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := r.ParametricBootstrap(ended, 1000, 1, 2); !errors.Is(err, context.Canceled) {
		t.Errorf("ended context: %v", err)
	}
}

// Limits and p-value agree: 0 lies outside the limits of level 1 - p and inside those
// of any higher level. Failures widen.
func TestBootstrapLimits(t *testing.T) {
	b := Bootstrap{Theta: 1, StdErr: .5, T: []float64{-3, -1.5, -.2, .1, .4, 1, 1.2, 1.9, 2.5}}
	stattest.Absolute(t, "p", b.P(), .3, 1e-15) // |T| ≥ 2 twice, and the data: 3 of 10
	l, err := b.Limits(.8)                      // the 8th of the sorted |T|: 2.5
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "low", *l.Low, 1-.5*2.5, 1e-15)
	stattest.Absolute(t, "high", *l.High, 1+.5*2.5, 1e-15)
	if l, _ := b.Limits(.95); l.Low != nil || l.High != nil {
		t.Error("nine refits have no .95 limits")
	}
	b.Failed = 10
	if l, _ := b.Limits(.6); l.Low != nil {
		t.Error("failures are larger than any")
	}
	if _, err := b.Limits(1); kindOf(err) != ErrInput {
		t.Error("level 1")
	}
}

// Simulated counts have the moments of the model: over many draws the mean of a cell's
// share is the average share, its variance that of the effects and the binomial.
func TestSimulatedCounts(t *testing.T) {
	rows := make([]Row, 0, 8)
	for a := range 2 {
		for o := range 2 {
			for _, c := range []float64{1, -1} {
				rows = append(rows, Row{Group: a, Subgroup: o, Y: 3, N: 10, X: []float64{1, c}, U: 1, V: c})
			}
		}
	}
	p, err := newProblem(rows, Options{Vary: VaryPatternPositionOuting, Correlated: true})
	if err != nil {
		t.Fatal(err)
	}
	su, sv, sw, r := .8, .6, .5, -.5
	psi := []float64{.4, .3, su, sv * math.Sqrt(1-r*r), sw, sv * r, 0}
	e, into := newEvaluator(p, 1), p.copy()
	random := simulate.Stream(3, 0)
	const draws = 40_000
	sums := make([]float64, len(p.rows))
	products := 0.0
	for range draws {
		e.simulate(psi, random, into)
		for i, c := range into.rows {
			sums[i] += c.y / c.n
		}
		products += into.rows[0].y / 10 * into.rows[2].y / 10 // one angler, two outings
	}
	for i, c := range p.rows {
		sd := math.Sqrt(su*su + sv*sv + 2*r*su*sv*c.zv + sw*sw)
		// A share has a standard deviation below .35: five standard errors are .009.
		stattest.Absolute(t, "mean share", sums[i]/draws, meanExpit(.4+.3*c.zv, sd), .009)
	}
	// E[share·share] in two outings from its definition.
	x, weight := trapezoid(.1)
	want := 0.0
	between := math.Sqrt(su*su + sv*sv + 2*r*su*sv*p.rows[0].zv)
	for i, z := range x {
		m := meanExpit(.4+.3*p.rows[0].zv+between*z, sw)
		want += weight[i] * m * m
	}
	if p.rows[0].zv != p.rows[2].zv {
		t.Fatal("rows 0 and 2 were to be in one arrangement")
	}
	stattest.Absolute(t, "mean product", products/draws, want, .009)
}

// With nothing to find the bootstrap's p-value is as likely below any level as the level,
// near enough; and its limits hold θ. 200 trials of 8 anglers: the count of p < .1 is
// binomial(200, .1) up to the method's own error, 6 to 38 with chance .999.
func TestBootstrapIsCalibrated(t *testing.T) {
	if testing.Short() {
		t.Skip("a simulation")
	}
	t.Parallel()
	low, trials := 0, 0
	for seed := range uint64(200) {
		var cells []Cell
		for _, r := range inventedRows(5000+seed, 8, 1, 10, 0, .4, .5, .2, 0) {
			cells = append(cells, Cell{r.Group, 0, r.V > 0, r.Y, r.N - r.Y})
		}
		r, err := FitTrial(cells, Options{Points: 1})
		if err != nil {
			continue
		}
		trials++
		b, err := r.ParametricBootstrap(t.Context(), 99, seed, 2)
		if err != nil {
			t.Fatal(err)
		}
		if b.P() <= .1 {
			low++
		}
	}
	if trials < 190 || low < 6 || low > 38 {
		t.Errorf("%d of %d p-values at or below .1", low, trials)
	}
}
