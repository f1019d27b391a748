package power_test

import (
	"errors"
	"math/big"
	"testing"

	"evenrig/stats/exact"
	"evenrig/stats/num"
	"evenrig/stats/power"
	"evenrig/stats/stattest"
)

// The sum over all tables written from the definition, with the method's own
// p-value for each table and rational numbers in place of logarithms.
func TestOneAnglerIsTheSumOverAllTables(t *testing.T) {
	t.Parallel()
	test := power.Test{Alpha: .05}
	for _, c := range []struct {
		share        *big.Rat // of each fish taken with the test pattern lower, and upper: no position effect
		lower, upper int
	}{{big.NewRat(3, 5), 12, 12}, {big.NewRat(4, 5), 15, 9}, {big.NewRat(1, 2), 20, 20}, {big.NewRat(9, 10), 4, 5}} {
		sum := new(big.Rat)
		for x := 0; x <= c.lower; x++ {
			for y := 0; y <= c.upper; y++ {
				r, err := exact.ConditionalTest([]exact.Table{{A: int64(x), B: int64(c.lower - x), C: int64(y), D: int64(c.upper - y)}}, .95)
				if err == nil && r.PCentral <= test.Alpha {
					sum.Add(sum, new(big.Rat).Mul(chance(x, c.lower, c.share), chance(y, c.upper, c.share)))
				}
			}
		}
		want, _ := sum.Float64()
		share, _ := c.share.Float64()
		got, err := test.OneAngler(share, 0, c.lower, c.upper)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Absolute(t, "power", got, want, 1e-11) // double precision sums of some hundred terms
	}
}

func chance(k, n int, p *big.Rat) *big.Rat {
	r := new(big.Rat).SetInt(new(big.Int).Binomial(int64(n), int64(k)))
	q := new(big.Rat).Sub(big.NewRat(1, 1), p)
	for i := range n {
		if i < k {
			r.Mul(r, p)
		} else {
			r.Mul(r, q)
		}
	}
	return r
}

// An exact method never raises more false alarms than alpha, whatever the position
// does, and is mirrored with the share.
func TestOneAnglerKeepsItsLevel(t *testing.T) {
	t.Parallel()
	for _, beta := range []float64{-2, 0, .6, 3} {
		p, err := usual.OneAngler(.5, beta, 40, 30)
		if err != nil {
			t.Fatal(err)
		}
		if p > .05 {
			t.Errorf("position effect %v: false alarm %v", beta, p)
		}
		a, err := usual.OneAngler(.7, beta, 40, 30)
		if err != nil {
			t.Fatal(err)
		}
		b, err := usual.OneAngler(.3, -beta, 40, 30)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Absolute(t, "mirrored", a, b, 1e-12)
	}
	for _, c := range []struct {
		share, beta  float64
		lower, upper int
	}{{0, 0, 5, 5}, {1, 0, 5, 5}, {.6, num.Logit(0), 5, 5}, {.6, 0, 0, 5}, {.6, 0, 1999, 2}} {
		if _, err := usual.OneAngler(c.share, c.beta, c.lower, c.upper); !errors.Is(err, power.ErrArgument) {
			t.Errorf("%+v: %v, want %v", c, err, power.ErrArgument)
		}
	}
}
