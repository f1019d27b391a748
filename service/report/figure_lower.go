package report

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"

	"evenrig/service/analysis"
)

// lowerFigure is Figure 2: for every angler a line from the share of fish that took the lower fly while it was the test
// pattern to the same share while it was the control pattern. Its height is the position effect, its fall the pattern
// effect.
type lowerFigure struct {
	Left, Right          string
	Test, Control        label // under the two arrangements
	Place                label // where they are: "at the point"
	Top, Bottom, Height  int
	Ticks                []heightTick
	Slopes               []slope
	Pooled               *slope // what the headline and the position effect expect
	Many                 bool
	Size                 string // of the flies: "" or "-small"
	Past                 int    // pixels from a line's end to behind its fly
	Counted, Alternative string // what was counted, and what the lines show
	Table                []lowerNumbers
}

type heightTick struct {
	Y    int
	Text string
	Even bool
}

// slope is one angler's line; Left or Right is -1 where that arrangement has no fish.
type slope struct {
	Left, Right string
	HasLeft     bool
	HasRight    bool
	Name        label
	Named       bool
	EndY        string // where the line ends at the right
	LabelY      string // where its name is set
	end         float64
}

type lowerNumbers struct{ Name, TestLower, ControlLower string }

const (
	lowerTop       = 128
	lowerBottom    = 448
	namedUpTo      = 16 // more anglers than this stay unnamed in the drawing; the table names all
	largeFliesUpTo = 6
	fliesUpTo      = 40 // more anglers than this are drawn with dots in place of flies
	nameDistance   = 14.0
)

func newLowerFigure(r analysis.Result, n names) lowerFigure {
	f := lowerFigure{
		Left: "28%", Right: "69%", Top: lowerTop, Bottom: lowerBottom, Height: lowerBottom + 16, Place: fit("at the "+n.Lower, 36, 18),
		Test: fit(n.Test, 36, 19), Control: fit(n.Control, 36, 19), Many: len(r.Anglers) > fliesUpTo,
		Past: 30,
	}
	if len(r.Anglers) > largeFliesUpTo {
		f.Size, f.Past = "-small", 21
	}
	for _, share := range []float64{1, .75, .5, .25, 0} {
		f.Ticks = append(f.Ticks, heightTick{int(height(share)), strconv.Itoa(int(100 * share)), share == .5})
	}
	labels := anglerLabels(r.Anglers, 18, 8)
	for i, a := range r.Anglers {
		f.Table = append(f.Table, lowerNumbers{a.Angler, lowerOf(a.TestLower), lowerOf(a.ControlLower)})
		s := slope{Name: labels[i]}
		if share := shareOf(a.TestLower.Lower, all(a.TestLower)); share != nil {
			s.HasLeft, s.Left = true, pixels(height(*share))
		}
		if share := shareOf(a.ControlLower.Lower, all(a.ControlLower)); share != nil {
			s.HasRight, s.end, s.Right = true, height(*share), pixels(height(*share))
		}
		if s.HasLeft || s.HasRight {
			f.Slopes = append(f.Slopes, s)
		}
	}
	if len(f.Slopes) <= namedUpTo {
		nameSlopes(f.Slopes)
	}
	f.Pooled = pooledSlope(r)
	f.Counted = fmt.Sprintf("With %s as the lower fly (%s), %s took the lower fly; with %s there, %s.",
		n.Test, n.Lower, fishOf(r.Counts.TestLower), n.Control, fishOf(r.Counts.ControlLower))
	f.Alternative = f.Counted + " " + linesSay(r.Anglers)
	return f
}

func height(share float64) float64 { return lowerBottom - (lowerBottom-lowerTop)*share }

func pixels(y float64) string { return strconv.FormatFloat(y, 'f', 1, 64) }

func lowerOf(b analysis.ByPosition) string {
	if all(b) == 0 {
		return Missing
	}
	return fmt.Sprintf("%s of %s", Count(b.Lower), Count(all(b)))
}

// nameSlopes sets the anglers' names at the right ends of their lines, moved apart just so far that none lies on another:
// least squares under the order, by pooling adjacent violators (Ayer et al. 1955, Annals of Mathematical Statistics 26:641).
func nameSlopes(slopes []slope) {
	named := make([]*slope, 0, len(slopes))
	for i := range slopes {
		if slopes[i].HasRight {
			named = append(named, &slopes[i])
		}
	}
	slices.SortStableFunc(named, func(a, b *slope) int { return cmp.Compare(a.end, b.end) })
	type pool struct {
		sum float64
		n   int
	}
	var pools []pool
	for i, s := range named {
		pools = append(pools, pool{s.end - nameDistance*float64(i), 1})
		for k := len(pools) - 1; k > 0 && pools[k-1].sum*float64(pools[k].n) > pools[k].sum*float64(pools[k-1].n); k-- {
			pools[k-1].sum += pools[k].sum
			pools[k-1].n += pools[k].n
			pools = pools[:k]
		}
	}
	i := 0
	for _, p := range pools {
		for range p.n {
			named[i].Named, named[i].EndY = true, pixels(named[i].end)
			named[i].LabelY = pixels(p.sum/float64(p.n) + nameDistance*float64(i))
			i++
		}
	}
}

// pooledSlope is the line that the headline's pattern effect and the position effect give together: logit P(lower) =
// β ± θ. The position effect is the mixed model's where it speaks, else that of the table of all fish.
func pooledSlope(r analysis.Result) *slope {
	theta, beta := r.Headline.LogOdds, positionLogOdds(r)
	if theta == nil || beta == nil {
		return nil
	}
	left, right := *beta+*theta, *beta-*theta
	return &slope{HasLeft: true, HasRight: true, Left: pixels(height(*expit(&left))), Right: pixels(height(*expit(&right)))}
}

func positionLogOdds(r analysis.Result) *float64 {
	if r.Headline.Method == analysis.MixedModelProfile && r.MixedModel != nil {
		return r.MixedModel.PositionLogOdds
	}
	if r.PooledTable != nil {
		return r.PooledTable.PositionLogOdds
	}
	return nil
}

// linesSay counts the lines by where they lead, and names no angler.
func linesSay(anglers []analysis.Angler) string {
	falls, rises, level := 0, 0, 0
	for _, a := range anglers {
		left, right := shareOf(a.TestLower.Lower, all(a.TestLower)), shareOf(a.ControlLower.Lower, all(a.ControlLower))
		switch {
		case left == nil || right == nil:
		case *left > *right:
			falls++
		case *left < *right:
			rises++
		default:
			level++
		}
	}
	return fmt.Sprintf("Lines that fall to the right, more fish on the test pattern: %d; that rise: %d; level: %d.", falls, rises, level)
}

func fishOf(b analysis.ByPosition) string {
	if all(b) == 0 {
		return "no fish were caught, so none"
	}
	return fmt.Sprintf("%s of %s fish", Count(b.Lower), Count(all(b)))
}
