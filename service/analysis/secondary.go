package analysis

import (
	"errors"
	"fmt"

	"evenrig/service/trial"
	"evenrig/stats/glmm"
)

// covariates fits the mixed model with further fixed columns: logit P(test taken) = x·γ + u + v·c + w, in the form of the mixed
// model of the result, with the quadrature points of rows. One angler's fish are grouped by block, else by outing, with u only.
type covariates struct {
	tallies []grouped    // analysed, in canonical order
	forms   []glmm.Vary  // tried in turn, the richest first
	points  int          // at most
	near    *glmm.Spread // of the main fit, nil for none
	level   float64
	alike   map[glmm.Vary]fitted // of all the fish with one θ, with which every column is compared
}

// grouped is a tally with the numbers of its group and of its outing.
type grouped struct {
	*trial.Tally
	group, outing int
}

// A columns function gives the fixed columns of a tally's fish. Tallies may share a slice, which nobody changes.
type columns func(*trial.Tally) []float64

// newCovariates takes the analysed tallies of a checked input.
func newCovariates(tallies []trial.Tally, f form, level float64) covariates {
	m := covariates{points: f.points, near: f.near, level: level, alike: map[glmm.Vary]fitted{}}
	for i := range tallies {
		if t := &tallies[i]; t.Exclusion == trial.Analysed && t.N > 0 {
			m.tallies = append(m.tallies, grouped{Tally: t})
		}
	}
	m.number(func(t *trial.Tally) string { return t.Angler })
	switch f.vary {
	case VaryPatternPositionOuting:
		m.forms = []glmm.Vary{glmm.VaryPatternPositionOuting, glmm.VaryPatternPosition, glmm.VaryPattern}
	case VaryPatternPosition:
		m.forms = []glmm.Vary{glmm.VaryPatternPosition, glmm.VaryPattern}
	default:
		m.forms = []glmm.Vary{glmm.VaryPattern}
	}
	if m.groups() > 1 {
		return m
	}
	m.forms = []glmm.Vary{glmm.VaryPattern}
	m.number(func(t *trial.Tally) string { return t.Block })
	if m.groups() < 2 {
		m.number(func(t *trial.Tally) string { return t.Outing })
	}
	return m
}

// number numbers the groups that the function names, and the outings within them.
func (m covariates) number(group func(*trial.Tally) string) {
	groups, outings := map[string]int{}, map[[2]string]int{}
	for i := range m.tallies {
		t, last := &m.tallies[i], &m.tallies[max(0, i-1)]
		name := group(t.Tally)
		if i > 0 && name == group(last.Tally) && t.Outing == last.Outing {
			t.group, t.outing = last.group, last.outing
			continue
		}
		t.group, t.outing = numbered(groups, name), numbered(outings, [2]string{name, t.Outing})
	}
}

// numbered returns the number of a key, the next one where it is new.
func numbered[K comparable](numbers map[K]int, key K) int {
	n, ok := numbers[key]
	if !ok {
		n = len(numbers)
		numbers[key] = n
	}
	return n
}

// only returns the same model of a part of the fish.
func (m covariates) only(keep func(*trial.Tally) bool) covariates {
	part := m
	part.tallies = make([]grouped, 0, len(m.tallies))
	for _, t := range m.tallies {
		if keep(t.Tally) {
			part.tallies = append(part.tallies, t)
		}
	}
	return part
}

func (m covariates) groups() int {
	seen, last := map[int]bool{}, -1
	for _, t := range m.tallies {
		if t.group != last {
			seen[t.group], last = true, t.group
		}
	}
	return len(seen)
}

// fish counts the model's fish.
func (m covariates) fish() (n int64) {
	for _, t := range m.tallies {
		n += t.N
	}
	return n
}

// model is a set of columns on some fish, with the fits that are kept for who asks again; nil keeps none.
type model struct {
	fish covariates
	set  columns
	kept map[glmm.Vary]fitted
}

type fitted struct {
	fit *glmm.Result
	err error
}

// in fits the model in a form.
func (m model) in(form glmm.Vary) (*glmm.Result, error) {
	f, ok := m.kept[form]
	if !ok {
		f.fit, f.err = glmm.Fit(m.fish.rows(m.set), glmm.Options{Vary: form, Points: min(m.fish.points, pointsOfRows(form.Outing())), Near: m.fish.near})
		if m.kept != nil {
			m.kept[form] = f
		}
	}
	return f.fit, f.err
}

// fit fits a set of columns in the richest form that can be fitted; nil where there is none, and the reason says why.
func (m covariates) fit(set columns) (*glmm.Result, string, error) {
	fits, reason, err := m.fitAlike(model{fish: m, set: set})
	if fits == nil {
		return nil, reason, err
	}
	return fits[0], "", nil
}

// fitAlike fits models in the richest form that can be fitted to all, so that their likelihoods can be compared; nil where
// there is none, and the reason says why.
func (m covariates) fitAlike(models ...model) (fits []*glmm.Result, reason string, err error) {
	for _, one := range models {
		if one.fish.groups() < 2 {
			return nil, "it takes the fish of two anglers, or of two blocks or days of one angler", nil
		}
	}
forms:
	for _, form := range m.forms {
		fits = nil
		for _, one := range models {
			fit, err := one.in(form)
			if err != nil {
				_, _, why, ok := fitOutcome(err)
				if !ok {
					return nil, "", fmt.Errorf("mixed model with columns: %w", err)
				}
				if errors.Is(err, glmm.ErrSeparation) || errors.Is(err, glmm.ErrNoVariation) {
					return nil, why, nil // the same in every form
				}
				reason = why
				continue forms
			}
			fits = append(fits, fit)
		}
		return fits, "", nil
	}
	return nil, reason, nil
}

func (m covariates) rows(set columns) []glmm.Row {
	rows := make([]glmm.Row, 0, len(m.tallies))
	for _, t := range m.tallies {
		row := glmm.Row{Group: t.group, Subgroup: t.outing, N: int(t.N), X: set(t.Tally), U: 1, V: sign(t.Tally)}
		if t.Taken == trial.TookTest {
			row.Y = row.N
		}
		rows = append(rows, row)
	}
	return rows
}

// coefficient returns a fitted column with limits by t on groups - 1.
func (m covariates) coefficient(fit *glmm.Result, column int) (Coefficient, error) {
	low, high, p, err := glmm.Wald(fit.Coef[column], fit.StdErr[column], m.level, float64(len(fit.Groups)-1))
	if err != nil {
		return Coefficient{}, fmt.Errorf("column %d: %w", column, err)
	}
	return Coefficient{LogOdds: fit.Coef[column], StdError: fit.StdErr[column], Low: low, High: high, P: p}, nil
}

func sign(t *trial.Tally) float64 { return float64(t.Arrangement.Sign()) }
