package glmm

import (
	"fmt"
	"testing"
)

// BenchmarkFit times whole fits, predictions of the anglers included. The outing models
// have four outings per angler.
func BenchmarkFit(b *testing.B) {
	for _, anglers := range []int{12, 400, 5000} {
		for _, model := range []struct {
			options Options
			outings int
		}{
			{Options{Vary: VaryPatternPosition, Points: 1}, 1},
			{Options{Vary: VaryPatternPosition, Points: 7}, 1},
			{Options{Vary: VaryPatternPosition, Points: 15}, 1},
			{Options{Vary: VaryPatternPositionOuting, Points: 1}, 4},
			{Options{Vary: VaryPatternPositionOuting, Points: 7}, 4},
		} {
			b.Run(fmt.Sprintf("%d/%v/%d", anglers, model.options.Vary, model.options.Points), func(b *testing.B) {
				rows := inventedRows(5, anglers, model.outings, 24/model.outings, .4, .5, .5, .4, .3)
				var cells []Cell
				for _, r := range rows {
					cells = append(cells, Cell{r.Group, r.Subgroup, r.V > 0, r.Y, r.N - r.Y})
				}
				evaluations := 0
				b.ReportAllocs()
				for b.Loop() {
					r, err := FitTrial(cells, model.options)
					if err != nil {
						b.Fatal(err)
					}
					evaluations = r.Evaluations
				}
				b.ReportMetric(float64(evaluations), "evaluations")
			})
		}
	}
}
