package analysis

import (
	"cmp"
	"math"
	"slices"

	"evenrig/service/trial"
)

// Each angler is left out in turn up to mostLeftOut anglers with analysed fish; of more, the mostInfluential are.
const (
	mostLeftOut     = 60
	mostInfluential = 20
	mostChoices     = 10 // levels of a column that stand alone in turn
)

// choice says of each tally whether and as what it is analysed.
type choice func(trial.Tally) (trial.Tally, bool)

// fishCase is a case that concerns single fish. known says whether the source can tell such a fish at all.
type fishCase struct {
	name  Case
	fish  choice
	known bool
}

// choices are the cases that concern single fish, in the order in which they stand in the result.
func choices(in Input) []fishCase {
	with := func(reason trial.Exclusion) choice {
		return func(t trial.Tally) (trial.Tally, bool) {
			return t, t.Exclusion == trial.Analysed || t.Exclusion == reason && analysable(t)
		}
	}
	sure := func(taken trial.Taken) choice {
		return func(t trial.Tally) (trial.Tally, bool) {
			if t.Exclusion == trial.NotSure && t.Arrangement != "" {
				t.Taken = taken
				return t, true
			}
			return t, t.Exclusion == trial.Analysed
		}
	}
	without := func(at func(trial.Tally) bool) choice {
		return func(t trial.Tally) (trial.Tally, bool) { return t, t.Exclusion == trial.Analysed && !at(t) }
	}
	marked := func(at func(trial.Tally) bool) bool {
		return in.ownRecords() || slices.ContainsFunc(in.Tallies, at)
	}
	late := func(t trial.Tally) bool { return t.Late }
	opened := func(t trial.Tally) bool { return t.OpenedLate }
	deviated := func(t trial.Tally) bool { return t.Deviated }
	finished := func(t trial.Tally) bool { return t.Finished }
	left := map[string]bool{}
	for _, angler := range in.Left {
		left[angler] = true
	}
	cases := []fishCase{
		{CaseNotSureTest, sure(trial.TookTest), true},
		{CaseNotSureControl, sure(trial.TookControl), true},
		{CaseWithLost, with(trial.ExcludeLost), true},
		{CaseWithFoulHooked, with(trial.FoulHooked), true},
		{CaseWithSwapping, with(trial.WhileSwapping), true},
		{CaseWithDoubles, with(trial.Double), true},
	}
	if in.ownRecords() {
		disputed := func(t trial.Tally) (trial.Tally, bool) {
			return t, t.Exclusion == trial.Analysed || t.DisputedOnly && analysable(t)
		}
		cases = append(cases, fishCase{CaseWithDisputed, disputed, true})
	}
	return append(cases,
		fishCase{CaseWithoutLate, without(late), marked(late)},
		fishCase{CaseFinishedBlocks, without(func(t trial.Tally) bool { return !t.Finished }), marked(finished)},
		fishCase{CaseWithoutOpenedLate, without(opened), marked(opened)},
		fishCase{CaseWithoutDeviations, without(deviated), marked(deviated)},
		fishCase{CaseWithoutLeft, without(func(t trial.Tally) bool { return left[t.Angler] }), in.ownRecords() || len(in.Left) > 0},
	)
}

// ownRecords reports whether the fish come from a trial that was kept here from its outings on, so that what is not marked did not
// happen; a table, also one of a drawn kit, only tells what its columns say.
func (in Input) ownRecords() bool { return in.Source == trial.Drawn && in.Effort.Enrolled > 0 }

// sensitivity gives the headline's method on other choices of fish, no looks allowed for: the headline's own row first, then one
// for each case whose fish differ from it. unchanged lists the cases whose fish do not.
func (q asked) sensitivity(c *run) (rows []SensitivityCase, unchanged []Case, err error) {
	r, n := c.r, c.n
	if r.Counts.Analysed == 0 {
		return nil, nil, nil
	}
	h := c.plain
	main := SensitivityCase{Case: CaseMain, Analysed: r.Counts.Analysed, LogOdds: h.LogOdds, Low: h.Low, High: h.High, Reason: c.n.reason(c.plain)}
	rows, unchanged = []SensitivityCase{main}, []Case{}
	ask := func(name Case, of string, tallies []trial.Tally) error {
		h, reason, err := q.again(tallies)
		rows = append(rows, SensitivityCase{Case: name, Of: of, Analysed: fishIn(tallies), LogOdds: h.LogOdds, Low: h.Low, High: h.High, Reason: reason})
		return err
	}
	add := func(name Case, of string, fish choice) error {
		if !changes(q.in.Tallies, fish) {
			if of == "" {
				unchanged = append(unchanged, name)
			}
			return nil
		}
		return ask(name, of, chosen(q.in.Tallies, fish))
	}
	unknown := false
	for _, choice := range choices(q.in) {
		if !choice.known {
			unknown = true
			continue
		}
		if err := add(choice.name, "", choice.fish); err != nil {
			return nil, nil, err
		}
	}
	if unknown {
		n.add(WarnCasesUnknown, "these records do not say of every fish whether it was noted late, or is of an outing opened late, an unfinished round or a half that was not as planned: the answer without such fish is not looked at")
	}
	if !q.in.ownRecords() && slices.ContainsFunc(q.in.Tallies, func(t trial.Tally) bool { return t.Exclusion == trial.Disputed }) {
		n.add(WarnCasesUnknown, "of the disputed fish these records do not say whether they would count without their dispute: the answer with them is not looked at")
	}
	if r.AsAllocated != nil {
		a := r.AsAllocated
		if a.Changed == 0 && a.Analysed == r.Counts.Analysed {
			unchanged = append(unchanged, CaseAsAllocated)
		} else {
			rows = append(rows, SensitivityCase{Case: CaseAsAllocated, Analysed: a.Analysed, LogOdds: a.LogOdds, Low: a.Low, High: a.High, Reason: a.Reason})
		}
	}
	for _, unseen := range q.in.unseen() {
		if unseen.fish == 0 {
			unchanged = append(unchanged, unseen.name)
		} else if err := ask(unseen.name, "", unseen.with()); err != nil {
			return nil, nil, err
		}
	}
	for _, column := range []struct {
		name Case
		key  string
	}{{CaseOnlyFly, "fly"}, {CaseOnlyTyer, "tyer"}, {CaseOnlyBelief, "belief"}} {
		for _, level := range levelsOf(q.in.Tallies, column.key, n) {
			only := func(t trial.Tally) (trial.Tally, bool) {
				return t, t.Exclusion == trial.Analysed && t.Level(column.key) == level
			}
			if err := add(column.name, level, only); err != nil {
				return nil, nil, err
			}
		}
	}
	for _, a := range c.leftOut() {
		without := func(t trial.Tally) (trial.Tally, bool) { return t, t.Exclusion == trial.Analysed && t.Angler != a }
		if err := add(CaseWithoutAngler, a, without); err != nil {
			return nil, nil, err
		}
	}
	return rows, unchanged, nil
}

// chosen returns the tallies that a choice analyses, all of them marked as analysed.
func chosen(tallies []trial.Tally, fish choice) []trial.Tally {
	kept := make([]trial.Tally, 0, len(tallies))
	for i := range tallies {
		if as, in := fish(tallies[i]); in {
			as.Exclusion = trial.Analysed
			kept = append(kept, as)
		}
	}
	return kept
}

// changes reports whether a choice analyses other fish than the main set.
func changes(tallies []trial.Tally, fish choice) bool {
	return slices.ContainsFunc(tallies, func(t trial.Tally) bool {
		as, in := fish(t)
		return in != (t.Exclusion == trial.Analysed) || as != t
	})
}

func fishIn(tallies []trial.Tally) (n int64) {
	for _, t := range tallies {
		n += t.N
	}
	return n
}

// levelsOf lists the known levels of a column among analysed fish, where there are two or more and not too many.
func levelsOf(tallies []trial.Tally, column string, n *notes) (levels []string) {
	for _, t := range tallies {
		if t.Exclusion != trial.Analysed {
			continue
		}
		if level := t.Level(column); level != "" && !slices.Contains(levels, level) {
			levels = append(levels, level)
		}
		if len(levels) > mostChoices {
			n.add(WarnCasesUnknown, "what stands under %s is of more than %d kinds: the answer with each kind alone is not looked at", column, mostChoices)
			return nil
		}
	}
	if len(levels) < 2 {
		return nil
	}
	slices.Sort(levels)
	return levels
}

// leftOut lists the anglers who are left out in turn, in the order of their labels: all of them, or the most influential, by their
// share of the fish times how far their own answer, shrunk where it can be, lies from the headline.
func (c *run) leftOut() []string {
	with := c.d.withFish()
	if len(with) < 2 || c.stepBack() {
		return nil
	}
	var labels []string
	for _, a := range with {
		labels = append(labels, a.label)
	}
	if len(with) <= mostLeftOut {
		return labels
	}
	c.n.add(WarnCasesUnknown, "with %d anglers only the %d who pull most at the answer are left out in turn", len(with), mostInfluential)
	pull := map[string]float64{}
	for _, a := range c.r.Anglers {
		own := a.ShrunkLogOdds
		if own == nil {
			own = a.LogOdds
		}
		if own != nil && c.plain.LogOdds != nil {
			pull[a.Angler] = float64(a.analysed()) * math.Abs(*own-*c.plain.LogOdds)
		}
	}
	slices.SortStableFunc(labels, func(a, b string) int { return cmp.Compare(pull[b], pull[a]) })
	labels = labels[:mostInfluential]
	slices.Sort(labels)
	return labels
}
