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
	tallies []trial.Tally // analysed, in canonical order
	forms   []glmm.Vary   // tried in turn, the richest first
	points  int           // at most
	near    *glmm.Spread  // of the main fit, nil for none
	group   func(trial.Tally) string
	level   float64
}

// A columns function gives the fixed columns of a tally's fish.
type columns func(trial.Tally) []float64

// newCovariates takes the analysed tallies of a checked input.
func newCovariates(tallies []trial.Tally, f form, level float64) covariates {
	m := covariates{points: f.points, near: f.near, level: level, group: func(t trial.Tally) string { return t.Angler }}
	for _, t := range tallies {
		if t.Exclusion == trial.Analysed && t.N > 0 {
			m.tallies = append(m.tallies, t)
		}
	}
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
	m.group = func(t trial.Tally) string { return t.Block }
	if m.groups() < 2 {
		m.group = func(t trial.Tally) string { return t.Outing }
	}
	return m
}

// only returns the same model of a part of the fish.
func (m covariates) only(keep func(trial.Tally) bool) covariates {
	part := m
	part.tallies = nil
	for _, t := range m.tallies {
		if keep(t) {
			part.tallies = append(part.tallies, t)
		}
	}
	return part
}

func (m covariates) groups() int {
	seen := map[string]bool{}
	for _, t := range m.tallies {
		seen[m.group(t)] = true
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

// model is a set of columns on some fish.
type model struct {
	fish covariates
	set  columns
}

// fit fits a set of columns in the richest form that can be fitted; nil where there is none, and the reason says why.
func (m covariates) fit(set columns) (*glmm.Result, string, error) {
	fits, reason, err := m.fitAlike(model{m, set})
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
			fit, err := glmm.Fit(one.fish.rows(one.set), glmm.Options{Vary: form, Points: min(m.points, pointsOfRows(form.Outing())), Near: m.near})
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
	groups, outings := map[string]int{}, map[[2]string]int{}
	rows := make([]glmm.Row, 0, len(m.tallies))
	for _, t := range m.tallies {
		g, o := m.group(t), [2]string{m.group(t), t.Outing}
		if _, ok := groups[g]; !ok {
			groups[g] = len(groups)
		}
		if _, ok := outings[o]; !ok {
			outings[o] = len(outings)
		}
		row := glmm.Row{Group: groups[g], Subgroup: outings[o], N: int(t.N), X: set(t), U: 1, V: sign(t)}
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

func sign(t trial.Tally) float64 { return float64(t.Arrangement.Sign()) }
