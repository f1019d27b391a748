package trial

import (
	"iter"
	"slices"
)

// TablePeriod is the period of a row of a catch table, with what the table calls its angler, outing and block; a text is
// empty, Number nil and Fished empty where the table does not say.
type TablePeriod struct {
	Angler, Outing, Block string
	Number                *int
	Fished                Arrangement
}

// TableBlocks tells the blocks of a catch table apart. A block's number counts within its outing, unless two outings of one
// arrangement each share it: then it is one block of two outings. Which of a block's two periods came first is told by
// their numbers.
type TableBlocks struct {
	spans   map[[2]string]bool  // angler and block: one block of two outings
	numbers map[[2]string][]int // angler and label: the numbers of its periods, each once, at most 3
}

// NewTableBlocks reads all periods of a table, in any order; one may come many times.
func NewTableBlocks(periods iter.Seq[TablePeriod]) TableBlocks {
	b := TableBlocks{spans: map[[2]string]bool{}, numbers: map[[2]string][]int{}}
	fished := map[[2]string]map[string][]Arrangement{} // angler and block: its outings' arrangements, each once
	for p := range periods {
		key := [2]string{p.Angler, p.Block}
		if p.Block == "" || p.Fished == "" {
			continue
		}
		if fished[key] == nil {
			fished[key] = map[string][]Arrangement{}
		}
		if ways := fished[key][p.Outing]; !slices.Contains(ways, p.Fished) {
			fished[key][p.Outing] = append(ways, p.Fished)
		}
	}
	for key, outings := range fished {
		var ways []Arrangement
		for _, way := range outings {
			ways = append(ways, way...)
		}
		b.spans[key] = len(outings) == 2 && len(ways) == 2 && ways[0] != ways[1]
	}
	for p := range periods {
		key := [2]string{p.Angler, b.Label(p)}
		if key[1] != "" && p.Number != nil && len(b.numbers[key]) < 3 && !slices.Contains(b.numbers[key], *p.Number) {
			b.numbers[key] = append(b.numbers[key], *p.Number)
		}
	}
	return b
}

// Label returns the label of the period's block, unique within the angler; empty where there is none.
func (b TableBlocks) Label(p TablePeriod) string {
	if p.Block == "" || p.Outing == "" || b.spans[[2]string{p.Angler, p.Block}] {
		return p.Block
	}
	return p.Outing + ", block " + p.Block
}

// Half returns 1 for the lower and 2 for the higher number of a block that has periods of exactly two numbers, else 0: then
// it cannot be told.
func (b TableBlocks) Half(p TablePeriod) int {
	numbers := b.numbers[[2]string{p.Angler, b.Label(p)}]
	switch {
	case p.Number == nil || len(numbers) != 2:
		return 0
	case *p.Number == min(numbers[0], numbers[1]):
		return 1
	}
	return 2
}
