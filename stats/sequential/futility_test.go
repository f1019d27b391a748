package sequential_test

import (
	"testing"

	"evenrig/stats/sequential"
	"evenrig/stats/stattest"
)

// Inner bounds against multivariate normal probabilities of rectangles by another program. 1e-8: those
// are by Miwa's method with 2049 steps, about 1e-9.
func TestFutilityOfTheReference(t *testing.T) {
	t.Parallel()
	var want struct {
		Power float64 `json:"power"`
		Cases []struct {
			Shape     string    `json:"shape"`
			Fractions []float64 `json:"fractions"`
			Bounds    []float64 `json:"z_boundaries"`
			Drift     float64   `json:"drift"`
			P         []float64 `json:"p"`
		} `json:"cases"`
	}
	stattest.Load(t, "sequential/futility.json", &want)
	shapes := map[string]sequential.Spending{"obrien_fleming": sequential.OBrienFleming, "pocock": sequential.Pocock}
	for _, c := range want.Cases {
		bounds := make([]sequential.Boundary, len(c.Fractions))
		for k := range bounds {
			bounds[k] = sequential.Boundary{Fraction: c.Fractions[k], Z: c.Bounds[k]}
		}
		got, err := sequential.FutileAbove(shapes[c.Shape], bounds, want.Power, c.Drift)
		if err != nil {
			t.Fatal(err)
		}
		for k, p := range c.P {
			stattest.Absolute(t, c.Shape, got[k], p, 1e-8)
		}
	}
}
