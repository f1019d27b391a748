package ranking

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"evenrig/stats/num"
)

// ErrNotConverged: Newton's method did not reach the highest point, which exists.
var ErrNotConverged = errors.New("the highest point of the likelihood was not reached")

// Result is a fit of the patterns' strengths.
type Result struct {
	Patterns  []string   // as given, the control first
	Contrasts []Contrast // each other pattern against the control, in the order of Patterns
	Pairs     []Contrast // every pattern against each one before it: (1,0), (2,0), ... (2,1), ...
	Position  Position
	// Vcov is the covariance matrix of the strengths of Patterns[1:] and the position effect.
	Vcov          [][]float64
	LogLikelihood float64 // of single fish: no binomial coefficients
	DF            int     // of the t distribution behind limits and P; 0 is the normal

	// Of Fit alone: twice the log-likelihood short of one probability per rig, on the
	// number of different rigs minus that of parameters, and its χ² tail (1 if ResidualDF
	// is 0). A small DevianceP says that one strength per pattern does not describe what
	// fish took, or that fish of a rig were not independent; it is to be trusted where
	// rigs have some 5 fish or more at either position.
	Deviance   float64
	ResidualDF int
	DevianceP  float64

	// Of FitAnglers alone: anglers with a fish, and SDs between them.
	Anglers               int
	SDPattern, SDPosition float64
}

// Fit returns the maximum-likelihood strengths of patterns[1:] against patterns[0],
// the control, and the position effect, with normal limits at the given level in (0,
// 1). Each pattern needs a name of its own; comparisons are rigs with the counts of
// fish that took either fly, in any order and any number of rows per rig.
//
// Errors: ErrInput; ErrLevel; ErrNotConnected, ErrSeparation, ErrPosition, which name
// the patterns at fault; ErrNotConverged. Accuracy about 12 digits; cost some ten
// factorisations of a matrix as large as the number of patterns.
func Fit(patterns []string, comparisons []Comparison, level float64) (*Result, error) {
	if err := checkLevel(level); err != nil {
		return nil, err
	}
	pairs, err := newPairs(patterns, comparisons, false)
	if err != nil {
		return nil, err
	}
	if err := checkExistence(patterns, pairs); err != nil {
		return nil, err
	}
	coef, vcov, logLikelihood, err := maximise(len(patterns), pairs)
	if err != nil {
		return nil, err
	}
	r := &Result{Patterns: append([]string(nil), patterns...), LogLikelihood: logLikelihood, DevianceP: 1}
	r.ResidualDF = len(pairs) - len(patterns)
	if r.ResidualDF > 0 {
		saturated := 0.0
		for _, p := range pairs {
			saturated += saturatedLogLikelihood(p)
		}
		r.Deviance = 2 * math.Max(0, saturated-logLikelihood)
		r.DevianceP = num.ChiSquaredTail(r.Deviance, float64(r.ResidualDF))
	}
	normal, err := newInterval(level, 0)
	if err != nil {
		return nil, err
	}
	return r, r.fill(coef, vcov, normal)
}

// saturatedLogLikelihood is that of a rig's own observed share.
func saturatedLogLikelihood(p pair) float64 {
	n, l := p.taken[0]+p.taken[1], 0.0
	for _, y := range p.taken {
		if y > 0 {
			l += y * math.Log(y/n)
		}
	}
	return l
}

// maximise returns estimates and covariance matrix of the strengths of patterns 1,
// 2, ... and β, by Newton's method from 0. The log-likelihood is concave, so that a
// step halved until it rises cannot go astray.
func maximise(patterns int, pairs []pair) (coef []float64, vcov [][]float64, logLikelihood float64, err error) {
	coef = make([]float64, patterns)
	value, gradient, information := derivatives(coef, pairs)
	polish := 4 // full steps at the end, where the value no longer tells points apart
	for range 200 {
		var factor mat.Cholesky
		if !factor.Factorize(information) {
			return nil, nil, 0, fmt.Errorf("singular information: %w", ErrNotConverged)
		}
		if polish == 0 {
			return coef, covariance(&factor, patterns), value, nil
		}
		step := mat.NewVecDense(patterns, nil)
		// An ill-conditioned matrix is an error here, and solved as well as it can be.
		_ = factor.SolveVecTo(step, gradient)
		scale := 1.0
		if mat.Dot(step, gradient) <= 1e-12*math.Max(1, math.Abs(value)) {
			polish--
		} else {
			// No rig's log odds moves by more than 2: far out its few fish would hold it no longer.
			scale = math.Min(1, 2/largestMove(step, pairs))
			for ; scale > 1e-15; scale /= 2 {
				if v, _, _ := derivatives(along(coef, scale, step), pairs); v > value {
					break
				}
			}
		}
		coef = along(coef, scale, step)
		value, gradient, information = derivatives(coef, pairs)
	}
	return nil, nil, 0, ErrNotConverged
}

// largestMove returns the largest change of a rig's log odds along step.
func largestMove(step mat.Vector, pairs []pair) float64 {
	largest := 0.0
	for _, p := range pairs {
		columns, signs := p.columns(step.Len())
		move := 0.0
		for i, c := range columns {
			move += signs[i] * step.AtVec(c)
		}
		largest = math.Max(largest, math.Abs(move))
	}
	return largest
}

func along(from []float64, scale float64, step mat.Vector) []float64 {
	to := make([]float64, len(from))
	for i, x := range from {
		to[i] = x + scale*step.AtVec(i)
	}
	return to
}

func covariance(factor *mat.Cholesky, n int) [][]float64 {
	var inverse mat.SymDense
	// An ill-conditioned matrix is inverted as well as it can be; that it has an inverse is known.
	_ = factor.InverseTo(&inverse)
	rows := make([][]float64, n)
	for i := range rows {
		rows[i] = make([]float64, n)
		for j := range rows[i] {
			rows[i][j] = inverse.At(i, j)
		}
	}
	return rows
}

// derivatives returns the log-likelihood, its gradient, and the information.
func derivatives(coef []float64, pairs []pair) (value float64, gradient *mat.VecDense, information *mat.SymDense) {
	n := len(coef)
	gradient, information = mat.NewVecDense(n, nil), mat.NewSymDense(n, nil)
	for _, p := range pairs {
		columns, signs := p.columns(n)
		eta := 0.0
		for i, c := range columns {
			eta += signs[i] * coef[c]
		}
		total := p.taken[0] + p.taken[1]
		lower, upper := num.Expit(eta), num.Expit(-eta)
		value -= p.taken[0]*logOnePlusExp(-eta) + p.taken[1]*logOnePlusExp(eta)
		residual := p.taken[0]*upper - p.taken[1]*lower
		weight := total * lower * upper
		for i, c := range columns {
			gradient.SetVec(c, gradient.AtVec(c)+signs[i]*residual)
			for j, d := range columns {
				if d >= c {
					information.SetSym(c, d, information.At(c, d)+signs[i]*signs[j]*weight)
				}
			}
		}
	}
	return value, gradient, information
}

// columns returns those of n columns that are not 0 in the rig's row, and their values.
func (p pair) columns(n int) (columns []int, signs []float64) {
	columns, signs = []int{n - 1}, []float64{1} // position
	if p.lower > 0 {
		columns, signs = append(columns, p.lower-1), append(signs, 1)
	}
	if p.upper > 0 {
		columns, signs = append(columns, p.upper-1), append(signs, -1)
	}
	return columns, signs
}

// logOnePlusExp returns ln(1+e^x).
func logOnePlusExp(x float64) float64 { return math.Max(x, 0) + math.Log1p(math.Exp(-math.Abs(x))) }
