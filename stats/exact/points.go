package exact

import (
	"math"
	"slices"
)

// point is a value with its probability.
type point struct{ value, p float64 }

// points is a discrete distribution: values increasing, probabilities above 0 that
// add up to 1 (tiny ones may have underflowed to 0).
type points []point

// mostPoints bounds a distribution that exact arithmetic carries, mostWork the
// products of a convolution: about a second at worst.
const (
	mostPoints = 1 << 20
	mostWork   = 1 << 28
)

// sorted returns the points in order, values no more than slack apart made one. The
// receiver is used up.
func (d points) sorted(slack float64) points {
	slices.SortFunc(d, func(a, b point) int {
		if a.value < b.value {
			return -1
		}
		if a.value > b.value {
			return 1
		}
		return 0
	})
	kept := d[:0]
	for _, next := range d {
		if last := len(kept) - 1; last >= 0 && next.value-kept[last].value <= slack {
			kept[last].p += next.p
		} else {
			kept = append(kept, next)
		}
	}
	return kept
}

// plus returns the distribution of the sum of two independent variables:
// each value of the shorter one gives a shifted copy of the longer, and the copies
// are merged.
func (d points) plus(e points) points {
	switch {
	case len(d) < len(e):
		return e.plus(d)
	case len(e) == 1:
		return d.shifted(e[0])
	case len(e) == 2:
		return d.doubled(e[0], e[1])
	}
	half := len(e) / 2
	return merge(d.plus(e[:half]), d.plus(e[half:]))
}

// doubled is plus of two points, the first below the second: as most parts are, and without the copies.
func (d points) doubled(low, high point) points {
	sum := make(points, 0, 2*len(d))
	i, j := 0, 0
	for i < len(d) {
		a, b := point{d[i].value + low.value, d[i].p * low.p}, point{d[j].value + high.value, d[j].p * high.p}
		switch {
		case a.value < b.value:
			sum = append(sum, a)
			i++
		case a.value > b.value:
			sum = append(sum, b)
			j++
		default:
			sum = append(sum, point{a.value, a.p + b.p})
			i++
			j++
		}
	}
	return append(sum, d[j:].shifted(high)...)
}

// manyWith reports whether the sum of d and two points e is certain to take more than mostPoints values, without making it.
func (d points) manyWith(e points) bool {
	if len(e) != 2 || 2*len(d) <= mostPoints {
		return false
	}
	values, j := 0, 0
	for i := range d {
		low := d[i].value + e[0].value
		for ; d[j].value+e[1].value < low; j++ {
			values++
		}
		if d[j].value+e[1].value == low {
			j++
		}
		values++
	}
	return values+len(d)-j > mostPoints
}

// shifted returns d moved by the point's value, its probabilities multiplied by the point's.
func (d points) shifted(by point) points {
	moved := make(points, len(d))
	for i, x := range d {
		moved[i] = point{x.value + by.value, x.p * by.p}
	}
	return moved
}

// merge adds two measures up.
func merge(a, b points) points {
	sum := make(points, 0, max(len(a), len(b))+min(len(a), len(b))/4)
	i, j := 0, 0
	for i < len(a) && j < len(b) {
		switch {
		case a[i].value < b[j].value:
			sum = append(sum, a[i])
			i++
		case a[i].value > b[j].value:
			sum = append(sum, b[j])
			j++
		default:
			sum = append(sum, point{a[i].value, a[i].p + b[j].p})
			i++
			j++
		}
	}
	return append(append(sum, a[i:]...), b[j:]...)
}

// merged returns one distribution, that of the sum of the independent parts, or the
// parts themselves where the sum takes more values than most.
func merged(parts []points, most int) []points {
	sum := points{{0, 1}}
	for _, part := range parts {
		if len(sum)*len(part) > 8*most {
			return parts
		}
		sum = sum.plus(part)
		if len(sum) > most {
			return parts
		}
	}
	return []points{sum}
}

// upperTail returns P(A + B >= bar) of independent A and B.
func upperTail(a, b points, bar float64) float64 {
	var sum, above float64 // above: P(B >= bar - value of A)
	j := len(b)
	for _, x := range a {
		for j > 0 && x.value+b[j-1].value >= bar {
			j--
			above += b[j].p
		}
		sum += x.p * above
	}
	return sum
}

func (d points) variance() float64 {
	var mean, square float64
	for _, x := range d {
		mean += x.p * x.value
		square += x.p * x.value * x.value
	}
	return math.Max(0, square-mean*mean)
}

// scale multiplies all values by a number above 0, in place.
func (d points) scale(by float64) {
	for i := range d {
		d[i].value *= by
	}
}

// cumulative returns P(X <= value) for each value.
func (d points) cumulative() []float64 {
	sums := make([]float64, len(d))
	var sum float64
	for i, x := range d {
		sum += x.p
		sums[i] = sum
	}
	return sums
}
