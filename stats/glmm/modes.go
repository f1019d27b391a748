package glmm

import "math"

const (
	maxModeSteps = 100
	// Of the Newton decrement before the last step; quadratic convergence squares it. Steps
	// of a search need less than derivatives by differences do.
	modeTolerance  = 1e-11
	roughMode      = 1e-8
	carefulStep    = .5 // a step that moves no ζ by more needs no check of f
	maxStepHalving = 60
)

// open makes group g the current one: its rows prepared at the parameters, and its
// subgroups, of which there are none to speak of if w has no spread.
func (e *evaluator) open(g int, ps params) {
	grp := &e.problem.groups[g]
	e.group, e.from = g, grp.rows.from
	e.row = e.rows[:grp.rows.to-grp.rows.from]
	e.cells = e.problem.rows[grp.rows.from:grp.rows.to]
	e.spans, e.w = e.problem.subs[grp.subs.from:grp.subs.to], e.d[grp.subs.from:grp.subs.to]
	if ps.lw == 0 {
		clear(e.w)
		e.spans, e.w = nil, nil
	}
	e.sub = e.subs[:len(e.spans)]
	e.reach = 0
	for k := range e.row {
		row := &e.row[k]
		e.prepare(grp.rows.from+k, &e.cells[k], row, ps)
		e.reach = max(e.reach, row.a1*row.a1+row.a2*row.a2+ps.lw*ps.lw)
	}
}

// rowsOf are the row states of the current group's subgroup k.
func (e *evaluator) rowsOf(k int) []rowState {
	return e.row[e.spans[k].from-e.from : e.spans[k].to-e.from]
}

// findMode makes group g the current one and moves its standardised effects to the mode of
// f, where f is the log-likelihood of its rows minus half the squared length of the
// effects, starting from where they are. It leaves row states, subgroup states and H at
// the mode and returns f there. f is concave, so Newton's method with halving
// converges from anywhere; false: it did not within maxModeSteps.
func (e *evaluator) findMode(g int, ps params) (f float64, ok bool) {
	e.open(g, ps)
	for range maxModeSteps {
		g1, g2 := e.expand(ps)
		d1, d2, decrement, ok := e.newtonStep(g1, g2)
		if !ok {
			return math.NaN(), false
		}
		// Since H exceeds the identity, a step moves no ζ by more than |a|·√decrement.
		if e.reach*decrement <= carefulStep*carefulStep {
			e.move(1, d1, d2)
		} else if !e.moveCarefully(ps, d1, d2) {
			return math.NaN(), false
		}
		if decrement < e.modeTolerance {
			e.expand(ps)
			if _, _, _, ok := e.newtonStep(0, 0); !ok {
				return math.NaN(), false
			}
			return e.logIntegrand(ps), true
		}
	}
	return math.NaN(), false
}

// effects are b of the current group.
func (e *evaluator) effects() (b1, b2 float64) { return e.b[2*e.group], e.b[2*e.group+1] }

// move adds scale times the step to the group's effects.
func (e *evaluator) move(scale, d1, d2 float64) {
	e.b[2*e.group] += scale * d1
	e.b[2*e.group+1] += scale * d2
	for k := range e.sub {
		e.w[k] += scale * e.sub[k].step
	}
}

// moveCarefully halves the step until f does not fall.
func (e *evaluator) moveCarefully(ps params, d1, d2 float64) bool {
	before := e.logIntegrand(ps)
	tolerance := 1e-12 * math.Abs(before)
	at, scale := 0.0, 1.0
	for range maxStepHalving {
		e.move(scale-at, d1, d2)
		at = scale
		e.expand(ps)
		if e.logIntegrand(ps) >= before-tolerance {
			return true
		}
		scale /= 2
	}
	return false
}

// logIntegrand is f at the group's current row states and effects.
func (e *evaluator) logIntegrand(ps params) float64 {
	b1, b2 := e.effects()
	f := -(b1*b1 + b2*b2) / 2
	for _, w := range e.w {
		f -= w * w / 2
	}
	for k := range e.row {
		row := &e.row[k]
		f += row.y*row.eta - row.n*row.k
	}
	return f
}
