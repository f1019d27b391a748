package calibration

import (
	"cmp"
	"slices"
)

// The rule. A method may speak if its coverage is at least PromisedCoverage less two
// Monte Carlo standard errors in every cell with at least PromisedFrom anglers. Among
// those the one with the smallest mean of the cells' median widths (in shares) is
// chosen. Covering more often than promised is allowed. Below PromisedFrom anglers
// nothing is promised.
const (
	PromisedCoverage = .94
	PromisedFrom     = 5
)

// Judgement is the rule's finding about one method.
type Judgement struct {
	Method   string
	Cells    int     // that count for the rule and in which the method was tried
	Failed   []Row   // those in which it covers too rarely, worst first
	Least    float64 // smallest coverage in these cells
	Width    float64 // mean over these cells of the median width in shares
	Complete bool    // tried in every cell that counts
}

// Qualifies reports whether the method may speak.
func (j Judgement) Qualifies() bool { return j.Complete && j.Cells > 0 && len(j.Failed) == 0 }

// Choice is what the rule says about a table.
type Choice struct {
	Judgements []Judgement // qualified ones first, narrowest first; then by number of cells failed
	Method     string      // the method chosen; empty if none qualifies
}

// Choose applies the rule to the rows whose cell counts: at least PromisedFrom anglers
// and, if among is not nil, among(cell).
func Choose(rows []Row, among func(Cell) bool) Choice {
	cells := map[string]bool{}
	byMethod := map[string]*Judgement{}
	for _, r := range rows {
		if r.Cell.Anglers < PromisedFrom || among != nil && !among(r.Cell) {
			continue
		}
		cells[r.Cell.Name()] = true
		j := byMethod[r.Method]
		if j == nil {
			j = &Judgement{Method: r.Method, Least: 1}
			byMethod[r.Method] = j
		}
		j.Cells++
		j.Width += r.ShareWidth.Value
		j.Least = min(j.Least, r.Coverage.Value)
		if r.falls(PromisedCoverage) {
			j.Failed = append(j.Failed, r)
		}
	}
	var c Choice
	for _, j := range byMethod {
		j.Complete = j.Cells == len(cells)
		j.Width /= float64(j.Cells)
		slices.SortFunc(j.Failed, func(a, b Row) int {
			return cmp.Or(cmp.Compare(a.Coverage.Value, b.Coverage.Value), cmp.Compare(a.Cell.Name(), b.Cell.Name()))
		})
		c.Judgements = append(c.Judgements, *j)
	}
	slices.SortFunc(c.Judgements, func(a, b Judgement) int {
		if a.Qualifies() != b.Qualifies() {
			if a.Qualifies() {
				return -1
			}
			return 1
		}
		return cmp.Or(cmp.Compare(len(a.Failed), len(b.Failed)), cmp.Compare(a.Width, b.Width), cmp.Compare(a.Method, b.Method))
	})
	if len(c.Judgements) > 0 && c.Judgements[0].Qualifies() {
		c.Method = c.Judgements[0].Method
	}
	return c
}

// falls reports whether the coverage lies below least by more than two Monte Carlo
// standard errors, or is not known.
func (r Row) falls(least float64) bool {
	return !r.Coverage.Known || r.Coverage.Value < least-2*r.Coverage.MCError
}
