package ranking

import (
	"fmt"
	"strings"
)

// checkExistence returns an error, naming the parts at fault, unless the likelihood
// of pairs has one highest point.
//
// It has none if some direction (d, b) of strengths and position other than 0 lets
// no fish become less probable: d_i - d_j + b >= 0 for every i at the lower position
// that took a fish from j, <= 0 where j took one. With b = 0 there is such a direction
// just if the graph of "took a fish from" does not lead from every pattern to every
// other (Ford 1957). With b = 1 these are constraints on differences, d_j <= d_i + 1
// for a lower take of i from j and d_i <= d_j - 1 for an upper take of j from i, which
// can be met just if no cycle of the graph has negative length; b = -1 is the mirror.
func checkExistence(patterns []string, pairs []pair) error {
	won := make([][]bool, len(patterns)) // won[i][j]: i took a fish from j
	met := make([][]bool, len(patterns))
	for i := range patterns {
		won[i], met[i] = make([]bool, len(patterns)), make([]bool, len(patterns))
	}
	for _, p := range pairs {
		met[p.lower][p.upper], met[p.upper][p.lower] = true, true
		won[p.lower][p.upper] = won[p.lower][p.upper] || p.taken[0] > 0
		won[p.upper][p.lower] = won[p.upper][p.lower] || p.taken[1] > 0
	}
	if inside, outside := split(met); outside != nil {
		return fmt.Errorf("%s and %s: %w", names(patterns, inside), names(patterns, outside), ErrNotConnected)
	}
	if inside, outside := split(won); outside != nil {
		return fmt.Errorf("%s took no fish from %s: %w", names(patterns, inside), names(patterns, outside), ErrSeparation)
	}
	lower, upper := feasible(len(patterns), pairs, 1), feasible(len(patterns), pairs, -1)
	switch {
	case lower && upper:
		return ErrPosition
	case lower:
		return fmt.Errorf("but for differences between patterns every fish took the lower fly: %w", ErrSeparation)
	case upper:
		return fmt.Errorf("but for differences between patterns every fish took the upper fly: %w", ErrSeparation)
	}
	return nil
}

// split returns a set of nodes from which no edge leads out, and the other nodes;
// outside is nil if every node leads to every other.
func split(edges [][]bool) (inside, outside []int) {
	for start := range edges {
		reached := reach(edges, start)
		inside, outside = nil, nil
		for i, r := range reached {
			if r {
				inside = append(inside, i)
			} else {
				outside = append(outside, i)
			}
		}
		if outside != nil {
			return inside, outside
		}
	}
	return inside, nil
}

// reach marks the nodes that start leads to, itself among them.
func reach(edges [][]bool, start int) []bool {
	reached := make([]bool, len(edges))
	reached[start] = true
	for queue := []int{start}; len(queue) > 0; queue = queue[1:] {
		for to, edge := range edges[queue[0]] {
			if edge && !reached[to] {
				reached[to] = true
				queue = append(queue, to)
			}
		}
	}
	return reached
}

// feasible reports whether strengths exist that no fish speaks against with the
// position effect growing in the direction b = ±1: no negative cycle, by relaxing
// every edge once per node (Bellman 1958, Quarterly of Applied Mathematics 16:87-90).
func feasible(nodes int, pairs []pair, b int) bool {
	bound := make([]int, nodes)
	for range nodes {
		changed := false
		lowerTo := func(to, value int) {
			if value < bound[to] {
				bound[to], changed = value, true
			}
		}
		for _, p := range pairs {
			if p.taken[0] > 0 {
				lowerTo(p.upper, bound[p.lower]+b)
			}
			if p.taken[1] > 0 {
				lowerTo(p.lower, bound[p.upper]-b)
			}
		}
		if !changed {
			return true
		}
	}
	return false
}

func names(patterns []string, which []int) string {
	quoted := make([]string, len(which))
	for i, w := range which {
		quoted[i] = fmt.Sprintf("%q", patterns[w])
	}
	return strings.Join(quoted, ", ")
}
