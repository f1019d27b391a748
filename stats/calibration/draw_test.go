package calibration

import (
	"math"
	"testing"

	"evenrig/stats/glmm"
	"evenrig/stats/num"
	"evenrig/stats/simulate"
	"evenrig/stats/stattest"
)

func normalAt(p float64) float64 { return num.NormalQuantile(p) }

// The shares that are drawn agree with the model's means, computed by integration, within
// 4 Monte Carlo errors of the mean over trials.
func TestDrawnSharesAreTheModels(t *testing.T) {
	t.Parallel()
	trials := 4000
	if testing.Short() {
		trials = 400
	}
	for i, cell := range []Cell{
		{Anglers: 5, Fish: 8, LowerShare: .5, TestShare: .5},
		{Anglers: 5, Fish: 8, SDPattern: .6, SDPosition: .3, LowerShare: .8, TestShare: .6},
		{Anglers: 4, Fish: 16, SDPattern: .3, SDPosition: .6, SDOuting: .6, LowerShare: .65, TestShare: .6, OutingFish: 8},
		{Anglers: 4, Fish: 20, SDPattern: 1, SDPosition: 1, LowerShare: .65, TestShare: .75, Effort: OneHasHalf},
	} {
		var test, lower moment
		for j := range trials {
			s := cell.draw(simulate.Stream(uint64(i+1), j))
			var a, b, c, d float64
			for _, angler := range s.tables {
				a, b, c, d = a+float64(angler.A), b+float64(angler.B), c+float64(angler.C), d+float64(angler.D)
			}
			n := a + b + c + d
			if want := sum(cell.fishOf()); int(n) != want {
				t.Fatalf("%s: %g fish, want %d", cell.Name(), n, want)
			}
			test.add((a + c) / n)
			lower.add((a + d) / n)
		}
		// The arrangements are equally often, so that the share of the lower position is the
		// model's with the roles of θ and β changed (u and v with them).
		average := glmm.AverageShare(cell.Theta(), cell.Beta(), cell.SDPattern, cell.SDPosition, cell.SDOuting)
		stattest.Absolute(t, cell.Name()+": share of the test pattern", test.mean(), average, 4*test.error())
		position := glmm.AverageShare(cell.Beta(), cell.Theta(), cell.SDPattern, cell.SDPosition, cell.SDOuting)
		stattest.Absolute(t, cell.Name()+": share of the lower position", lower.mean(), position, 4*lower.error())
	}
}

// Both arrangements differ by at most 2 fish in each outing, and each comes first equally
// often.
func TestArrangementsAreSwapped(t *testing.T) {
	t.Parallel()
	cell := Cell{Anglers: 3, Fish: 21, LowerShare: .65, TestShare: .6, OutingFish: 7}
	var odd moment
	for j := range 2000 {
		s := cell.draw(simulate.Stream(9, j))
		if len(s.cells) != 2*3*3 || s.vary != glmm.VaryPatternPositionOuting {
			t.Fatalf("%d cells of model %v", len(s.cells), s.vary)
		}
		for i := 0; i < len(s.cells); i += 2 {
			lower, upper := s.cells[i].Test+s.cells[i].Control, s.cells[i+1].Test+s.cells[i+1].Control
			if lower+upper != 7 || lower != 4 && lower != 3 {
				t.Fatalf("an outing has %d and %d fish by arrangement", lower, upper)
			}
			odd.add(float64(lower - 3))
		}
	}
	stattest.Absolute(t, "share of outings with one more fish, test pattern lower", odd.mean(), .5, 4*odd.error())
}

func TestFishAreSpreadAsAsked(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		effort Effort
		first  int
	}{{Equal, 24}, {OneHasHalf, 120}, {OneHasMost, 192}, {OneHasNearlyAll, 228}} {
		fish := Cell{Anglers: 10, Fish: 24, Effort: c.effort}.fishOf()
		if fish[0] != c.first {
			t.Errorf("%q: the first angler has %d fish of 240, want %d", c.effort, fish[0], c.first)
		}
	}
	// 2, 8, 16, 33 and so on: quantiles of a log-normal distribution with SD 1, by Student's
	// tables of the normal: z at .05, .15, .. is -1.645, -1.036, -.674, -.385, -.126.
	fish := Cell{Anglers: 10, Fish: 24, Effort: Uneven}.fishOf()
	total := 0.
	z := []float64{-1.645, -1.036, -.674, -.385, -.126, .126, .385, .674, 1.036, 1.645}
	for _, v := range z {
		total += math.Exp(v)
	}
	for i, v := range z {
		// Half a fish from rounding, and three decimals of z.
		stattest.Absolute(t, "fish of an uneven spread", float64(fish[i]), 240*math.Exp(v)/total, .6)
	}
	if fish := (Cell{Anglers: 20, Fish: 1, Effort: OneHasMost}).fishOf(); fish[19] != 1 {
		t.Errorf("an angler has %d fish", fish[19])
	}
}

// moment gathers a mean with its standard error.
type moment struct{ n, sum, squares float64 }

func (m *moment) add(x float64) { m.n, m.sum, m.squares = m.n+1, m.sum+x, m.squares+x*x }

func (m *moment) mean() float64 { return m.sum / m.n }

func (m *moment) error() float64 {
	return math.Sqrt((m.squares/m.n - m.mean()*m.mean()) / (m.n - 1))
}

func sum(x []int) (total int) {
	for _, v := range x {
		total += v
	}
	return total
}
