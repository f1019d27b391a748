package analysis

import (
	"cmp"
	"maps"
	"slices"

	"evenrig/service/trial"
	"evenrig/stats/exact"
	"evenrig/stats/glmm"
)

// levelEffect is θ among the fish of one level; effect is nil where it has no finite estimate.
type levelEffect struct {
	label  string
	fish   int64
	table  exact.Table
	effect *Coefficient
}

// tables sorts the model's fish by level, in the order of the labels.
func (m covariates) tables(label func(*trial.Tally) string) []levelEffect {
	byLabel := map[string]*levelEffect{}
	var l *levelEffect
	for _, t := range m.tallies {
		if name := label(t.Tally); l == nil || l.label != name {
			l = at(byLabel, name)
			l.label = name
		}
		l.fish += t.N
		add(&l.table, t.Tally)
	}
	levels := make([]levelEffect, 0, len(byLabel))
	for _, l := range slices.SortedFunc(maps.Values(byLabel), func(a, b *levelEffect) int { return cmp.Compare(a.label, b.label) }) {
		levels = append(levels, *l)
	}
	return levels
}

// levelOf gives the level of each tally in a column, what is not recorded as unknown. What further columns hold is read once for all
// tallies that hold the same.
func levelOf(column string) func(*trial.Tally) string {
	if slices.Contains(trial.SubgroupColumns(), column) {
		return func(t *trial.Tally) string { return cmp.Or(t.Level(column), unknownLevel) }
	}
	levels := map[string]string{}
	return func(t *trial.Tally) string {
		level, ok := levels[t.Columns]
		if !ok {
			level = cmp.Or(t.Level(column), unknownLevel)
			levels[t.Columns] = level
		}
		return level
	}
}

// oneSided reports whether all fish of the level took the same pattern: its θ is then infinite.
func (l levelEffect) oneSided() bool { return l.table.A+l.table.C == 0 || l.table.B+l.table.D == 0 }

// byLevel fits an own θ for each level with one position effect for all. Levels with fewer than least fish, or whose fish all took
// the same pattern, have none and are left out of the fit. Where it is refused the reason says why.
func (m covariates) byLevel(label func(*trial.Tally) string, least int64) ([]levelEffect, string, error) {
	levels := m.tables(label)
	place := map[string]int{}
	for _, l := range levels {
		if l.fish >= least && !l.oneSided() {
			place[l.label] = len(place)
		}
	}
	if len(place) == 0 {
		return levels, "no part has enough fish that took both patterns", nil
	}
	part := m.only(func(t *trial.Tally) bool { _, in := place[label(t)]; return in })
	fit, reason, err := part.fit(dummies(place, label))
	if fit == nil {
		return levels, reason, err
	}
	return levels, "", part.fill(levels, place, fit)
}

// dummies gives one column for each level, then c.
func dummies(place map[string]int, label func(*trial.Tally) string) columns {
	rows := make([][2][]float64, len(place)) // of each level, by arrangement
	for i := range rows {
		for k := range rows[i] {
			rows[i][k] = make([]float64, len(place)+1)
			rows[i][k][i], rows[i][k][len(place)] = 1, float64(2*k-1)
		}
	}
	return func(t *trial.Tally) []float64 { return rows[place[label(t)]][(t.Arrangement.Sign()+1)/2] }
}

func (m covariates) fill(levels []levelEffect, place map[string]int, fit *glmm.Result) error {
	for i := range levels {
		j, ok := place[levels[i].label]
		if !ok {
			continue
		}
		effect, err := m.coefficient(fit, j)
		if err != nil {
			return err
		}
		levels[i].effect = &effect
	}
	return nil
}
