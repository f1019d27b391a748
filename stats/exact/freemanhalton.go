package exact

import (
	"errors"
	"fmt"
	"math"

	"evenrig/stats/num"
)

// mostTables is the largest number of tables that FisherFreemanHalton goes through.
const mostTables = 10_000_000

// ErrTooManyTables: more tables with the margins seen than are gone through.
var ErrTooManyTables = errors.New("more than 10000000 tables have these margins: the table is too large for the exact test")

// FisherFreemanHalton returns the exact p-value, in (0, 1], of independence in a table of
// two columns and any number of rows, rows[i] being the counts of row i: the
// probability, given all margins, of the tables no more probable than the one seen
// (ties within 1+1e-7). With two rows it is Fisher's exact test. Rows without
// counts change nothing; p is 1 where a column is empty or only one row is not.
//
// Every table with these margins is gone through, at most 10,000,000 (half a second); beyond that
// it refuses. Errors: ErrCount, ErrNoCatches, ErrTooManyTables. Source: Freeman & Halton
// (1951), Biometrika 38:141-149.
func FisherFreemanHalton(rows [][2]int64) (float64, error) {
	var sizes []int64
	var total, first int64
	var logSeen float64
	for i, row := range rows {
		for _, count := range row {
			if count < 0 || count > MaxCount {
				return 0, fmt.Errorf("row %d has %d fish: %w", i+1, count, ErrCount)
			}
		}
		if row[0]+row[1] > 0 {
			sizes = append(sizes, row[0]+row[1])
		}
		total += row[0] + row[1]
		first += row[0]
	}
	if total == 0 {
		return 0, ErrNoCatches
	}
	if len(sizes) == 1 || first == 0 || first == total {
		return 1, nil
	}
	tables := newRowTables(sizes, first, total)
	if tables.count(first) > mostTables {
		return 0, fmt.Errorf("%d rows, %d fish: %w", len(sizes), total, ErrTooManyTables)
	}
	for _, row := range rows {
		logSeen += tables.binomial(row[0] + row[1]).LogMass(row[0])
	}
	tables.logMasses(first)
	tables.bar = logSeen + math.Log1p(likelihoodFuzz)
	tables.logAll = tables.binomial(total).LogMass(first)
	tables.rest = total
	tables.walk(0, first, 0)
	return atLeastSmallest(math.Min(1, tables.sum)), nil
}

// rowTables goes through the first columns that tables with given margins can have. As a
// product of binomials of one success probability, divided by that of their sum, a
// table's probability does not depend on which it is.
type rowTables struct {
	sizes  []int64 // fish in each row, above 0
	total  int64
	p, q   float64     // of the binomials: the share of the first column
	least  []int64     // smallest count a row can have in the first column
	logs   [][]float64 // of a row's binomial, from least on
	rest   int64       // fish in the rows from the present one on
	bar    float64     // tables count up to this product of binomials, as a logarithm
	logAll float64     // the binomial of the sum
	sum    float64
}

func newRowTables(sizes []int64, first, total int64) rowTables {
	return rowTables{sizes: sizes, total: total, p: float64(first) / float64(total), q: float64(total-first) / float64(total)}
}

func (r *rowTables) binomial(n int64) num.Binomial { return num.Binomial{N: n, P: r.p, Q: r.q} }

// logMasses fills in least and logs. Together they are no longer than there are tables, but for a row each.
func (r *rowTables) logMasses(first int64) {
	for _, size := range r.sizes {
		row := r.binomial(size)
		least, most := max(0, first-(r.total-size)), min(size, first)
		logs := make([]float64, 0, most-least+1)
		for x := least; x <= most; x++ {
			logs = append(logs, row.LogMass(x))
		}
		r.least, r.logs = append(r.least, least), append(r.logs, logs)
	}
}

// walk adds up the probabilities of the tables whose rows before i have the given product
// and leave left fish for the first column.
func (r *rowTables) walk(i int, left int64, logProduct float64) {
	if i == len(r.sizes)-1 {
		if logTable := logProduct + r.logs[i][left-r.least[i]]; logTable <= r.bar {
			r.sum += math.Exp(logTable - r.logAll)
		}
		return
	}
	size := r.sizes[i]
	r.rest -= size
	for x := max(0, left-r.rest); x <= min(size, left); x++ {
		r.walk(i+1, left-x, logProduct+r.logs[i][x-r.least[i]])
	}
	r.rest += size
}

// count returns how many tables there are, or a number above mostTables.
func (r *rowTables) count(first int64) int64 {
	ways := map[int64]int64{first: 1} // by what is left for the first column
	rest := r.total
	for _, size := range r.sizes[:len(r.sizes)-1] {
		rest -= size
		next := map[int64]int64{}
		var all int64
		for left, n := range ways {
			least, most := max(0, left-rest), min(size, left)
			if all += n * (most - least + 1); all > mostTables {
				return mostTables + 1
			}
			for x := least; x <= most; x++ {
				next[left-x] += n
			}
		}
		ways = next
	}
	var all int64
	for _, n := range ways {
		all += n
	}
	return all
}
