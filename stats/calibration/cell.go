package calibration

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"evenrig/stats/num"
)

// ErrCell: a cell outside the ranges of its fields.
var ErrCell = errors.New("unusable cell")

// Cell is one set of circumstances under which trials are drawn.
type Cell struct {
	Anglers    int     // K, 2 to 1000
	Fish       int     // per angler on average, 1 to 1000
	SDPattern  float64 // SD of u, log odds, 0 to 3
	SDPosition float64 // SD of v, log odds, 0 to 3
	SDOuting   float64 // SD of w, log odds, 0 to 3
	// LowerShare is the share of fish that a typical angler's lower fly takes between
	// two equal patterns: expit(β). Above 0 and below 1.
	LowerShare float64
	// TestShare is the share that the test pattern takes of a typical angler's fish at
	// no position effect: expit(θ). Above 0 and below 1; .5 is no effect.
	TestShare float64
	Effort    Effort
	// OutingFish is the number of fish of an outing (the last of an angler may have
	// fewer); 0: outings are not known, and SDOuting must be 0.
	OutingFish int
}

// Effort says how the fish are spread over the anglers.
type Effort string

// The ways in which fish are spread over anglers.
const (
	Equal           Effort = ""        // the same number each
	Uneven          Effort = "uneven"  // log-normal quantiles with SD 1: at 12 anglers from 1/6 to 6 times the median
	OneHasHalf      Effort = "one-50%" // one angler has half of all fish, the others share the rest equally
	OneHasMost      Effort = "one-80%" // one angler has four fifths of all fish
	OneHasNearlyAll Effort = "one-95%" // one angler has 19 in 20 of all fish
)

// Theta is the true pattern effect θ, log odds.
func (c Cell) Theta() float64 { return num.Logit(c.TestShare) }

// Beta is the true position effect β, log odds.
func (c Cell) Beta() float64 { return num.Logit(c.LowerShare) }

// Name tells the cell from every other: K, n (fish per angler), the SDs u and v, the
// shares of the lower position and of the test pattern, then, where they are not
// usual, the effort, the SD w and the fish of an outing.
func (c Cell) Name() string {
	parts := []string{
		fmt.Sprintf("K%d", c.Anglers), fmt.Sprintf("n%d", c.Fish), "u" + short(c.SDPattern), "v" + short(c.SDPosition),
		"low" + short(c.LowerShare), "test" + short(c.TestShare),
	}
	if c.Effort != Equal {
		parts = append(parts, string(c.Effort))
	}
	if c.OutingFish > 0 {
		parts = append(parts, "w"+short(c.SDOuting), fmt.Sprintf("outing%d", c.OutingFish))
	}
	return strings.Join(parts, "_")
}

func short(x float64) string { return strings.TrimPrefix(strconv.FormatFloat(x, 'g', 4, 64), "0.") }

// Validate returns ErrCell, naming the field, if one is outside its range.
func (c Cell) Validate() error {
	fault := func(field string, value any, accepted string) error {
		return fmt.Errorf("%w: %s is %v; accepted is %s", ErrCell, field, value, accepted)
	}
	switch {
	case c.Anglers < 2 || c.Anglers > 1000:
		return fault("Anglers", c.Anglers, "2 to 1000")
	case c.Fish < 1 || c.Fish > 1000:
		return fault("Fish", c.Fish, "1 to 1000")
	case !(c.LowerShare > 0 && c.LowerShare < 1):
		return fault("LowerShare", c.LowerShare, "above 0 and below 1")
	case !(c.TestShare > 0 && c.TestShare < 1):
		return fault("TestShare", c.TestShare, "above 0 and below 1")
	case c.OutingFish < 0:
		return fault("OutingFish", c.OutingFish, "0 or more")
	case c.OutingFish == 0 && c.SDOuting != 0:
		return fault("SDOuting", c.SDOuting, "0 where outings are not known")
	case !slices.Contains([]Effort{Equal, Uneven, OneHasHalf, OneHasMost, OneHasNearlyAll}, c.Effort):
		return fault("Effort", c.Effort, "nothing, uneven, one-50%, one-80% or one-95%")
	}
	for name, sd := range map[string]float64{"SDPattern": c.SDPattern, "SDPosition": c.SDPosition, "SDOuting": c.SDOuting} {
		if !(sd >= 0 && sd <= 3) {
			return fault(name, sd, "0 to 3")
		}
	}
	return nil
}

// fishOf returns the number of fish of each angler, at least 1.
func (c Cell) fishOf() []int {
	k, total := c.Anglers, float64(c.Anglers*c.Fish)
	weights := make([]float64, k)
	// alone is the weight of one angler with the given part of all, where the others have 1 each.
	alone := func(part float64) float64 { return part / (1 - part) * float64(k-1) }
	for i := range weights {
		weights[i] = 1
		if c.Effort == Uneven {
			weights[i] = math.Exp(num.NormalQuantile((float64(i) + .5) / float64(k)))
		}
	}
	switch c.Effort {
	case OneHasHalf:
		weights[0] = alone(.5)
	case OneHasMost:
		weights[0] = alone(.8)
	case OneHasNearlyAll:
		weights[0] = alone(.95)
	}
	sum := 0.0
	for _, w := range weights {
		sum += w
	}
	fish := make([]int, k)
	for i, w := range weights {
		fish[i] = max(1, int(math.Round(total*w/sum)))
	}
	return fish
}
