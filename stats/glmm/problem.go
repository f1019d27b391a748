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
	vary   Vary
	width  int // fixed-effect columns
	rows   []cell
	x      []float64 // width values per row
	subs   []span    // rows of a subgroup; one per group without outings
	groups []group
}

type cell struct{ y, n, zu, zv float64 }

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
func newProblem(rows []Row, vary Vary) (*problem, error) {
	ranked, err := rank(rows, vary)
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(ranked, func(a, b rankedRow) int { return compareRows(a, b, vary) })
	p := &problem{vary: vary}
	for i, r := range ranked {
		if i > 0 && compareRows(ranked[i-1], r, vary) == 0 {
			last := &p.rows[len(p.rows)-1]
			last.y += float64(r.Y)
			last.n += float64(r.N)
			continue
		}
		newGroup := i == 0 || ranked[i-1].group != r.group
		if newGroup {
			p.groups = append(p.groups, group{r.Group, span{len(p.subs), 0}, span{len(p.rows), 0}})
		}
		if newGroup || ranked[i-1].sub != r.sub {
			p.subs = append(p.subs, span{len(p.rows), 0})
		}
		c := cell{y: float64(r.Y), n: float64(r.N), zu: r.U}
		if vary.Position() {
			c.zv = r.V
		}
		p.rows = append(p.rows, c)
		p.x = append(p.x, r.X...)
		p.width = len(r.X)
		p.subs[len(p.subs)-1].to = len(p.rows)
		p.groups[len(p.groups)-1].subs.to = len(p.subs)
		p.groups[len(p.groups)-1].rows.to = len(p.rows)
	}
	return p, nil
}

type rankedRow struct {
	Row
	group, sub int
}

// rank validates rows, drops those without trials and numbers groups and
// subgroups by first appearance.
func rank(rows []Row, vary Vary) ([]rankedRow, error) {
	type subKey struct{ group, label int }
	groups, subs := map[int]int{}, map[subKey]int{}
	ranked := make([]rankedRow, 0, len(rows))
	total := 0
	for i, r := range rows {
		if len(r.X) == 0 || len(r.X) != len(rows[0].X) {
			return nil, fmt.Errorf("%w: row %d has %d fixed-effect columns, row 0 has %d; all rows need the same number, at least 1", ErrInput, i, len(r.X), len(rows[0].X))
		}
		for j, x := range r.X {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				return nil, fmt.Errorf("%w: row %d column %d is not a finite number", ErrInput, i, j)
			}
		}
		if s := r.U + r.V; math.IsNaN(s) || math.IsInf(s, 0) {
			return nil, fmt.Errorf("%w: row %d: the loadings are not finite numbers", ErrInput, i)
		}
		if r.Y < 0 || r.Y > r.N {
			return nil, fmt.Errorf("%w: row %d: %d of %d; accepted is 0 ≤ y ≤ n", ErrInput, i, r.Y, r.N)
		}
		if r.N == 0 {
			continue
		}
		if r.N > maxTotal-total {
			return nil, fmt.Errorf("%w: more than %d fish in all", ErrInput, int64(maxTotal))
		}
		total += r.N
		g, seen := groups[r.Group]
		if !seen {
			g = len(groups)
			groups[r.Group] = g
		}
		s := 0
		if vary.Outing() {
			key := subKey{g, r.Subgroup}
			if s, seen = subs[key]; !seen {
				s = len(subs)
				subs[key] = s
			}
		}
		ranked = append(ranked, rankedRow{r, g, s})
	}
	return ranked, nil
}

func compareRows(a, b rankedRow, vary Vary) int {
	order := cmp.Or(cmp.Compare(a.group, b.group), cmp.Compare(a.sub, b.sub), cmp.Compare(a.U, b.U))
	if order == 0 && vary.Position() {
		order = cmp.Compare(a.V, b.V)
	}
	if order == 0 {
		order = slices.Compare(a.X, b.X)
	}
	return order
}

// linear is row r's fixed part of the linear predictor.
func (p *problem) linear(r int, beta []float64) float64 {
	x := p.x[r*p.width : (r+1)*p.width]
	eta := 0.0
	for j, b := range beta[:p.width] {
		eta += x[j] * b
	}
	return eta
}

// maxLinear is the largest absolute fixed part of the linear predictor.
func (p *problem) maxLinear(beta []float64) float64 {
	largest := 0.0
	for r := range p.rows {
		largest = max(largest, math.Abs(p.linear(r, beta)))
	}
	return largest
}
