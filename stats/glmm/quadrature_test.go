package glmm

import (
	"fmt"
	"math"
	"testing"

	"evenrig/stats/stattest"
)

type quadratureReference struct {
	Rules []struct {
		N       int       `json:"n"`
		Nodes   []float64 `json:"normal_nodes"`
		Weights []float64 `json:"normal_weights"`
	} `json:"rules"`
	Means []struct {
		Mu    float64 `json:"mu"`
		Sigma float64 `json:"sigma"`
		Mean  float64 `json:"mean_plogis"`
	} `json:"mean_logistic_normal"`
	Likelihoods []struct {
		Mu      float64 `json:"mu"`
		Sigma   float64 `json:"sigma"`
		Y       int     `json:"y"`
		N       int     `json:"n"`
		Laplace float64 `json:"laplace"`
		Five    float64 `json:"agq5"`
		Ten     float64 `json:"agq10"`
		Twenty  float64 `json:"agq20"`
		Forty   float64 `json:"agq41"`
	} `json:"logistic_normal_likelihood"`
}

// Nodes and weights: Golub & Welsch (1969) Math. Comp. 23:221. The small weights in the
// tail are known to about 1e-13 relative.
func TestRule(t *testing.T) {
	var ref quadratureReference
	stattest.Load(t, "glmm/quadrature.json", &ref)
	for _, want := range ref.Rules {
		got := newRule(want.N)
		for i := range want.Nodes {
			// Whichever way the nodes run.
			k := i
			if got.nodes[0] > got.nodes[len(got.nodes)-1] {
				k = want.N - 1 - i
			}
			stattest.Within(t, fmt.Sprintf("node %d of %d", i, want.N), got.nodes[k], want.Nodes[i], 1e-13)
			weight := got.weights[k] * math.Exp(-got.nodes[k]*got.nodes[k]/2)
			stattest.Relative(t, fmt.Sprintf("weight %d of %d", i, want.N), weight, want.Weights[i], 1e-12)
		}
	}
}

// One cluster's logistic-normal likelihood with each number of points.
func TestSingleCluster(t *testing.T) {
	var ref quadratureReference
	stattest.Load(t, "glmm/quadrature.json", &ref)
	for _, c := range ref.Likelihoods {
		p, err := newProblem([]Row{{Y: c.Y, N: c.N, X: []float64{1}, U: 1}}, Options{Vary: VaryPattern})
		if err != nil {
			t.Fatal(err)
		}
		gradient := make([]float64, 6)
		for points, want := range map[int]float64{1: c.Laplace, 5: c.Five, 10: c.Ten, 20: c.Twenty, 41: c.Forty} {
			got := newEvaluator(p, points).evaluate([]float64{c.Mu, c.Sigma, 0, 0, 0, 0}, gradient)
			stattest.Within(t, fmt.Sprintf("%d of %d, mu %g sigma %g, %d points", c.Y, c.N, c.Mu, c.Sigma, points), got, want, 1e-10)
		}
	}
}

func TestMeanExpit(t *testing.T) {
	var ref quadratureReference
	stattest.Load(t, "glmm/quadrature.json", &ref)
	for _, c := range ref.Means {
		stattest.Absolute(t, fmt.Sprintf("mu %g sigma %g", c.Mu, c.Sigma), AverageShare(c.Mu, 0, c.Sigma), c.Mean, 1e-12)
	}
	// β enters as both signs; SDs as the root of their squares.
	stattest.Absolute(t, "both arrangements", AverageShare(.3, .2, .3, .4), (AverageShare(.5, 0, .5)+AverageShare(.1, 0, .5))/2, 1e-14)
	// A wide spread pulls every share to one half.
	stattest.Absolute(t, "wide", AverageShare(0, 0, 15), .5, 1e-14)
}

// The tabulated logistic terms against the library's exponential and logarithm.
func TestLogistic(t *testing.T) {
	for x := -60.0; x <= 60; x += .00937 {
		mean, slope, logTerm := logistic(x)
		e := math.Exp(-math.Abs(x))
		wantMean := 1 / (1 + math.Exp(-x))
		stattest.Relative(t, fmt.Sprintf("mean at %g", x), mean, wantMean, 1e-14)
		stattest.Relative(t, fmt.Sprintf("slope at %g", x), slope, e/((1+e)*(1+e)), 1e-14)
		stattest.Relative(t, fmt.Sprintf("log term at %g", x), logTerm, math.Max(x, 0)+math.Log1p(e), 1e-14)
	}
	for x := 1e-9; x > -708; x -= .3137 {
		stattest.Relative(t, fmt.Sprintf("exp(%g)", x), exponential(x), math.Exp(x), 1e-15+2.5e-16*math.Abs(x))
	}
	if exponential(-800) != 0 || !math.IsNaN(exponential(math.NaN())) {
		t.Error("ends of exponential")
	}
	if mean, slope, logTerm := logistic(math.NaN()); !math.IsNaN(mean + slope + logTerm) {
		t.Error("NaN is not kept")
	}
}
