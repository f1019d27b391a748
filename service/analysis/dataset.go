package analysis

import (
	"cmp"
	"maps"
	"slices"

	"evenrig/service/trial"
	"evenrig/stats/exact"
	"evenrig/stats/glmm"
)

// dataset holds the input counts in the groups that the methods need, each in the order of the labels.
type dataset struct {
	counts  Counts
	anglers []angler // every angler of the tallies, also without an analysed fish
}

// angler holds one angler's analysed fish as one table and by day. Outings are labelled within the angler; the label of a day that is
// not known is empty.
type angler struct {
	label   string
	table   exact.Table
	outings []stratum
}

type stratum struct {
	label string
	table exact.Table
}

// newDataset counts and groups checked tallies.
func newDataset(in Input) dataset {
	d := dataset{counts: Counts{Excluded: map[trial.Exclusion]int64{}}}
	byAngler := map[string]*angler{}
	outings := map[[2]string]*exact.Table{}
	seen := map[[2]string]bool{}
	var a *angler
	for i := range in.Tallies {
		t := &in.Tallies[i]
		if t.N == 0 {
			continue
		}
		if a == nil || a.label != t.Angler { // they mostly come angler by angler
			a = at(byAngler, t.Angler)
			a.label = t.Angler
		}
		if t.Outing != "" {
			seen[[2]string{t.Angler, t.Outing}] = true
		}
		d.counts.Catches += t.N
		if t.Exclusion != trial.Analysed {
			d.counts.Excluded[t.Exclusion] += t.N
			continue
		}
		d.counts.add(t)
		add(&a.table, t)
		add(at(outings, [2]string{t.Angler, t.Outing}), t)
	}
	for key, table := range outings {
		a := byAngler[key[0]]
		a.outings = append(a.outings, stratum{key[1], *table})
	}
	for _, label := range slices.Sorted(maps.Keys(byAngler)) {
		a := byAngler[label]
		slices.SortFunc(a.outings, func(x, y stratum) int { return cmp.Compare(x.label, y.label) })
		d.anglers = append(d.anglers, *a)
	}
	d.counts.Anglers = max(int64(len(d.anglers)), in.Effort.Enrolled)
	d.counts.Outings = max(int64(len(seen)), in.Effort.Outings)
	return d
}

// blocksOf returns an angler's analysed fish by block, in the order of the labels; a fish without a block stands with those of its day.
func blocksOf(in Input, angler string) []stratum {
	tables := map[string]*exact.Table{}
	for i := range in.Tallies {
		t := &in.Tallies[i]
		if t.N == 0 || t.Exclusion != trial.Analysed || t.Angler != angler {
			continue
		}
		label := t.Block + "\x00"
		if t.Block == "" {
			label += t.Outing
		}
		add(at(tables, label), t)
	}
	var blocks []stratum
	for _, label := range slices.Sorted(maps.Keys(tables)) {
		blocks = append(blocks, stratum{label, *tables[label]})
	}
	return blocks
}

// at returns the value of key, made on first use.
func at[K comparable, V any](m map[K]*V, key K) *V {
	if m[key] == nil {
		m[key] = new(V)
	}
	return m[key]
}

// add counts the fish of one analysed tally in the cell where it belongs.
func add(table *exact.Table, t *trial.Tally) {
	switch {
	case t.Arrangement == trial.TestLower && t.Taken == trial.TookTest:
		table.A += t.N
	case t.Arrangement == trial.TestLower:
		table.B += t.N
	case t.Taken == trial.TookTest:
		table.C += t.N
	default:
		table.D += t.N
	}
}

func (c *Counts) add(t *trial.Tally) {
	c.Analysed += t.N
	if t.Taken == trial.TookTest {
		c.Test += t.N
	} else {
		c.Control += t.N
	}
	var one exact.Table
	add(&one, t)
	c.TestLower.Lower += one.A
	c.TestLower.Upper += one.B
	c.ControlLower.Lower += one.D
	c.ControlLower.Upper += one.C
}

// testLower and controlLower read a table by arrangement and position.
func testLower(t exact.Table) ByPosition    { return ByPosition{Lower: t.A, Upper: t.B} }
func controlLower(t exact.Table) ByPosition { return ByPosition{Lower: t.D, Upper: t.C} }

// withFish returns the anglers who have an analysed fish: K of them.
func (d dataset) withFish() []angler {
	return slices.DeleteFunc(slices.Clone(d.anglers), func(a angler) bool { return a.table.Total() == 0 })
}

func (d dataset) pooled() exact.Table {
	return exact.Table{
		A: d.counts.TestLower.Lower, B: d.counts.TestLower.Upper,
		C: d.counts.ControlLower.Upper, D: d.counts.ControlLower.Lower,
	}
}

// outingsKnown reports whether the day of every analysed fish is known.
func (d dataset) outingsKnown() bool {
	for _, a := range d.anglers {
		if slices.ContainsFunc(a.outings, func(o stratum) bool { return o.label == "" }) {
			return false
		}
	}
	return true
}

// outingsShared reports whether any outing has two analysed fish: where none has, days cannot make fish alike.
func outingsShared(tallies []trial.Tally) bool {
	fish := map[[2]string]int64{}
	for _, t := range tallies {
		if t.Exclusion != trial.Analysed || t.Outing == "" {
			continue
		}
		key := [2]string{t.Angler, t.Outing}
		if fish[key] += t.N; fish[key] > 1 {
			return true
		}
	}
	return false
}

// outingsRepeat reports whether days can be told apart from anglers: at least 2 anglers have at least 2 outings with
// an analysed fish, and such an outing has 2 fish or more on average.
func (d dataset) outingsRepeat() bool {
	var anglers, outings int64
	for _, a := range d.anglers {
		outings += int64(len(a.outings))
		if len(a.outings) >= 2 {
			anglers++
		}
	}
	return anglers >= 2 && d.counts.Analysed >= 2*outings
}

// cells returns the analysed counts for the mixed model, anglers and outings numbered in the order of their labels.
func (d dataset) cells(byOuting bool) []glmm.Cell {
	var cells []glmm.Cell
	for i, a := range d.anglers {
		groups := []stratum{{table: a.table}}
		if byOuting {
			groups = a.outings
		}
		for j, g := range groups {
			for _, cell := range []glmm.Cell{
				{Angler: i, Outing: j, TestLower: true, Test: int(g.table.A), Control: int(g.table.B)},
				{Angler: i, Outing: j, Test: int(g.table.C), Control: int(g.table.D)},
			} {
				if cell.Test+cell.Control > 0 {
					cells = append(cells, cell)
				}
			}
		}
	}
	return cells
}

// DesignOf returns the design that the records of a catch table show: paired_by_outing where every outing has one
// arrangement (and both occur), else paired. A fish without an outing makes it paired.
func DesignOf(tallies []trial.Tally) trial.Design {
	arrangement := map[[2]string]trial.Arrangement{}
	both := map[trial.Arrangement]bool{}
	for _, t := range tallies {
		if t.Exclusion != trial.Analysed || t.N == 0 {
			continue
		}
		key := [2]string{t.Angler, t.Outing}
		if fished, ok := arrangement[key]; t.Outing == "" || ok && fished != t.Arrangement {
			return trial.Paired
		}
		arrangement[key], both[t.Arrangement] = t.Arrangement, true
	}
	if len(both) < 2 {
		return trial.Paired
	}
	return trial.PairedByOuting
}
