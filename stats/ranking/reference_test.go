package ranking_test

import (
	"encoding/json"
	"math"
	"testing"

	"evenrig/stats/glmm"
	"evenrig/stats/multiplicity"
	"evenrig/stats/ranking"
	"evenrig/stats/stattest"
)

// row is one rig as the reference file writes it: lower, upper, taken lower, taken upper.
type row ranking.Comparison

func (r *row) UnmarshalJSON(raw []byte) error {
	return json.Unmarshal(raw, &[]any{&r.Lower, &r.Upper, &r.LowerTaken, &r.UpperTaken})
}

type fitted struct {
	Patterns      []string
	Rows          []row
	Coef          []float64
	StdErr        []float64 `json:"std_error"`
	P             []float64
	Deviance      float64
	ResidualDF    int     `json:"residual_df"`
	LogLikelihood float64 `json:"log_likelihood_with_binomial_coefficients"`
	Vcov          [][]float64
}

func (f fitted) comparisons() []ranking.Comparison {
	all := make([]ranking.Comparison, len(f.Rows))
	for i, r := range f.Rows {
		all[i] = ranking.Comparison(r)
	}
	return all
}

// Wins at home and away of seven teams (Agresti 2002, p. 438) and three invented
// flies; R 4.2.2, BradleyTerry2 1.1.2, which agrees with plain glm.
func TestFitReference(t *testing.T) {
	t.Parallel()
	var file struct {
		Baseball   fitted
		ThreeFlies fitted `json:"three_flies"`
	}
	stattest.Load(t, "ranking/bradley_terry.json", &file)
	for name, want := range map[string]fitted{"baseball": file.Baseball, "three flies": file.ThreeFlies} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r, err := ranking.Fit(want.Patterns, want.comparisons(), 0.95)
			if err != nil {
				t.Fatal(err)
			}
			const double = 1e-9 // the source is good to 1e-10
			n := len(want.Patterns)
			for i, c := range r.Contrasts {
				stattest.Relative(t, "contrast", c.LogOdds, want.Coef[i], double)
				stattest.Relative(t, "SE", c.StdErr, want.StdErr[i], double)
				stattest.Relative(t, "low", c.Low, want.Coef[i]-1.9599639845400542*want.StdErr[i], double)
				if c.Pattern != want.Patterns[i+1] || c.Against != want.Patterns[0] {
					t.Errorf("contrast %d is %s against %s", i, c.Pattern, c.Against)
				}
				if want.P != nil {
					stattest.Relative(t, "p", c.P, want.P[i], 10*double)
				}
			}
			stattest.Relative(t, "position", r.Position.LogOdds, want.Coef[n-1], double)
			stattest.Relative(t, "position SE", r.Position.StdErr, want.StdErr[n-1], double)
			stattest.Relative(t, "deviance", r.Deviance, want.Deviance, double)
			if r.ResidualDF != want.ResidualDF || len(r.Contrasts) != n-1 || len(r.Pairs) != n*(n-1)/2 {
				t.Errorf("%d residual degrees of freedom, %d contrasts, %d pairs", r.ResidualDF, len(r.Contrasts), len(r.Pairs))
			}
			binomials := 0.0
			for _, c := range want.Rows {
				binomials += logChoose(c.LowerTaken+c.UpperTaken, c.LowerTaken)
			}
			stattest.Relative(t, "log-likelihood", r.LogLikelihood+binomials, want.LogLikelihood, double)
			for i := range r.Vcov {
				for j, v := range r.Vcov[i] {
					stattest.Relative(t, "covariance", v, want.Vcov[i][j], 10*double)
				}
			}
			at := 0
			for j := range n {
				for i := j + 1; i < n; i++ {
					pair := r.Pairs[at]
					at++
					if pair.Pattern != want.Patterns[i] || pair.Against != want.Patterns[j] {
						t.Fatalf("pair %d is %s against %s", at, pair.Pattern, pair.Against)
					}
					estimate, variance := want.Coef[i-1], want.Vcov[i-1][i-1]
					if j > 0 {
						estimate -= want.Coef[j-1]
						variance += want.Vcov[j-1][j-1] - 2*want.Vcov[i-1][j-1]
					}
					stattest.Within(t, "pair", pair.LogOdds, estimate, double)
					stattest.Relative(t, "pair SE", pair.StdErr, math.Sqrt(variance), 10*double)
				}
			}
			holm(t, r.Contrasts)
			holm(t, r.Pairs)
		})
	}
}

// As printed to six decimals for the baseball data in the handbook's software notes
// and by Firth (2005), Journal of Statistical Software 12(1), from memory.
func TestFitAsPrinted(t *testing.T) {
	t.Parallel()
	var file struct{ Baseball fitted }
	stattest.Load(t, "ranking/bradley_terry.json", &file)
	r, err := ranking.Fit(file.Baseball.Patterns, file.Baseball.comparisons(), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	const half = 5e-7
	stattest.Absolute(t, "home", r.Position.LogOdds, 0.302261, half)
	stattest.Absolute(t, "home SE", r.Position.StdErr, 0.130944, half)
	stattest.Absolute(t, "deviance", r.Deviance, 38.64285, 5e-6)
	for i, want := range []float64{1.143803, 0.704695, 1.475357, 1.619555, 1.281340, 1.327110} {
		stattest.Absolute(t, "contrast", r.Contrasts[i].LogOdds, want, 1e-6)
	}
}

func logChoose(n, k int64) float64 {
	a, _ := math.Lgamma(float64(n) + 1)
	b, _ := math.Lgamma(float64(k) + 1)
	c, _ := math.Lgamma(float64(n-k) + 1)
	return a - b - c
}

func holm(t *testing.T, contrasts []ranking.Contrast) {
	t.Helper()
	var p []float64
	for _, c := range contrasts {
		p = append(p, c.P)
	}
	adjusted, err := multiplicity.Holm(p)
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range contrasts {
		stattest.Absolute(t, "adjusted p", c.AdjustedP, adjusted[i], 0)
	}
}

// Two patterns are a paired trial: strength, standard error and position effect are
// those of its 2x2 table, in closed form (Woolf 1955). The counts are D1, an invented
// worked example: 40 of 48 and 22 of 48 fish took the lower fly; .888246 (.241824),
// .721192.
func TestTwoPatternsAreAPairedTrial(t *testing.T) {
	t.Parallel()
	r, err := ranking.Fit([]string{"control", "test"}, []ranking.Comparison{
		{Lower: "test", Upper: "control", LowerTaken: 40, UpperTaken: 8},
		{Lower: "control", Upper: "test", LowerTaken: 22, UpperTaken: 26},
	}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	const half = 5e-7
	stattest.Absolute(t, "θ", r.Contrasts[0].LogOdds, 0.888246, half)
	stattest.Absolute(t, "SE", r.Contrasts[0].StdErr, 0.241824, half)
	stattest.Absolute(t, "β", r.Position.LogOdds, 0.721192, half)
	if r.ResidualDF != 0 || r.DevianceP != 1 {
		t.Errorf("%+v", r)
	}
}

// angled is one angler's rig as the reference file writes it.
type angled ranking.Comparison

func (r *angled) UnmarshalJSON(raw []byte) error {
	return json.Unmarshal(raw, &[]any{&r.Angler, &r.Lower, &r.Upper, &r.LowerTaken, &r.UpperTaken})
}

// Fourteen invented anglers and three patterns; brute-force integration in R.
func TestFitAnglersReference(t *testing.T) {
	t.Parallel()
	var file struct {
		Patterns      []string
		Rows          []angled
		Coef, SD      []float64
		StdErr        []float64 `json:"std_error"`
		LogLikelihood float64   `json:"log_likelihood"`
	}
	stattest.Load(t, "ranking/anglers.json", &file)
	var all []ranking.Comparison
	for _, r := range file.Rows {
		all = append(all, ranking.Comparison(r))
	}
	r, err := ranking.FitAnglers(file.Patterns, all, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	// 15 quadrature points a dimension are good to about 1e-5 of the parameters here,
	// the differenced Hessian of the source to about 1e-5.
	const quadrature = 5e-5
	for i, c := range append(r.Contrasts, ranking.Contrast{LogOdds: r.Position.LogOdds, StdErr: r.Position.StdErr}) {
		stattest.Absolute(t, "coefficient", c.LogOdds, file.Coef[i], quadrature)
		stattest.Absolute(t, "SE", c.StdErr, file.StdErr[i], quadrature)
	}
	stattest.Absolute(t, "SD in pattern", r.SDPattern, file.SD[0], quadrature)
	stattest.Absolute(t, "SD in position", r.SDPosition, file.SD[1], quadrature)
	stattest.Absolute(t, "log-likelihood", r.LogLikelihood, file.LogLikelihood, quadrature)
	if r.Anglers != 14 || r.DF != 13 {
		t.Errorf("%d anglers, %d degrees of freedom", r.Anglers, r.DF)
	}
	// Limits by t on 13: 2.1603686564627917 (tables of the t distribution).
	c := r.Contrasts[0]
	stattest.Absolute(t, "high", c.High, c.LogOdds+2.1603686564627917*c.StdErr, 1e-10)
	holm(t, r.Pairs)
}

// Two patterns with anglers who differ are the mixed model of a paired trial. D2, an
// invented worked example: six anglers, 24 + 24 fish each.
func TestTwoPatternsWithAnglers(t *testing.T) {
	t.Parallel()
	lower1, lower2 := []int{18, 20, 14, 22, 12, 19}, []int{10, 8, 13, 6, 11, 12}
	var comparisons []ranking.Comparison
	var cells []glmm.Cell
	for a := range lower1 {
		comparisons = append(
			comparisons,
			ranking.Comparison{Angler: a, Lower: "B", Upper: "A", LowerTaken: int64(lower1[a]), UpperTaken: int64(24 - lower1[a])},
			ranking.Comparison{Angler: a, Lower: "A", Upper: "B", LowerTaken: int64(lower2[a]), UpperTaken: int64(24 - lower2[a])},
		)
		cells = append(
			cells,
			glmm.Cell{Angler: a, TestLower: true, Test: lower1[a], Control: 24 - lower1[a]},
			glmm.Cell{Angler: a, TestLower: false, Test: 24 - lower2[a], Control: lower2[a]},
		)
	}
	got, err := ranking.FitAnglers([]string{"A", "B"}, comparisons, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	want, err := glmm.FitTrial(cells, glmm.Options{})
	if err != nil {
		t.Fatal(err)
	}
	const searched = 1e-7 // two searches for the same highest point
	stattest.Absolute(t, "θ", got.Contrasts[0].LogOdds, want.Theta, searched)
	stattest.Absolute(t, "SE", got.Contrasts[0].StdErr, want.ThetaSE, searched)
	stattest.Absolute(t, "β", got.Position.LogOdds, want.Beta, searched)
	stattest.Absolute(t, "SD in pattern", got.SDPattern, want.SDPattern, 10*searched)
	stattest.Absolute(t, "SD in position", got.SDPosition, want.SDPosition, 10*searched)
	stattest.Absolute(t, "log-likelihood", got.LogLikelihood, want.LogLikelihood, 1e-10)
}
