package num_test

import (
	"math"
	"testing"

	"evenrig/stats/num"
)

// Any arguments give finite answers or an error; tails lie in [0, 1] and cover everything.
func FuzzDistributionsFiniteOrError(f *testing.F) {
	const million = 1_000_000
	f.Add(int64(3), int64(4), int64(4), int64(4), 0.7, 0.3)
	f.Add(int64(million), int64(million), int64(million), int64(million), -40.0, 0.999)
	f.Add(int64(0), int64(0), int64(0), int64(0), 0.0, 1.0)
	f.Add(int64(million-1), int64(million), int64(1), int64(million), 300.0, 1e-12)
	f.Add(int64(17), int64(5), int64(million), int64(9), 1e-90, 1e-99)
	f.Add(int64(17), int64(5), int64(million), int64(9), 1e19, 1e-300)
	f.Fuzz(func(t *testing.T, x, m, n, drawn int64, real, p float64) {
		bounded := func(v int64) int64 { return (v%(million+1) + million + 1) % (million + 1) }
		x, m, n, drawn = bounded(x), bounded(m), bounded(n), bounded(drawn)
		tails := func(name string, logMass, lower, upper float64) {
			t.Helper()
			if math.IsNaN(logMass) || logMass > 1e-9 || !(lower >= 0 && lower <= 1 && upper >= 0 && upper <= 1 && lower+upper >= 1-1e-9) {
				t.Errorf("%s of %d, %d, %d, %d, %g, %g: ln mass %g, tails %g, %g", name, x, m, n, drawn, real, p, logMass, lower, upper)
			}
		}
		finite := func(name string, value float64, err error) {
			t.Helper()
			if err == nil && (math.IsNaN(value) || math.IsInf(value, 0)) {
				t.Errorf("%s of %g, %g is %g", name, real, p, value)
			}
		}
		if h, err := num.NewNoncentralHypergeometric(m, n, drawn, real); err == nil {
			lower, upper := h.Tails(x)
			tails("noncentral", h.LogMass(x), lower, upper)
			finite("mean", h.Mean(), nil)
			finite("variance", h.Variance(), nil)
			if q, err := h.Quantile(p); err == nil {
				if least, most := h.Support(); q < least || q > most {
					t.Errorf("quantile %d outside %d..%d", q, least, most)
				}
			}
		}
		if d, err := num.NewNB2(real, p); err == nil && p >= 1e-3 {
			lower, upper := d.Tails(x)
			tails("NB2", d.LogMass(x), lower, upper)
		}
		if p >= 0 && p <= 1 {
			lower, upper := num.Binomial{N: n, P: p, Q: 1 - p}.Tails(x)
			tails("binomial", num.LogBinomial(x, n, p), lower, upper)
		}
		if real >= 0 && real <= 1e7 {
			lower, upper := num.PoissonTails(x, real)
			tails("Poisson", num.LogPoisson(x, real), lower, upper)
		}
		if real < 1e-3 { // degrees of freedom of no use
			return
		}
		value, err := num.StudentQuantile(p, real)
		finite("t quantile", value, err)
		value, err = num.StudentUpperQuantile(p, real)
		finite("t upper quantile", value, err)
		value, err = num.ChiSquaredQuantile(p, real)
		finite("χ² quantile", value, err)
		value, err = num.ChiSquaredUpperQuantile(p, real)
		finite("χ² upper quantile", value, err)
	})
}
