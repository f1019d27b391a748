package glmm

import "math"

// Where a parameter stands in the full vector, after the fixed effects: the signed SDs of
// u, v and w, the loading of v on u's standardised effect, and δ, whose square is the
// dispersion. Those the model lacks stay 0.
const (
	atPattern = iota
	atPosition
	atOuting
	atCorrelation
	atDispersion
	scales // how many there are
)

// evaluator computes the marginal log-likelihood of a problem and its gradient. It
// keeps the modes found last as starting points of the next evaluation, and all
// scratch space, so that an evaluation allocates nothing.
type evaluator struct {
	problem *problem
	points  int // per dimension
	rule    rule
	// Tolerances of searches, and of modes.
	tolerance, modeTolerance float64
	count                    int       // evaluations so far
	part                     []int     // the groups that are evaluated; nil for all
	b                        []float64 // standardised u and v of each group, in pairs
	d                        []float64 // standardised w of each subgroup
	// Of the current parameters.
	exponential bool // K is e^ζ
	alpha       float64
	logAlpha    float64
	// crossProducts, unless nil, receives the sum over groups of the products of their
	// gradients, row by row.
	crossProducts []float64
	groupGradient []float64
	// The current group: its number, that of its first row, the parts of the following that
	// are its own, their spans of rows, the w's, and H. Without a spread of w there is
	// no subgroup.
	group, from int
	row         []rowState
	cells       []cell
	sub         []subState
	spans       []span
	w           []float64
	reach       float64 // the largest squared length of a row's loadings
	arrow       arrow
	// Scratch: states of rows and subgroups, and columns of quadrature points.
	rows          []rowState
	subs          []subState
	pointValue    []float64
	pointResidual []float64 // row by row
	pointSlope    []float64
	pointPower    []float64 // row by row, or subgroup by subgroup
}

func newEvaluator(p *problem, points int) *evaluator {
	e := &evaluator{problem: p, points: points, rule: newRule(points), tolerance: searchTolerance, modeTolerance: modeTolerance}
	mostRows, mostSubs := 0, 0
	for _, g := range p.groups {
		mostRows = max(mostRows, g.rows.to-g.rows.from)
		mostSubs = max(mostSubs, g.subs.to-g.subs.from)
	}
	e.b = make([]float64, 2*len(p.groups))
	e.d = make([]float64, len(p.subs))
	e.rows = make([]rowState, mostRows)
	e.subs = make([]subState, mostSubs)
	e.pointValue = make([]float64, points)
	e.pointResidual = make([]float64, points*mostRows)
	e.pointPower = make([]float64, points*max(mostRows, mostSubs))
	e.pointSlope = make([]float64, points*mostRows)
	e.groupGradient = make([]float64, p.width+scales)
	return e
}

// split names the parts of a full parameter vector.
func (e *evaluator) split(psi []float64) params {
	w := e.problem.width
	delta := psi[w+atDispersion]
	e.alpha = delta * delta
	e.logAlpha = math.Log(e.alpha)
	e.exponential = e.problem.family != Binomial && e.alpha == 0
	return params{psi[:w], psi[w+atPattern], psi[w+atPosition], psi[w+atOuting], psi[w+atCorrelation], e.alpha, 2 * delta}
}

// evaluate returns the log-likelihood at psi and stores its gradient; NaN if a mode could
// not be found or a value is not finite.
func (e *evaluator) evaluate(psi, gradient []float64) float64 {
	e.count++
	ps := e.split(psi)
	clear(gradient)
	clear(e.crossProducts)
	total, slope := e.problem.constant(ps.alpha)
	gradient[e.problem.width+atDispersion] = ps.deltaSlope * slope
	groups := e.part
	if groups == nil {
		groups = e.problem.everyGroup
	}
	for _, g := range groups {
		into := gradient
		if e.crossProducts != nil {
			into = e.groupGradient
			clear(into)
		}
		f, ok := e.findMode(g, ps)
		if !ok {
			// A start far off may be at fault: once more from the centre.
			e.recentre(g)
			if f, ok = e.findMode(g, ps); !ok {
				e.recentre(g)
				return math.NaN()
			}
		}
		total += f + e.integrate(ps, into)
		if e.crossProducts != nil {
			e.addCrossProducts(gradient)
		}
	}
	if math.IsInf(total, 0) {
		return math.NaN()
	}
	for _, v := range gradient {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return math.NaN()
		}
	}
	return total
}

// integrate returns ln of the integral of exp(f - f(mode)) for the current group, at its
// mode, and adds the derivative of the group's log-likelihood to gradient.
func (e *evaluator) integrate(ps params, gradient []float64) float64 {
	m := newScaling(&e.arrow)
	half := -e.logDeterminant() / 2
	if ps.alpha > 0 {
		for k := range e.row {
			e.row[k].odds = math.Exp(e.row[k].eta)
		}
	}
	t := moments{mass: 1}
	switch {
	case e.points == 1:
		e.atMode(ps)
	case len(e.sub) == 0:
		t = e.sumPoints(ps, m)
	default:
		t = e.sumNested(ps, m)
	}
	e.addGradient(ps, m, t, gradient)
	if e.points == 1 {
		return half
	}
	return half + math.Log(t.mass)
}

// atMode leaves in the states what sums over one point would.
func (e *evaluator) atMode(ps params) {
	for k := range e.row {
		row := &e.row[k]
		row.mean, row.meanT1, row.meanT2, row.meanTau = row.residual, 0, 0, 0
		if ps.alpha > 0 {
			row.meanSlope = dispersionSlope(&e.cells[k], row.odds, ps.alpha)
		}
	}
	for k := range e.sub {
		e.sub[k].follow()
	}
}

// addCrossProducts adds the current group's gradient, and its products.
func (e *evaluator) addCrossProducts(gradient []float64) {
	n := len(gradient)
	for i, v := range e.groupGradient {
		gradient[i] += v
		for j, u := range e.groupGradient {
			e.crossProducts[i*n+j] += v * u
		}
	}
}

func (e *evaluator) recentre(g int) {
	e.b[2*g], e.b[2*g+1] = 0, 0
	subs := e.problem.groups[g].subs
	clear(e.d[subs.from:subs.to])
}
