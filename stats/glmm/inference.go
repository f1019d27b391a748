package glmm

import "fmt"

// Term names a random effect, or the dispersion of counts.
type Term int

// TermPattern, TermPosition and TermOuting are u, v and w of the trial model. In a model
// of rates TermLevel is the angler's level, TermPattern the angler's own log rate
// ratio, TermOuting the outing's level and TermDispersion that of the counts.
const (
	TermPattern Term = iota + 1
	TermPosition
	TermOuting
	TermLevel
	TermDispersion
)

var termTexts = map[Term]string{
	TermPattern: "pattern", TermPosition: "position", TermOuting: "outing", TermLevel: "level", TermDispersion: "dispersion",
}

// String is the term's name; "Term(n)" for a value that is none.
func (t Term) String() string {
	if text, ok := termTexts[t]; ok {
		return text
	}
	return fmt.Sprintf("Term(%d)", int(t))
}

// inference is a fit from which further questions are answered: the maximum, the index of
// θ among its fixed effects, and where the terms stand among its scale parameters.
type inference struct {
	*maximum
	theta int
	terms map[Term]int
}

// scale returns where a term of the model stands among the scale parameters.
func (f *inference) scale(term Term) (int, error) {
	if k, ok := f.terms[term]; ok && f.hasScale(k) {
		return k, nil
	}
	return 0, fmt.Errorf("%w: %v is no term of this model", ErrInput, term)
}

func (f *inference) hasScale(k int) bool {
	p := f.evaluator.problem
	for _, j := range p.freeParameters() {
		if j == p.width+k {
			return true
		}
	}
	return false
}

// without lists the scale parameters that are gone when the given one is.
func (f *inference) without(k int) []int {
	if f.evaluator.problem.correlated && (k == atPattern || k == atPosition) {
		return []int{k, atCorrelation}
	}
	return []int{k}
}

// fresh is an evaluator of the fit's own, with its modes to start from, so that
// questions can be asked of one fit from several goroutines.
func (f *inference) fresh() *evaluator {
	e := newEvaluator(f.evaluator.problem, f.evaluator.points)
	copy(e.b, f.evaluator.b)
	copy(e.d, f.evaluator.d)
	return e
}
