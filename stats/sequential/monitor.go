package sequential

import (
	"fmt"
	"math"

	"evenrig/stats/num"
)

// Result is what the one method of the protocol gives at a look: the estimate of θ, its
// standard error (above 0, finite) and the method's own two-sided p, 0 to 1.
type Result struct{ Estimate, StdErr, P float64 }

// Decision is what a look comes to.
type Decision int

// The decisions. Ended is the last look without crossing: the trial is over and α spent.
const (
	GoOn       Decision = iota
	Stop                // the boundary is crossed
	Ended               // the last look did not cross
	NoDecision          // the look had nothing to spend: the trial goes on
)

func (d Decision) String() string {
	switch d {
	case GoOn:
		return "go on"
	case Stop:
		return "stop"
	case Ended:
		return "ended"
	case NoDecision:
		return "no decision"
	}
	return "unknown"
}

// Look is one look, judged.
type Look struct {
	Number      int
	Information float64 // 1/SE²
	Boundary            // fraction, α spent so far, nominal p and |Z| that stop the trial
	P           float64 // the method's own
	Crossed     bool    // P <= NominalP
	FutileAbove float64 // advice only: P above this makes the planned effect unlikely to be found; 0 for none
	Last        bool    // the planned last, the one that closed the trial, or the first at a fraction of 1 or more
	Decision    Decision
}

// Monitor takes a trial's looks one by one. It is not safe for concurrent use.
//
//   - A look before the last spends what the spending function gives for its
//     information, less what is spent already.
//   - Information that falls or grows by less than SmallestStep of the plan buys
//     nothing: nothing is spent, no decision is possible and the trial goes on. The
//     look counts as one of those planned; the next is measured against the last
//     look that could be judged. The same where the spending function gives less than
//     1e-15.
//   - The last look spends all that is left, however much information there is:
//     under-running and over-running change its boundary and never the level. A look
//     at a fraction of 1 or more is the last.
//   - A last look whose information did not grow is judged at a nominal p equal to
//     all that is left: whatever its correlation with the looks before, the chance
//     of crossing is no larger (Bonferroni).
type Monitor struct {
	plan    Plan
	drift   float64 // of the effect that the plan has its power for
	looks   []Look
	results []Result
}

// NewMonitor returns a monitor before its first look. Errors: ErrPlan, ErrNumeric.
func NewMonitor(plan Plan) (*Monitor, error) {
	c, err := plan.Characteristics()
	if err != nil {
		return nil, err
	}
	return &Monitor{plan: plan, drift: c.Drift}, nil
}

// Looks returns the looks made so far, in order.
func (m *Monitor) Looks() []Look { return append([]Look(nil), m.looks...) }

// Look judges the next look. closing says that the trial is closed with it, though
// looks may be left. A look that returns an error is not counted.
//
// Errors: ErrResult; ErrTooManyLooks; ErrFinished after a look that stopped or ended
// the trial; ErrFractions where the information is over MaxFraction times the plan;
// ErrNumeric.
func (m *Monitor) Look(result Result, closing bool) (Look, error) {
	if err := m.accepts(result); err != nil {
		return Look{}, err
	}
	information := 1 / (result.StdErr * result.StdErr)
	look := Look{Number: len(m.looks) + 1, Information: information, P: result.P}
	look.Fraction = information / m.plan.Information
	if !(look.Fraction <= MaxFraction) {
		return Look{}, fmt.Errorf("%w: look %d has %g times the planned information; accepted: up to %d", ErrFractions, look.Number, look.Fraction, MaxFraction)
	}
	look.Last = closing || look.Number == m.plan.Looks || look.Fraction >= 1
	boundary, err := m.boundary(look)
	if err != nil {
		return Look{}, err
	}
	look.Boundary = boundary
	look.Crossed = boundary.NominalP > 0 && result.P <= boundary.NominalP
	switch {
	case look.Crossed:
		look.Decision = Stop
	case look.Last:
		look.Decision = Ended
	case boundary.NominalP == 0:
		look.Decision = NoDecision
	}
	if look.Decision == GoOn {
		advice, err := FutileAbove(m.plan.Spending, append(m.judgedBounds(), boundary), m.plan.Power, m.drift)
		if err != nil {
			return Look{}, err
		}
		look.FutileAbove = advice[len(advice)-1]
	}
	m.looks, m.results = append(m.looks, look), append(m.results, result)
	return look, nil
}

func (m *Monitor) accepts(r Result) error {
	if n := len(m.looks); n > 0 && m.looks[n-1].Last || n > 0 && m.looks[n-1].Crossed {
		if n == m.plan.Looks {
			return fmt.Errorf("%w: %d of %d", ErrTooManyLooks, n, m.plan.Looks)
		}
		return fmt.Errorf("%w: look %d of %d", ErrFinished, n, m.plan.Looks)
	}
	switch {
	case math.IsNaN(r.Estimate) || math.IsInf(r.Estimate, 0):
		return fmt.Errorf("%w: the estimate is %g", ErrResult, r.Estimate)
	case !(r.StdErr > 1e-100 && r.StdErr < 1e100):
		return fmt.Errorf("%w: the standard error is %g; accepted: above 0 and finite", ErrResult, r.StdErr)
	case !(r.P >= 0 && r.P <= 1):
		return fmt.Errorf("%w: p is %g; accepted: 0 to 1", ErrResult, r.P)
	}
	return nil
}

// boundary returns what the next look may spend.
func (m *Monitor) boundary(look Look) (Boundary, error) {
	var fractions, cumulative []float64
	before, spent := 0.0, 0.0
	for _, b := range m.judgedBounds() {
		before, spent = b.Fraction, b.Spent
		fractions, cumulative = append(fractions, before), append(cumulative, spent)
	}
	grown := look.Fraction >= before+SmallestStep
	left := m.plan.Alpha - spent
	switch {
	case !grown && look.Last && left >= leastSpent:
		return Boundary{Fraction: look.Fraction, Spent: m.plan.Alpha, NominalP: left, Z: -num.NormalQuantile(left / 2)}, nil
	case !grown:
		return Boundary{Fraction: look.Fraction, Spent: spent}, nil
	case look.Last:
		spent = m.plan.Alpha
	default:
		spent = m.plan.Spending.Spent(look.Fraction, m.plan.Alpha)
	}
	bounds, err := spend(append(fractions, look.Fraction), append(cumulative, spent))
	if err != nil {
		return Boundary{}, err
	}
	return bounds[len(bounds)-1], nil
}

// judgedBounds returns the boundaries of the looks whose information had grown.
func (m *Monitor) judgedBounds() []Boundary {
	var bounds []Boundary
	before := 0.0
	for _, l := range m.looks {
		if l.Fraction >= before+SmallestStep {
			bounds = append(bounds, l.Boundary)
			before = l.Fraction
		}
	}
	return bounds
}
