package glmm

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// problem is the data in the form the likelihood walks over: rows by subgroup by
// group, equal rows added up, rows without trials gone.
type problem struct {
	vary       Vary
	family     Family
	correlated bool
	width      int // fixed-effect columns
	rows       []cell
	x          []float64 // width values per row
	subs       []span    // rows of a subgroup; one per group without outings
	groups     []group
	// The terms of the log-likelihood that no parameter enters, and the counts, whose
	// terms depend on the dispersion alone.
	fixedTerms float64
	counts     []countRun
	everyGroup []int
	in         [][]int // the groups in whose rows a fixed-effect column is not 0; nil for all
	near       *Spread // nil: nothing is expected
}

// cell is a row, or several equal ones: y of n trials, or y in all in n rows (Poisson: in
// an exposure of n).
type cell struct{ y, n, zu, zv, shift float64 }

type span struct{ from, to int }

type group struct {
	label int
	subs  span
	rows  span
}

// maxTotal keeps counts exact in float64 with room for sums of products.
const maxTotal = 1 << 50

// newProblem checks rows, adds up equal ones and orders them by group and
// subgroup, both in the order of first appearance.
func newProblem(rows []Row, o Options) (*problem, error) {
	ranked, err := rank(rows, o)
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(ranked, func(a, b rankedRow) int { return compareRows(a, b, o) })
	p := &problem{vary: o.Vary, family: o.Family, correlated: o.Correlated, near: o.Near}
	if o.Family == NegativeBinomial {
		ys := make([]int, len(ranked))
		for i, r := range ranked {
			ys[i] = r.Y
		}
		p.counts = countRuns(nil, ys)
	}
	for i := range ranked {
		r := &ranked[i]
		c := cell{y: float64(r.Y), n: float64(r.N), zu: r.U}
		switch o.Family {
		case Poisson:
			c.n = math.Exp(r.Offset)
		case NegativeBinomial:
			c.n, c.shift = 1, r.Offset
		}
		if o.Family != Binomial {
			p.fixedTerms -= logFactorial(c.y)
		}
		if o.Family == Poisson {
			p.fixedTerms += c.y * r.Offset
		}
		if i > 0 && compareRows(ranked[i-1], *r, o) == 0 {
			last := &p.rows[len(p.rows)-1]
			last.y += c.y
			last.n += c.n
			continue
		}
		newGroup := i == 0 || ranked[i-1].group != r.group
		if newGroup {
			p.groups = append(p.groups, group{r.Group, span{len(p.subs), 0}, span{len(p.rows), 0}})
		}
		if newGroup || ranked[i-1].sub != r.sub {
			p.subs = append(p.subs, span{len(p.rows), 0})
		}
		if o.Vary.Position() {
			c.zv = r.V
		}
		p.rows = append(p.rows, c)
		p.x = append(p.x, r.X...)
		p.width = len(r.X)
		p.subs[len(p.subs)-1].to = len(p.rows)
		p.groups[len(p.groups)-1].subs.to = len(p.subs)
		p.groups[len(p.groups)-1].rows.to = len(p.rows)
	}
	p.in = make([][]int, p.width)
	for g := range p.groups {
		p.everyGroup = append(p.everyGroup, g)
	}
	for j := range p.in {
		if in := p.groupsIn(j); len(in) < len(p.groups) {
			p.in[j] = in
		}
	}
	return p, nil
}

// groupsIn lists the groups in whose rows fixed-effect column j is not 0.
func (p *problem) groupsIn(j int) (in []int) {
	for g, group := range p.groups {
		for r := group.rows.from; r < group.rows.to; r++ {
			if p.x[r*p.width+j] != 0 {
				in = append(in, g)
				break
			}
		}
	}
	return in
}

// countRuns appends the distinct counts and their rows to runs, smallest first; ys is sorted.
func countRuns(runs []countRun, ys []int) []countRun {
	slices.Sort(ys)
	for i, y := range ys {
		if i == 0 || ys[i-1] != y {
			runs = append(runs, countRun{float64(y), 0})
		}
		runs[len(runs)-1].rows++
	}
	return runs
}

// logFactorial is ln y!.
func logFactorial(y float64) float64 {
	v, _ := math.Lgamma(y + 1)
	return v
}

type rankedRow struct {
	*Row
	group, sub int
}

// rank validates rows, drops those without trials and numbers groups and
// subgroups by first appearance.
func rank(rows []Row, o Options) ([]rankedRow, error) {
	type subKey struct{ group, label int }
	groups, subs := map[int]int{}, map[subKey]int{}
	ranked := make([]rankedRow, 0, len(rows))
	total := 0
	for i := range rows {
		r := &rows[i]
		if err := r.check(i, len(rows[0].X), o.Family); err != nil {
			return nil, err
		}
		fish := r.Y
		if o.Family == Binomial {
			if fish = r.N; fish == 0 {
				continue
			}
		}
		if fish > maxTotal-total {
			return nil, fmt.Errorf("%w: more than %d fish in all", ErrInput, int64(maxTotal))
		}
		total += fish
		var g int
		if k := len(ranked) - 1; k >= 0 && ranked[k].Group == r.Group {
			g = ranked[k].group // no need to look it up
		} else {
			var seen bool
			if g, seen = groups[r.Group]; !seen {
				g = len(groups)
				groups[r.Group] = g
			}
		}
		s := 0
		if o.Vary.Outing() {
			key := subKey{g, r.Subgroup}
			var seen bool
			if s, seen = subs[key]; !seen {
				s = len(subs)
				subs[key] = s
			}
		}
		ranked = append(ranked, rankedRow{r, g, s})
	}
	return ranked, nil
}

// check refuses a row that means nothing.
func (r *Row) check(i, width int, family Family) error {
	if len(r.X) == 0 || len(r.X) != width {
		return fmt.Errorf("%w: row %d has %d fixed-effect columns, row 0 has %d; all rows need the same number, at least 1", ErrInput, i, len(r.X), width)
	}
	for j, x := range r.X {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return fmt.Errorf("%w: row %d column %d is not a finite number", ErrInput, i, j)
		}
	}
	if s := r.U + r.V; math.IsNaN(s) || math.IsInf(s, 0) {
		return fmt.Errorf("%w: row %d: the loadings are not finite numbers", ErrInput, i)
	}
	switch {
	case family == Binomial && (r.Y < 0 || r.Y > r.N):
		return fmt.Errorf("%w: row %d: %d of %d; accepted is 0 ≤ y ≤ n", ErrInput, i, r.Y, r.N)
	case family == Binomial && r.Offset != 0:
		return fmt.Errorf("%w: row %d has an offset of %v; a binomial count has none", ErrInput, i, r.Offset)
	case family != Binomial && (r.Y < 0 || r.Y > maxTotal):
		return fmt.Errorf("%w: row %d: a count of %d; accepted is 0 or more", ErrInput, i, r.Y)
	case family != Binomial && !(math.Abs(r.Offset) <= maxOffset):
		return fmt.Errorf("%w: row %d: an offset of %v; accepted is the logarithm of an exposure, from -%d to %d", ErrInput, i, r.Offset, maxOffset, maxOffset)
	}
	return nil
}

// maxOffset bounds the logarithm of an exposure, far beyond any number of hours.
const maxOffset = 50

func compareRows(a, b rankedRow, o Options) int {
	if a.group != b.group {
		return cmp.Compare(a.group, b.group)
	}
	if a.sub != b.sub {
		return cmp.Compare(a.sub, b.sub)
	}
	if a.U != b.U {
		return cmp.Compare(a.U, b.U)
	}
	if o.Vary.Position() && a.V != b.V {
		return cmp.Compare(a.V, b.V)
	}
	if o.Family == NegativeBinomial && a.Offset != b.Offset {
		return cmp.Compare(a.Offset, b.Offset)
	}
	return slices.Compare(a.X, b.X)
}
