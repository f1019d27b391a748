package analysis

import (
	"cmp"
	"fmt"
	"maps"
	"slices"

	"evenrig/service/trial"
	"evenrig/stats/exact"
)

// Fish that the records do not hold: not logged, or erased with their angler. Nobody knows which fly they took, so the
// question is asked twice, as if all of them had taken one pattern and as if all had taken the other (worst and best case, after
// the panel on missing data of the National Research Council 2010, The Prevention and Treatment of Missing Data in Clinical Trials).

// checkUnseen names what of the fish outside the records cannot be.
func (in Input) checkUnseen(f *trial.Faults) {
	total := in.Effort.ErasedFish
	for _, c := range in.NotLogged {
		total += min(max(c.N, 0), exact.MaxCount)
		if c.N < 0 || total > exact.MaxCount {
			f.Add("not_logged", "counts more than %d fish, or fewer than none", int64(exact.MaxCount))
			break
		}
	}
	if e := in.Effort; e.ErasedAnglers < 0 || e.ErasedFish < 0 || e.ErasedFish > exact.MaxCount {
		f.Add("effort", "has %d erased fish of %d anglers; accepted: 0 to %d", e.ErasedFish, e.ErasedAnglers, int64(exact.MaxCount))
	}
}

// unlogged returns the fish not logged, summed by angler and in the order of their labels, without those of none.
func (in Input) unlogged() []AnglerCount {
	counts := map[string]int64{}
	for _, c := range in.NotLogged {
		if c.N > 0 {
			counts[c.Angler] += c.N
		}
	}
	list := make([]AnglerCount, 0, len(counts))
	for _, angler := range slices.Sorted(maps.Keys(counts)) {
		list = append(list, AnglerCount{angler, counts[angler]})
	}
	return list
}

// withUnlogged returns the analysed tallies and, of every angler, the fish not logged, taken for one pattern. They are spread over
// the angler's days and arrangements as the logged ones are; an angler without an analysed fish has them half each way round.
func (in Input) withUnlogged(taken trial.Taken) []trial.Tally {
	tallies := chosen(in.Tallies, func(t trial.Tally) (trial.Tally, bool) { return t, t.Exclusion == trial.Analysed })
	all := slices.Clone(tallies)
	byAngler := map[string][]trial.Tally{}
	for _, t := range tallies {
		byAngler[t.Angler] = append(byAngler[t.Angler], t)
	}
	for _, missing := range in.unlogged() {
		own := byAngler[missing.Angler]
		all = append(all, spread(own, missing.N, taken)...)
		if len(own) == 0 {
			all = append(all, halves(missing.Angler, missing.N, taken)...)
		}
	}
	return all
}

// spread shares n fish out over the tallies in proportion to their fish, by largest remainders; a remainder that several
// have goes to the first in CompareTallies's order.
func spread(own []trial.Tally, n int64, taken trial.Taken) []trial.Tally {
	whole := fishIn(own)
	if whole == 0 {
		return nil
	}
	slices.SortFunc(own, trial.CompareTallies)
	shares, remainders := make([]trial.Tally, len(own)), make([]int64, len(own))
	left := n
	for i, t := range own {
		// n and t.N are at most exact.MaxCount each, far below where their product would overflow.
		shares[i], remainders[i] = t, n*t.N%whole
		shares[i].Taken, shares[i].N = taken, n*t.N/whole
		left -= shares[i].N
	}
	order := make([]int, len(own))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(remainders[b], remainders[a]) })
	for _, i := range order[:left] {
		shares[i].N++
	}
	return shares
}

// halves are n fish of somebody of whom nothing else is known, half of them each way round.
func halves(angler string, n int64, taken trial.Taken) []trial.Tally {
	fish := trial.Tally{Angler: angler, Outing: "not in the records", Taken: taken}
	lower, upper := fish, fish
	lower.Arrangement, lower.N = trial.TestLower, n-n/2
	upper.Arrangement, upper.N = trial.ControlLower, n/2
	return []trial.Tally{lower, upper}
}

// withErased returns the analysed tallies and the fish of erased anglers, shared out evenly among as many anglers as were erased,
// taken for one pattern.
func (in Input) withErased(taken trial.Taken) []trial.Tally {
	all := chosen(in.Tallies, func(t trial.Tally) (trial.Tally, bool) { return t, t.Exclusion == trial.Analysed })
	anglers := max(1, in.Effort.ErasedAnglers)
	for i := range min(anglers, in.Effort.ErasedFish) {
		n := in.Effort.ErasedFish / anglers
		if i < in.Effort.ErasedFish%anglers {
			n++
		}
		all = append(all, halves(fmt.Sprintf("erased angler %d", i+1), n, taken)...)
	}
	return all
}

// unseenCase is one question about fish outside the records: fish of them, with() the tallies that hold them.
type unseenCase struct {
	name Case
	fish int64
	with func() []trial.Tally
}

// unseen lists the questions that the source can ask; a table knows of no fish that are not in it.
func (in Input) unseen() (cases []unseenCase) {
	var unlogged int64
	for _, c := range in.unlogged() {
		unlogged += c.N
	}
	if !in.ownRecords() && unlogged+in.Effort.ErasedFish == 0 {
		return nil
	}
	for _, c := range []struct {
		name  Case
		fish  int64
		with  func(trial.Taken) []trial.Tally
		taken trial.Taken
	}{
		{CaseNotLoggedTest, unlogged, in.withUnlogged, trial.TookTest},
		{CaseNotLoggedControl, unlogged, in.withUnlogged, trial.TookControl},
		{CaseErasedTest, in.Effort.ErasedFish, in.withErased, trial.TookTest},
		{CaseErasedControl, in.Effort.ErasedFish, in.withErased, trial.TookControl},
	} {
		cases = append(cases, unseenCase{c.name, c.fish, func() []trial.Tally { return c.with(c.taken) }})
	}
	return cases
}
