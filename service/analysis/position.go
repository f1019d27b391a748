package analysis

import (
	"cmp"
	"math"
	"slices"

	"evenrig/service/trial"
	"evenrig/stats/num"
)

// presentationColumn is a further column: how the flies were fished.
const presentationColumn = "presentation"

// positionBy compares the position effect β between waters and presentations, where recorded; exploratory. Only levels with fish in
// both arrangements and at both positions of each have a finite β and are in the fit.
func positionBy(all covariates) ([]PositionBy, error) {
	if all.fish() == 0 {
		return nil, nil
	}
	list := []PositionBy{}
	recorded := all.recorded()
	for _, column := range []string{"water_type", presentationColumn} {
		if !slices.Contains(recorded, column) {
			continue
		}
		p, err := all.positionIn(column)
		if err != nil {
			return nil, err
		}
		list = append(list, p)
	}
	return list, nil
}

func (m covariates) positionIn(column string) (PositionBy, error) {
	by := PositionBy{Column: column, Levels: []PositionLevel{}}
	label := levelOf(column)
	levels := m.tables(label)
	place := map[string]int{}
	for _, l := range levels {
		if !l.table.HasZeroCell() && len(place) < mostLevels {
			place[l.label] = len(place)
		}
		by.Levels = append(by.Levels, PositionLevel{Level: l.label, Catches: l.fish})
	}
	if len(place) < 2 {
		return by, nil
	}
	part := m.only(func(t *trial.Tally) bool { _, in := place[label(t)]; return in })
	one := dummies(place, label)
	own := func(t *trial.Tally) []float64 {
		x := make([]float64, 2*len(place))
		x[place[label(t)]], x[len(place)+place[label(t)]] = 1, sign(t)
		return x
	}
	fits, _, err := m.fitAlike(model{fish: part, set: one}, model{fish: part, set: own})
	if fits == nil {
		return by, err
	}
	statistic := math.Max(0, 2*(fits[1].LogLikelihood-fits[0].LogLikelihood))
	by.P = known(num.ChiSquaredTail(statistic, float64(len(place)-1)))
	for i, l := range by.Levels {
		j, ok := place[l.Level]
		if !ok {
			continue
		}
		effect, err := part.coefficient(fits[1], len(place)+j)
		if err != nil {
			return by, err
		}
		by.Levels[i].LogOdds, by.Levels[i].Low, by.Levels[i].High = known(effect.LogOdds), known(effect.Low), known(effect.High)
	}
	unknownLast := func(a, b PositionLevel) int {
		rank := map[bool]int{true: 1}
		return cmp.Compare(rank[a.Level == unknownLevel], rank[b.Level == unknownLevel])
	}
	slices.SortStableFunc(by.Levels, unknownLast)
	return by, nil
}
