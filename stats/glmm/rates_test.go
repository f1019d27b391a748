package glmm

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"evenrig/stats/stattest"
)

type rateReference struct {
	Data []struct {
		Subject string  `json:"subject"`
		Y       int     `json:"y"`
		Weeks   float64 `json:"weeks"`
		Post    float64 `json:"post"`
		Treated float64 `json:"prog"`
	} `json:"data"`
	Fits struct {
		One     ownFit        `json:"own_agq_poisson_1"`
		TwentyF ownFit        `json:"own_agq_poisson_25"`
		SixtyO  ownFit        `json:"own_agq_poisson_61"`
		Slope   correlatedFit `json:"own_agq_poisson_slope_1"`
		SlopeT  correlatedFit `json:"own_agq_poisson_slope_31"`
		NB2     struct {
			Fixef      map[string]float64 `json:"fixef"`
			SE         map[string]float64 `json:"se"`
			SD         map[string]float64 `json:"sd"`
			LogLik     float64            `json:"logLik"`
			Dispersion float64            `json:"dispersion_sigma"`
			Modes      []struct {
				Group string  `json:"grp"`
				Value float64 `json:"condval"`
				SD    float64 `json:"condsd"`
			} `json:"conditional_modes"`
		} `json:"glmmTMB_nbinom2"`
	} `json:"fits"`
	Poisson struct {
		Data []struct {
			Fish  int     `json:"fish"`
			Hours float64 `json:"hours"`
			T     float64 `json:"t"`
			W     float64 `json:"w"`
		} `json:"data"`
		Coef   map[string]float64 `json:"coef"`
		SE     map[string]float64 `json:"se"`
		LogLik float64            `json:"logLik"`
	} `json:"poisson_glm"`
	Quine struct {
		Data []struct {
			Days    int     `json:"days"`
			Male    float64 `json:"male"`
			NonAbor float64 `json:"non_aboriginal"`
		} `json:"data"`
		Coef   map[string]float64 `json:"coef"`
		Theta  float64            `json:"theta"`
		LogLik float64            `json:"logLik"`
	} `json:"negbin_glm_quine"`
}

func loadRates(t *testing.T) (ref rateReference, rows []Row) {
	stattest.Load(t, "glmm/rate_glmm.json", &ref)
	for _, d := range ref.Data {
		var subject int
		fmt.Sscan(d.Subject, &subject)
		rows = append(rows, Row{Group: subject, Y: d.Y, Offset: math.Log(d.Weeks), X: []float64{1, d.Treated, d.Post, d.Treated * d.Post}, U: 1, V: d.Post})
	}
	return ref, rows
}

var rateNames = []string{"(Intercept)", "prog", "post", "prog:post"}

// Seizure counts over weeks, Thall & Vail (1990) Biometrics 46:657: Poisson with a varying
// level, and with a correlated effect of the period.
func TestPoissonRates(t *testing.T) {
	ref, rows := loadRates(t)
	for _, want := range []ownFit{ref.Fits.One, ref.Fits.TwentyF, ref.Fits.SixtyO} {
		got, err := Fit(rows, Options{Vary: VaryPattern, Points: want.Points, Family: Poisson})
		if err != nil {
			t.Fatal(err)
		}
		compareFit(t, got, want, rateNames, []string{"intercept"}, 0)
	}
	for _, want := range []correlatedFit{ref.Fits.Slope, ref.Fits.SlopeT} {
		got, err := Fit(rows, Options{Vary: VaryPatternPosition, Points: want.Points, Correlated: true, Family: Poisson})
		if err != nil {
			t.Fatal(err)
		}
		compareFit(t, got, want.ownFit, rateNames, []string{"intercept", "x"}, 0)
		stattest.Absolute(t, "correlation", *got.Correlation, want.Correlation, 5e-6)
	}
}

// The same counts with a negative binomial distribution by Laplace, whose source stopped at a
// gradient of 3e-5: estimates good to about 1e-6 times their standard errors' square root.
func TestNegativeBinomialRates(t *testing.T) {
	ref, rows := loadRates(t)
	want := ref.Fits.NB2
	got, err := Fit(rows, Options{Vary: VaryPattern, Points: 1, Family: NegativeBinomial})
	if err != nil {
		t.Fatal(err)
	}
	for i, name := range rateNames {
		stattest.Absolute(t, name, got.Coef[i], want.Fixef[name], 5e-6)
		stattest.Relative(t, "SE of "+name, got.StdErr[i], want.SE[name], errorRelative)
	}
	stattest.Absolute(t, "SD", got.SDPattern, want.SD["subject.Intercept"], 5e-6)
	stattest.Relative(t, "dispersion", got.Dispersion, 1/want.Dispersion, 5e-6)
	stattest.Absolute(t, "log-likelihood", got.LogLikelihood, want.LogLik, logTolerance)
	for i, m := range want.Modes {
		if fmt.Sprint(got.Groups[i].Group) != m.Group {
			t.Fatalf("group %v, reference %s", got.Groups[i].Group, m.Group)
		}
		stattest.Absolute(t, "mode", got.Groups[i].U, m.Value, 5e-6)
		stattest.Relative(t, "prediction SE", got.Groups[i].USE, m.SD, errorRelative)
	}
}

// Without random effects: a Poisson model of catch per hour and a negative binomial one of
// days absent (Quine, in Aitkin 1978, J. R. Stat. Soc. A 141:195, via MASS).
func TestRatesWithoutVariation(t *testing.T) {
	ref, _ := loadRates(t)
	var rows []Row
	for i, d := range ref.Poisson.Data {
		rows = append(rows, Row{Group: i, Y: d.Fish, Offset: math.Log(d.Hours), X: []float64{1, d.T, d.W}, U: 1})
	}
	p, err := newProblem(rows, Options{Vary: VaryPattern, Family: Poisson})
	if err != nil {
		t.Fatal(err)
	}
	m, err := p.maximise(1, atPattern)
	if err != nil {
		t.Fatal(err)
	}
	for i, name := range []string{"(Intercept)", "t", "w"} {
		stattest.Absolute(t, name, m.psi[i], ref.Poisson.Coef[name], 1e-9)
		stattest.Relative(t, "SE of "+name, math.Sqrt(m.covariance.at(i, i)), ref.Poisson.SE[name], 1e-6)
	}
	stattest.Absolute(t, "log-likelihood", m.value, ref.Poisson.LogLik, 1e-9)

	rows = nil
	for i, d := range ref.Quine.Data {
		rows = append(rows, Row{Group: i / 10, Y: d.Days, X: []float64{1, d.Male, d.NonAbor}, U: 1})
	}
	if p, err = newProblem(rows, Options{Vary: VaryPattern, Family: NegativeBinomial}); err != nil {
		t.Fatal(err)
	}
	if m, err = p.maximise(1, atPattern); err != nil {
		t.Fatal(err)
	}
	for i, name := range []string{"(Intercept)", "male", "non_aboriginal"} {
		stattest.Absolute(t, name, m.psi[i], ref.Quine.Coef[name], 1e-6)
	}
	delta := m.psi[p.width+atDispersion]
	stattest.Relative(t, "dispersion", delta*delta, 1/ref.Quine.Theta, 1e-6)
	stattest.Absolute(t, "log-likelihood", m.value, ref.Quine.LogLik, 1e-7)
}

// inventedRates makes an alternating trial: two or three periods of each pattern an outing.
func inventedRates(seed uint64, anglers, outings int, level, theta, su, sv, sw, dispersion float64) []RateCell {
	rng := rand.New(rand.NewPCG(seed, 2))
	e := &evaluator{}
	var cells []RateCell
	for a := range anglers {
		u, v := su*rng.NormFloat64(), sv*rng.NormFloat64()
		for o := range outings {
			w := sw * rng.NormFloat64()
			for k := range 4 + 2*rng.IntN(2) {
				x := .5 - float64(k%2)
				minutes := float64(20 + 5*rng.IntN(9))
				zeta := math.Log(minutes/60) + level + u + (theta+v)*x + w
				if dispersion > 0 {
					zeta += math.Log(dispersion)
				}
				cells = append(cells, RateCell{Angler: a, Outing: o, Test: x > 0, Minutes: minutes, Fish: int(e.drawDispersed(zeta, dispersion, rng))})
			}
		}
	}
	return cells
}

func mustFitRates(t *testing.T, cells []RateCell, o RateOptions) *RateResult {
	t.Helper()
	r, err := FitRates(cells, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

var everyRateModel = []RateOptions{
	{Family: Poisson, Points: 1},
	{Family: Poisson, PatternVaries: true, Points: 7},
	{Family: Poisson, PatternVaries: true, Correlated: true, Points: 5},
	{Family: Poisson, PatternVaries: true, Outings: true, Points: 3},
	{Family: NegativeBinomial, Points: 7},
	{Family: NegativeBinomial, PatternVaries: true, Points: 1},
	{Family: NegativeBinomial, PatternVaries: true, Outings: true, Correlated: true, Points: 3},
}

// The gradient is the derivative in every family, the dispersion's included.
func TestRateGradients(t *testing.T) {
	for _, o := range everyRateModel {
		for _, dispersion := range []float64{0, 1e-3, .1, .8} {
			rows, err := rateRows(inventedRates(1, 4, 3, 1, .4, .6, .4, .5, .3))
			if err != nil {
				t.Fatal(err)
			}
			p, err := newProblem(rows, o.general())
			if err != nil {
				t.Fatal(err)
			}
			psi := []float64{1.1, .3, .6, .4, .5, .2, dispersion}
			e := newEvaluator(p, max(1, o.Points))
			gradient, scratch := make([]float64, 7), make([]float64, 7)
			e.evaluate(psi, gradient)
			for _, k := range p.freeParameters() {
				at := func(h float64) float64 {
					moved := append([]float64(nil), psi...)
					moved[k] += h
					return e.evaluate(moved, scratch)
				}
				const h = 1e-3
				want := (4*(at(h/2)-at(-h/2))/h - (at(h)-at(-h))/(2*h)) / 3
				if math.Abs(gradient[k]-want) > 1e-7*math.Max(1, math.Abs(want)) {
					t.Errorf("%+v, dispersion root %v, parameter %d: gradient %.12g, differences %.12g", o, dispersion, k, gradient[k], want)
				}
			}
		}
	}
}

// The log-likelihood against its definition by brute force over u, v and w.
func TestRatesByBruteForce(t *testing.T) {
	t.Parallel()
	rows, err := rateRows(inventedRates(2, 2, 2, .8, .4, .5, .4, .4, .3))
	if err != nil {
		t.Fatal(err)
	}
	factorial := func(y int) float64 { v, _ := math.Lgamma(float64(y) + 1); return v }
	const alpha = .3
	for family, density := range map[Family]func(Row, float64) float64{
		Poisson: func(r Row, eta float64) float64 {
			return math.Exp(float64(r.Y)*eta - math.Exp(eta) - factorial(r.Y))
		},
		// Γ(y+1/α)/(Γ(1/α)·y!)·(1/(1+αμ))^(1/α)·(αμ/(1+αμ))^y
		NegativeBinomial: func(r Row, eta float64) float64 {
			top, _ := math.Lgamma(float64(r.Y) + 1/alpha)
			bottom, _ := math.Lgamma(1 / alpha)
			x := alpha * math.Exp(eta)
			return math.Exp(top - bottom - factorial(r.Y) - math.Log1p(x)/alpha + float64(r.Y)*math.Log(x/(1+x)))
		},
	} {
		want := bruteForce(rows, []float64{.9, .3}, .5, .4, .5, .4, density)
		p, err := newProblem(rows, Options{Vary: VaryPatternPositionOuting, Correlated: true, Family: family})
		if err != nil {
			t.Fatal(err)
		}
		psi := []float64{.9, .3, .5, .4 * math.Sqrt(.75), .4, .2, 0}
		if family == NegativeBinomial {
			psi[6] = math.Sqrt(alpha)
		}
		got := newEvaluator(p, 31).evaluate(psi, make([]float64, 7))
		stattest.Absolute(t, family.String(), got, want, 1e-9)
	}
}

// The dispersion's terms join the Poisson distribution as it goes to 0, and hold for large
// counts: against the gamma function, whose difference is good to 1e-15 of itself.
func TestLogRising(t *testing.T) {
	for _, y := range []float64{0, 1, 2, 10, 63, 64, 65, 66, 100, 1000, 100_000} {
		for _, alpha := range []float64{1e-14, 1e-8, 1e-4, .01, .3, 1, 20} {
			value, slope := logRising(y, alpha)
			top, _ := math.Lgamma(y + 1/alpha)
			bottom, _ := math.Lgamma(1 / alpha)
			want := top - bottom + y*math.Log(alpha)
			scale := 1e-15*(math.Abs(top)+math.Abs(bottom)) + 2e-12
			if alpha > 1e-5 {
				stattest.Absolute(t, fmt.Sprintf("y %v, dispersion %v", y, alpha), value, want, scale*4)
			} else {
				// Σ ln(1+jα) = αy(y-1)/2 - α²(y-1)y(2y-1)/12 + ...
				want = alpha*y*(y-1)/2 - alpha*alpha*(y-1)*y*(2*y-1)/12
				stattest.Absolute(t, fmt.Sprintf("y %v, dispersion %v", y, alpha), value, want, 1e-12+alpha*alpha*alpha*y*y*y*y)
			}
			h := alpha * 1e-4
			up, _ := logRising(y, alpha+h)
			down, _ := logRising(y, alpha-h)
			stattest.Absolute(t, fmt.Sprintf("slope, y %v, dispersion %v", y, alpha), slope, (up-down)/(2*h), 1e-6*slope+1e-11*(1+value)/h)
		}
	}
	// Sums over the whole distribution are 1.
	for _, alpha := range []float64{1e-9, .2, 3} {
		total := 0.0
		for y := 0.0; y < 3000; y++ {
			rising, _ := logRising(y, alpha)
			const mu = 5
			tail := -(y + 1/alpha) * math.Log1p(alpha*mu)
			total += math.Exp(y*math.Log(mu) + tail + rising - logFactorial(y))
		}
		stattest.Absolute(t, fmt.Sprint("sum at dispersion ", alpha), total, 1, 1e-10)
	}
}

// Counts no more spread than Poisson ones: the dispersion is exactly 0 and the fit is
// the Poisson fit.
func TestPoissonLimit(t *testing.T) {
	cells := inventedRates(3, 6, 3, 1, .3, .5, 0, 0, 0)
	for i := range cells {
		// Rounding the mean leaves less than Poisson variation.
		cells[i].Fish = int(math.Round(cells[i].Minutes / 60 * math.Exp(1+.3*float64(cells[i].Angler%3)) * map[bool]float64{true: 1.2, false: 1}[cells[i].Test]))
	}
	for _, points := range []int{1, 7} {
		nb := mustFitRates(t, cells, RateOptions{Family: NegativeBinomial, Points: points})
		poisson := mustFitRates(t, cells, RateOptions{Family: Poisson, Points: points})
		if nb.Dispersion != 0 || !nb.Singular {
			t.Errorf("dispersion %v, singular %v", nb.Dispersion, nb.Singular)
		}
		stattest.Absolute(t, "theta", nb.Theta, poisson.Theta, 1e-8)
		stattest.Relative(t, "SE", nb.ThetaSE, poisson.ThetaSE, 1e-6)
		stattest.Absolute(t, "log-likelihood", nb.LogLikelihood, poisson.LogLikelihood, 1e-9)
		b, err := nb.BoundaryTest(TermDispersion)
		if err != nil || b.P != 1 {
			t.Errorf("boundary test %+v, %v", b, err)
		}
	}
}

// Twice the effort everywhere halves the rates and changes nothing else; swapped labels
// turn θ round; the order of cells says nothing.
func TestRateIdentities(t *testing.T) {
	cells := inventedRates(4, 9, 3, 1, .4, .6, .4, .4, .2)
	doubled, swapped, shuffled := append([]RateCell(nil), cells...), append([]RateCell(nil), cells...), append([]RateCell(nil), cells...)
	for i := range cells {
		doubled[i].Minutes *= 2
		swapped[i].Test = !cells[i].Test
	}
	rand.New(rand.NewPCG(1, 1)).Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
	for _, o := range everyRateModel {
		plain := mustFitRates(t, cells, o)
		for name, c := range map[string]struct {
			cells       []RateCell
			theta, move float64
		}{"doubled": {doubled, 1, -math.Ln2}, "swapped": {swapped, -1, 0}, "shuffled": {shuffled, 1, 0}} {
			got := mustFitRates(t, c.cells, o)
			stattest.Absolute(t, name+" theta", got.Theta, c.theta*plain.Theta, 1e-8)
			stattest.Absolute(t, name+" level", got.Level, plain.Level+c.move, 1e-8)
			stattest.Relative(t, name+" SE", got.ThetaSE, plain.ThetaSE, 1e-6)
			stattest.Absolute(t, name+" sd_level", got.SDLevel, plain.SDLevel, 1e-7)
			stattest.Absolute(t, name+" sd_pattern", got.SDPattern, plain.SDPattern, 1e-7)
			stattest.Absolute(t, name+" dispersion", got.Dispersion, plain.Dispersion, 1e-7)
			stattest.Absolute(t, name+" log-likelihood", got.LogLikelihood, plain.LogLikelihood, 1e-8)
		}
	}
}

// Profile, boundary test and bootstrap of rates: the profile loses half the chi-square
// quantile at its limits, by a search from scratch; the rest is finite and reproducible.
func TestRateInference(t *testing.T) {
	cells := inventedRates(6, 8, 3, 1, .4, .6, .4, .4, .3)
	for _, o := range everyRateModel {
		r := mustFitRates(t, cells, o)
		limits, err := r.ProfileTheta(.95)
		if err != nil {
			t.Fatal(err)
		}
		p := r.inference.evaluator.problem
		for _, theta := range []float64{*limits.Low, *limits.High} {
			best := math.Inf(-1)
			e := newEvaluator(p, r.Points)
			for _, f := range p.faces([]float64{r.Level, theta}) {
				free := append([]int{0}, f.free[2:]...)
				for _, s := range f.starts {
					best = max(best, e.search(s, free, math.Inf(-1)).value)
				}
			}
			stattest.Absolute(t, fmt.Sprintf("%+v deviance", o), 2*(r.LogLikelihood-best), 3.841459, 2e-6) // χ²(1), .95
		}
		for term, sd := range map[Term]float64{TermLevel: r.SDLevel, TermPattern: r.SDPattern, TermOuting: r.SDOuting, TermDispersion: math.Sqrt(r.Dispersion)} {
			limits, err := r.ProfileSD(term, .95)
			b, err2 := r.BoundaryTest(term)
			if _, err3 := r.inference.scale(term); err3 != nil {
				if kindOf(err) != ErrInput || kindOf(err2) != ErrInput {
					t.Errorf("%v: %v, %v", term, err, err2)
				}
				continue
			}
			if err != nil || err2 != nil || *limits.Low > sd || *limits.High < sd || !(b.P > 0 && b.P <= 1) {
				t.Errorf("%+v %v: SD %v, limits %v, test %+v, %v, %v", o, term, sd, limits, b, err, err2)
			}
		}
	}
	r := mustFitRates(t, cells, everyRateModel[5])
	one, err := r.ParametricBootstrap(t.Context(), 20, 3, 1)
	if err != nil {
		t.Fatal(err)
	}
	two, err := r.ParametricBootstrap(t.Context(), 20, 3, 2)
	if err != nil || !reflect.DeepEqual(one, two) {
		t.Errorf("%v, %v, %v", one, two, err)
	}
	if b, err := r.BootstrapBoundary(t.Context(), TermDispersion, 20, 3, 2); err != nil || !(b.P >= 1./21 && b.P <= 1) {
		t.Errorf("%+v, %v", b, err)
	}
}

// Simulated counts have mean μ and variance μ + αμ²: over 100,000 draws within five
// standard errors, which for the variance are about 5·√(2+kurtosis)·variance/√n.
func TestSimulatedRates(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	e := &evaluator{}
	for _, alpha := range []float64{0, .05, .5} {
		const mu, n = 6., 100_000
		zeta := math.Log(mu)
		if alpha > 0 {
			zeta += math.Log(alpha)
		}
		var sum, squares float64
		for range n {
			y := e.drawDispersed(zeta, alpha, rng)
			sum += y
			squares += y * y
		}
		mean, variance := sum/n, squares/n-sum/n*sum/n
		want := mu + alpha*mu*mu
		stattest.Absolute(t, "mean", mean, mu, 5*math.Sqrt(want/n))
		stattest.Relative(t, "variance", variance, want, 5*math.Sqrt((2+1/mu+6*alpha)/n))
	}
}

func TestRateRefusals(t *testing.T) {
	good := inventedRates(5, 4, 2, 1, .4, .4, 0, 0, 0)
	with := func(change func(c *RateCell)) []RateCell {
		cells := append([]RateCell(nil), good...)
		change(&cells[2])
		return cells
	}
	every := func(change func(c *RateCell)) []RateCell {
		cells := append([]RateCell(nil), good...)
		for i := range cells {
			change(&cells[i])
		}
		return cells
	}
	poisson := RateOptions{Family: Poisson}
	for name, c := range map[string]struct {
		cells   []RateCell
		options RateOptions
		want    error
		text    string
	}{
		"binomial":      {good, RateOptions{}, ErrInput, "poisson or negative binomial"},
		"correlated":    {good, RateOptions{Family: Poisson, Correlated: true}, ErrInput, "none to be correlated"},
		"no time":       {with(func(c *RateCell) { c.Minutes = 0 }), poisson, ErrInput, "above 0"},
		"not a number":  {with(func(c *RateCell) { c.Minutes = math.NaN() }), poisson, ErrInput, "above 0"},
		"negative":      {with(func(c *RateCell) { c.Fish = -1 }), poisson, ErrInput, "0 or more"},
		"other columns": {with(func(c *RateCell) { c.Columns = []float64{1} }), poisson, ErrInput, "same number"},
		"nothing":       {nil, poisson, ErrNoCatches, "no angler"},
		"no fish":       {every(func(c *RateCell) { c.Fish = 0 }), poisson, ErrNoCatches, "no angler"},
		"one pattern":   {every(func(c *RateCell) { c.Test = true }), poisson, ErrNotIdentified, "control"},
		"none with test": {every(func(c *RateCell) {
			if c.Test {
				c.Fish = 0
			}
		}), poisson, ErrSeparation, "no fish with the test"},
		"one angler": {every(func(c *RateCell) { c.Angler = 1 }), poisson, ErrOneAngler, "from 1"},
	} {
		r, err := FitRates(c.cells, c.options)
		if r != nil || kindOf(err) != c.want || !strings.Contains(err.Error(), c.text) {
			t.Errorf("%s: %v, %v", name, r, err)
		}
	}
	// One period an outing: with a dispersion, w cannot be told from it.
	single := every(func(*RateCell) {})
	for i := range single {
		single[i].Outing = i
	}
	if _, err := FitRates(single, RateOptions{Family: NegativeBinomial, Outings: true}); kindOf(err) != ErrNotIdentified {
		t.Errorf("an outing each: %v", err)
	}
	if _, err := FitRates(single, RateOptions{Family: Poisson, Outings: true}); err != nil {
		t.Errorf("an outing each, Poisson: %v", err)
	}
}

// Whatever the counts and times: a finite result or one sentinel.
func TestAnyRates(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		most := rapid.SampledFrom([]int{1, 3, 30, 1000, 1_000_000}).Draw(t, "most")
		count := rapid.OneOf(rapid.Just(0), rapid.IntRange(0, most), rapid.IntRange(0, min(most, 3)))
		var cells []RateCell
		for a := range rapid.IntRange(0, 5).Draw(t, "anglers") {
			for o := range rapid.IntRange(1, 2).Draw(t, "outings") {
				for k := range rapid.IntRange(1, 4).Draw(t, "periods") {
					minutes := rapid.SampledFrom([]float64{.01, 5, 45, 60, 1e6}).Draw(t, "minutes")
					cells = append(cells, RateCell{Angler: a, Outing: o, Test: k%2 == 0, Minutes: minutes, Fish: count.Draw(t, "fish")})
				}
			}
		}
		r, err := FitRates(cells, rapid.SampledFrom(everyRateModel).Draw(t, "model"))
		if err != nil {
			if r != nil || kindOf(err) == nil {
				t.Fatalf("result %v, error %v", r, err)
			}
			return
		}
		if bad := notFinite(reflect.ValueOf(*r), ""); bad != "" {
			t.Fatalf("%s: %+v", bad, r)
		}
	})
}
