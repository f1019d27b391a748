package analysis

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"time"

	"evenrig/service/trial"
)

// The least analysed fish of a week or third for which θ is given, and the most weeks for which it is.
const (
	leastInWeek = 5
	mostWeeks   = 30
)

// drift is the slope of θ with the week and θ by weeks and thirds; nil where no week is known, or one only. The week is
// centred at the mean over fish, so that it takes nothing from θ. Fish of unknown week are left out.
func drift(all covariates, n *notes) (*Drift, error) {
	weeks := map[string]float64{}
	m := all.only(func(t *trial.Tally) bool {
		if _, ok := weeks[t.Week]; ok {
			return true
		}
		number, ok := weekNumber(t.Week)
		if ok {
			weeks[t.Week] = number
		}
		return ok
	})
	if len(weeks) < 2 {
		what := "the weeks of the analysed fish are not known"
		if len(weeks) == 1 {
			what = "all analysed fish of known week are of one week"
		}
		n.add(WarnNoWeeks, "%s: whether the effect changed with time is not looked at", what)
		return nil, nil
	}
	if left := all.fish() - m.fish(); left > 0 {
		n.add(WarnNoWeeks, "%d analysed fish of unknown week are left out of the change with time", left)
	}
	first, last := slices.Min(slices.Collect(maps.Values(weeks))), slices.Max(slices.Collect(maps.Values(weeks)))
	mean := 0.0
	for _, t := range m.tallies {
		mean += weeks[t.Week] * float64(t.N)
	}
	mean /= float64(m.fish())
	span := last - first // scales the column to order 1, as the search likes it
	fit, reason, err := m.fit(func(t *trial.Tally) []float64 { return []float64{1, sign(t), (weeks[t.Week] - mean) / span} })
	d := &Drift{Weeks: []DriftPoint{}, Thirds: []DriftPoint{}}
	switch {
	case err != nil:
		return nil, err
	case fit == nil:
		n.add(WarnPartRefused, "the change of the effect with time is not given: %s", reason)
	default:
		slope, err := m.coefficient(fit, 2)
		if err != nil {
			return nil, err
		}
		d.PerWeek, d.Low, d.High, d.P = known(slope.LogOdds/span), known(slope.Low/span), known(slope.High/span), known(slope.P)
	}
	if len(weeks) <= mostWeeks {
		if d.Weeks, err = m.through(func(t *trial.Tally) string { return t.Week }, "by week", n); err != nil {
			return nil, err
		}
	} else {
		n.add(WarnPartRefused, "the answer by week is not given: %d weeks are more than %d", len(weeks), mostWeeks)
	}
	names := []string{"first", "second", "last"}
	third := func(t *trial.Tally) string { return names[int(3*(weeks[t.Week]-first)/(span+1))] }
	d.Thirds, err = m.through(third, "by thirds of the trial", n)
	slices.SortFunc(d.Thirds, func(a, b DriftPoint) int {
		return cmp.Compare(slices.Index(names, a.Label), slices.Index(names, b.Label))
	})
	return d, err
}

// through gives θ in each period of time, in the order of the labels.
func (m covariates) through(label func(*trial.Tally) string, what string, n *notes) ([]DriftPoint, error) {
	levels, reason, err := m.byLevel(label, leastInWeek)
	if err != nil {
		return nil, err
	}
	if reason != "" {
		n.add(WarnPartRefused, "the answer %s is not given: %s", what, reason)
	}
	points := make([]DriftPoint, 0, len(levels))
	for _, l := range levels {
		p := DriftPoint{Label: l.label, Analysed: l.fish}
		if l.effect != nil {
			p.LogOdds, p.Low, p.High = known(l.effect.LogOdds), known(l.effect.Low), known(l.effect.High)
		}
		points = append(points, p)
	}
	return points, nil
}

// weekNumber counts weeks from one Monday to the next; false for a text that is no ISO 8601 week.
func weekNumber(week string) (float64, bool) {
	var year, w int
	if n, err := fmt.Sscanf(week, "%4d-W%2d", &year, &w); err != nil || n != 2 || w < 1 || w > 53 {
		return 0, false
	}
	// 4 January is always in week 1.
	january4 := time.Date(year, time.January, 4, 0, 0, 0, 0, time.UTC)
	monday := january4.AddDate(0, 0, -(int(january4.Weekday())+6)%7)
	return float64(monday.AddDate(0, 0, 7*(w-1)).Unix() / (7 * 24 * 3600)), true
}
