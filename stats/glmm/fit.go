package glmm

import (
	"fmt"
	"math"
)

// Fit fits the general model to rows by maximum likelihood. Loadings should be of
// order 1: an SD is taken for a runaway when it times the largest loading of its
// effect exceeds 10.
//
// Errors wrap one of the Err values of this package; there is no result then.
func Fit(rows []Row, options Options) (*Result, error) {
	m, options, err := fit(rows, options)
	if err != nil {
		return nil, err
	}
	result := m.result(options)
	result.Groups = make([]GroupEffect, 0, len(m.evaluator.problem.groups))
	ok := m.groupEffects(func(public GroupEffect, _ *effect) { result.Groups = append(result.Groups, public) })
	if !ok {
		return nil, fmt.Errorf("%w: a conditional mode could not be found", ErrNotConverged)
	}
	return result, nil
}

// fit checks everything and maximises; options come back with defaults filled in.
func fit(rows []Row, options Options) (*maximum, Options, error) {
	options, err := options.complete()
	if err != nil {
		return nil, options, err
	}
	p, err := newProblem(rows, options)
	if err != nil {
		return nil, options, err
	}
	if err := p.checkIdentified(); err != nil {
		return nil, options, err
	}
	m, err := p.maximise(options.Points)
	return m, options, err
}

// complete fills in defaults and refuses what has no meaning.
func (o Options) complete() (Options, error) {
	if o.Vary == 0 {
		o.Vary = VaryPatternPosition
	}
	if _, known := varyNames[o.Vary]; !known {
		return o, fmt.Errorf("%w: %v is not a model", ErrInput, o.Vary)
	}
	if _, known := familyNames[o.Family]; !known {
		return o, fmt.Errorf("%w: %v is not a family", ErrInput, o.Family)
	}
	if o.Correlated && !o.Vary.Position() {
		return o, fmt.Errorf("%w: with %v there is no second effect of a group to be correlated", ErrInput, o.Vary)
	}
	if o.Points == 0 {
		o.Points = DefaultPoints
		if o.Vary.Outing() {
			o.Points = DefaultOutingPoints
		}
	}
	if o.Points < 1 || o.Points > MaxPoints {
		return o, fmt.Errorf("%w: %d; accepted are 1 to %d", ErrPoints, o.Points, MaxPoints)
	}
	return o, nil
}

func (m *maximum) result(options Options) *Result {
	w := m.evaluator.problem.width
	r := &Result{
		Coef:          m.psi[:w:w],
		SDPattern:     math.Abs(m.psi[w+atPattern]),
		SDPosition:    math.Hypot(m.psi[w+atPosition], m.psi[w+atCorrelation]),
		SDOuting:      math.Abs(m.psi[w+atOuting]),
		Dispersion:    m.psi[w+atDispersion] * m.psi[w+atDispersion],
		Family:        options.Family,
		Singular:      m.singular,
		LogLikelihood: m.value,
		Vary:          options.Vary,
		Method:        MethodQuadrature,
		Points:        options.Points,
		Iterations:    m.iterations,
		Evaluations:   m.evaluations,
	}
	if options.Correlated && r.SDPattern > 0 && r.SDPosition > 0 {
		correlation := math.Copysign(1, m.psi[w+atPattern]) * m.psi[w+atCorrelation] / r.SDPosition
		r.Correlation = &correlation
	}
	if options.Points == 1 {
		r.Method = MethodLaplace
	}
	for i := range w {
		r.StdErr = append(r.StdErr, math.Sqrt(m.covariance.at(i, i)))
		row := make([]float64, w)
		for j := range w {
			row[j] = m.covariance.at(i, j)
		}
		r.Vcov = append(r.Vcov, row)
	}
	for _, k := range m.free {
		r.GradientNorm = max(r.GradientNorm, math.Abs(m.gradient[k]))
	}
	return r
}
