package analysis

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"evenrig/service/trial"
	"evenrig/stats/exact"
	"evenrig/stats/glmm"
	"evenrig/stats/meta"
	"evenrig/stats/multiplicity"
	"evenrig/stats/num"
)

const (
	unknownLevel = "unknown"      // what is not recorded
	joinedLevel  = "other levels" // small levels together
	leastInLevel = 10             // analysed fish; smaller levels are joined where there are two of them
	mostLevels   = 20             // the joined one among them
)

// subgroups compares the levels of the columns named beforehand, in the order named, then of every other recorded column with two
// known levels: species, origin, water type, fly and month first, further ones by name. p values of the named are
// adjusted by Holm's method, those of the others, which are a screen, by Benjamini and Hochberg's.
func subgroups(all covariates, named []string, n *notes) ([]Subgroup, error) {
	if all.fish() == 0 {
		return nil, nil
	}
	groups := []Subgroup{}
	for _, column := range named {
		g, err := all.subgroup(column)
		if err != nil {
			return nil, err
		}
		g.Named, g.Correction = true, ByHolm
		groups = append(groups, g)
	}
	for _, column := range all.recorded() {
		if slices.Contains(named, column) {
			continue
		}
		g, err := all.subgroup(column)
		if err != nil {
			return nil, err
		}
		g.Correction = ByBH
		groups = append(groups, g)
	}
	if err := errorsOf(adjust(groups[:len(named)], multiplicity.Holm), adjust(groups[len(named):], multiplicity.BenjaminiHochberg)); err != nil {
		return nil, err
	}
	switch {
	case len(groups) == 0:
		n.add(WarnNoColumns, "nothing recorded of the fish (%s) has two known levels, so that no levels are compared", "species, origin, kind of water, dressing, month")
	case slices.ContainsFunc(groups, func(g Subgroup) bool { return g.P != nil }):
		n.add(WarnSubgroupPower, "an effect that differs between levels by as much as the whole effect takes about four times the fish to see: that levels were not told apart does not make them alike")
	}
	return groups, nil
}

// errorsOf returns the first error.
func errorsOf(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return fmt.Errorf("subgroups: %w", err)
		}
	}
	return nil
}

// adjust fills in the adjusted p values of those groups that have one.
func adjust(groups []Subgroup, by func([]float64) ([]float64, error)) error {
	var p []float64
	for _, g := range groups {
		if g.P != nil {
			p = append(p, *g.P)
		}
	}
	adjusted, err := by(p)
	if err != nil {
		return err
	}
	for i := range groups {
		if groups[i].P != nil {
			groups[i].AdjustedP, adjusted = known(adjusted[0]), adjusted[1:]
		}
	}
	return nil
}

// recorded lists the columns in which the fish have two known levels.
func (m covariates) recorded() []string {
	levels := map[string]map[string]bool{}
	note := func(column, level string) {
		if level != "" && level != unknownLevel {
			if levels[column] == nil {
				levels[column] = map[string]bool{}
			}
			levels[column][level] = true
		}
	}
	own := trial.SubgroupColumns()
	for i, t := range m.tallies {
		last := m.tallies[max(0, i-1)]
		for _, column := range own {
			if level := t.Level(column); i == 0 || level != last.Level(column) {
				note(column, level)
			}
		}
		if i > 0 && t.Columns == last.Columns {
			continue
		}
		for column, level := range trial.Further(t.Columns).Values() {
			note(column, level)
		}
	}
	further := slices.DeleteFunc(slices.Sorted(maps.Keys(levels)), func(column string) bool { return slices.Contains(own, column) })
	return slices.DeleteFunc(append(own, further...), func(column string) bool { return len(levels[column]) < 2 })
}

// subgroup compares the levels of one column.
//
// The test is the likelihood ratio of own θ for each level against one for all, the angler terms and one position effect in both
// (Wilks 1938). A level whose fish all took the same pattern has its θ at infinity, where its
// fish add nothing to the log-likelihood: they are left out of the larger model and the ratio is still that of the two maxima.
func (m covariates) subgroup(column string) (Subgroup, error) {
	label, joined := m.labels(column)
	levels := m.tables(label)
	g := Subgroup{Column: column, Levels: []SubgroupLevel{}}
	place := map[string]int{}
	for _, l := range levels {
		if !l.oneSided() {
			place[l.label] = len(place)
		}
	}
	var err error
	switch {
	case len(levels) < 2:
		g.Reason = "it takes two levels"
	case len(place) == 0:
		g.Reason = "in every level all fish took the same pattern"
	default:
		if err := m.compare(&g, levels, place, label); err != nil {
			return Subgroup{}, err
		}
	}
	if g.Tau2, err = m.shrink(levels); err != nil {
		return Subgroup{}, err
	}
	for _, l := range levels {
		row := SubgroupLevel{Level: l.label, Catches: l.fish}
		if l.label == joinedLevel {
			row.Joined = joined
		}
		if row.LowerShare, err = l.lowerShare(m.level); err != nil {
			return Subgroup{}, err
		}
		if l.effect != nil {
			row.LogOdds, row.Low, row.High = known(l.effect.LogOdds), known(l.effect.Low), known(l.effect.High)
		}
		g.Levels = append(g.Levels, row)
	}
	last := func(l SubgroupLevel) int { return slices.Index([]string{unknownLevel, joinedLevel}, l.Level) }
	slices.SortStableFunc(g.Levels, func(a, b SubgroupLevel) int { return cmp.Compare(last(a), last(b)) })
	return g, nil
}

// compare fills in the test, and the levels' own θ.
func (m covariates) compare(g *Subgroup, levels []levelEffect, place map[string]int, label func(*trial.Tally) string) error {
	part := m.only(func(t *trial.Tally) bool { _, in := place[label(t)]; return in })
	alike := func(t *trial.Tally) []float64 { return []float64{1, sign(t)} }
	fits, reason, err := m.fitAlike(model{m, alike, m.alike}, model{fish: part, set: dummies(place, label)})
	if fits == nil {
		g.Reason = reason
		return err
	}
	statistic := math.Max(0, 2*(fits[1].LogLikelihood-fits[0].LogLikelihood))
	df := len(levels) - 1
	g.Statistic, g.DF, g.P = known(statistic), &df, known(num.ChiSquaredTail(statistic, float64(df)))
	return part.fill(levels, place, fits[1])
}

// labels gives the level of each tally in a column, what is not recorded as unknown, with small levels and those beyond the
// most joined; joined lists these.
func (m covariates) labels(column string) (label func(*trial.Tally) string, joined []string) {
	own := levelOf(column)
	bySize := m.tables(own)
	slices.SortStableFunc(bySize, func(a, b levelEffect) int { return cmp.Compare(b.fish, a.fish) })
	kept := len(bySize)
	if kept > mostLevels {
		kept = mostLevels - 1
	}
	small := func(i int) bool { return i < 0 || bySize[i].fish < leastInLevel }
	for kept > 0 && small(kept-1) {
		kept--
	}
	if len(bySize)-kept < 2 {
		return own, nil
	}
	for _, l := range bySize[kept:] {
		joined = append(joined, l.label)
	}
	slices.Sort(joined)
	return func(t *trial.Tally) string {
		if l := own(t); !slices.Contains(joined, l) {
			return l
		}
		return joinedLevel
	}, joined
}

// shrink draws the levels' θ toward their mean by the variance between levels, REML (empirical Bayes; Morris 1983, Journal of the
// American Statistical Association 78:47): μ + τ²/(τ²+v)·(θ-μ), its variance τ²v/(τ²+v) + (v/(τ²+v))²·Var(μ). That the levels share
// one position effect and anglers, so that their errors are not quite independent, is passed over. It returns τ², nil with fewer than two.
func (m covariates) shrink(levels []levelEffect) (*float64, error) {
	var effects []meta.Effect
	for _, l := range levels {
		if l.effect != nil {
			effects = append(effects, meta.Effect{Y: l.effect.LogOdds, V: l.effect.StdError * l.effect.StdError})
		}
	}
	if len(effects) < 2 {
		return nil, nil
	}
	mean, err := meta.Pool(effects, meta.REML, meta.None, m.level)
	if err != nil {
		return nil, fmt.Errorf("shrink levels: %w", err)
	}
	for i := range levels {
		e := levels[i].effect
		if e == nil {
			continue
		}
		v := e.StdError * e.StdError
		own := mean.Tau2 / (mean.Tau2 + v)
		shrunk := mean.Mu + own*(e.LogOdds-mean.Mu)
		stdError := math.Sqrt(own*v + (1-own)*(1-own)*mean.StdErr*mean.StdErr)
		low, high, p, err := glmm.Wald(shrunk, stdError, m.level, float64(m.groups()-1))
		if err != nil {
			return nil, fmt.Errorf("shrink levels: %w", err)
		}
		*e = Coefficient{LogOdds: shrunk, StdError: stdError, Low: low, High: high, P: p}
	}
	return known(mean.Tau2), nil
}

func (l levelEffect) lowerShare(level float64) (LowerShare, error) {
	lower := l.table.A + l.table.D
	low, high, err := exact.ClopperPearson(lower, l.fish, level)
	if err != nil {
		return LowerShare{}, fmt.Errorf("share of the lower fly: %w", err)
	}
	return LowerShare{Estimate: float64(lower) / float64(l.fish), Low: low, High: high}, nil
}
