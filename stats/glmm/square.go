package glmm

import "math"

// square is a small square matrix, row by row; here always symmetric.
type square struct {
	n int
	v []float64
}

func newSquare(n int) *square { return &square{n, make([]float64, n*n)} }

func (a *square) at(i, j int) float64     { return a.v[i*a.n+j] }
func (a *square) set(i, j int, x float64) { a.v[i*a.n+j] = x }

// quadratic is xᵀ·A·y.
func (a *square) quadratic(x, y []float64) (sum float64) {
	for i, u := range x {
		sum += u * dot(y, a.v[i*a.n:])
	}
	return sum
}

// multiply sets out to A·x.
func (a *square) multiply(x, out []float64) {
	for i := range out {
		out[i] = dot(x, a.v[i*a.n:])
	}
}

// part is the matrix of the given rows and columns.
func (a *square) part(keep []int) *square {
	b := newSquare(len(keep))
	for i, k := range keep {
		for j, l := range keep {
			b.set(i, j, a.at(k, l))
		}
	}
	return b
}

// inverse is that of a positive definite matrix by its Cholesky factor, with the logarithm
// of its determinant; false: it is not positive definite. Rows and columns are brought to
// a unit diagonal first, since parameters differ in scale.
func (a *square) inverse() (b *square, logDeterminant float64, ok bool) {
	n := a.n
	scale := make([]float64, n)
	for i := range n {
		if d := a.at(i, i); !(d > 0) || math.IsInf(d, 1) {
			return nil, 0, false
		}
		scale[i] = 1 / math.Sqrt(a.at(i, i))
		logDeterminant -= 2 * math.Log(scale[i])
	}
	// l holds the factor L; then, column by column, its inverse.
	l := newSquare(n)
	for j := range n {
		for i := j; i < n; i++ {
			v := a.at(i, j)*scale[i]*scale[j] - dot(l.v[i*n:i*n+j], l.v[j*n:])
			if i > j {
				l.set(i, j, v/l.at(j, j))
				continue
			}
			if !(v > 1e-14) {
				return nil, 0, false
			}
			l.set(j, j, math.Sqrt(v))
			logDeterminant += math.Log(v)
		}
	}
	for j := range n {
		l.set(j, j, 1/l.at(j, j))
		for i := j + 1; i < n; i++ {
			sum := 0.0
			for k := j; k < i; k++ {
				sum -= l.at(i, k) * l.at(k, j)
			}
			l.set(i, j, sum/l.at(i, i))
		}
	}
	b = newSquare(n)
	for i := range n {
		for j := range i + 1 {
			sum := 0.0
			for k := i; k < n; k++ {
				sum += l.at(k, i) * l.at(k, j)
			}
			b.set(i, j, sum*scale[i]*scale[j])
			b.set(j, i, b.at(i, j))
		}
	}
	return b, logDeterminant, true
}
