package report

import (
	"fmt"
	"math"
	"strconv"

	"evenrig/service/analysis"
)

// The figures of a plan are graphs: a line made of straight pieces, across in percent and down in pixels like every
// figure, with a fly for the team that was asked about and a knot for the answer.

const (
	graphTop    = 34
	graphBottom = 300
	graphHeight = 352
)

// graph is a line over two labelled axes.
type graph struct {
	Height, Top, Bottom int
	Left, Right         string
	Across              []tick
	Down                []downTick
	Pieces              []piece
	Level               *downTick // a level to be reached, drawn across
	Fly, Knot           *sign
	Over, Under         string // what lies on either side of the line
	Alternative         string
}

type downTick struct {
	Y    float64
	Text string
}

type piece struct {
	X1, X2 string
	Y1, Y2 float64
}

// sign is a mark with its label, set at the side where there is room.
type sign struct {
	X, Anchor string
	Y         float64
	DX, DY    int // of the label, pixels
	Text      label
}

func newGraph() graph {
	s := scale{9, 97}
	return graph{Height: graphHeight, Top: graphTop, Bottom: graphBottom, Left: s.at(0), Right: s.at(1)}
}

// place sets a mark; part is its place across, 0 to 1.
func (g graph) place(part, y float64, text label) *sign {
	m := sign{X: scale{9, 97}.at(part), Y: y, DX: 13, DY: -8, Anchor: "start", Text: text}
	if part > .6 {
		m.DX, m.Anchor = -13, "end"
	}
	return &m
}

func tenth(x float64) float64 { return math.Round(10*x) / 10 }

// join draws the line through points given by their places across and down.
func (g *graph) join(part, y []float64) {
	s := scale{9, 97}
	for i := 1; i < len(part); i++ {
		g.Pieces = append(g.Pieces, piece{s.at(part[i-1]), s.at(part[i]), tenth(y[i-1]), tenth(y[i])})
	}
}

// equalGraph is the line of equal power: every number of anglers with the fish each that it needs.
func equalGraph(a analysis.SizeAnswer) *graph {
	q := a.Question
	last := len(a.EqualPower) - 1
	if last < 1 || a.EqualPower[last].FishEach == nil {
		return nil
	}
	most := float64(a.EqualPower[last].Anglers)
	least, high := math.Min(q.FishEach, float64(*a.EqualPower[last].FishEach)), 8*q.FishEach
	team := plannedTeam(a)
	if team != nil {
		high = math.Max(high, 3*team.FishEach)
	}
	high = math.Max(high, 8*least)
	least = math.Max(1, least) / 1.4
	down := func(fish float64) float64 {
		return graphBottom - (graphBottom-graphTop)*math.Log(fish/least)/math.Log(high/least)
	}
	g := newGraph()
	g.Over, g.Under = "large enough", "too small"
	var part, y []float64
	before := 0
	for i, p := range a.EqualPower {
		// Fish are whole: of equal numbers the first is drawn, so that the line falls without steps.
		if p.FishEach == nil || float64(*p.FishEach) > high || *p.FishEach == before && i < last {
			continue
		}
		before = *p.FishEach
		part, y = append(part, float64(p.Anglers)/most), append(y, down(math.Max(least, float64(before))))
	}
	if len(part) < 2 {
		return nil
	}
	g.join(part, y)
	step := niceStep(most)
	for k := step; k <= most; k += step {
		g.Across = append(g.Across, tick{X: scale{9, 97}.at(k / most), Text: strconv.Itoa(int(k))})
	}
	for power := 1.; power <= high; power *= 10 {
		for _, times := range []float64{1, 2, 5} {
			if v := power * times; v > least && v <= high {
				g.Down = append(g.Down, downTick{tenth(down(v)), Count(int64(v))})
			}
		}
	}
	own := fmt.Sprintf("%s, %s fish each", anglers(q.Anglers), catchOf(q.FishEach))
	g.Fly = g.place(float64(q.Anglers)/most, tenth(down(q.FishEach)), label{Wide: "your team, " + strconv.Itoa(q.Anglers) + " × " + catchOf(q.FishEach), Narrow: "yours"})
	g.Fly.DY = 14
	if a.Power < q.Power { // it lies under the line, which falls to the right of it
		g.Fly.DX, g.Fly.Anchor = -13, "end"
	}
	g.Alternative = fmt.Sprintf("A line that falls from left to right: the more anglers, the fewer fish each. Sizes on or above it see %s of 100 in at least %s of 100 seasons, by the formula. "+
		"Your team, %s, lies %s the line.", hundred(q.SmallestShare), hundred(q.Power), own, map[bool]string{true: "above", false: "below"}[a.Power >= q.Power])
	if enough, word := graphTeam(a, team); enough != nil && float64(enough.Anglers) <= most && enough.FishEach <= high {
		size := strconv.Itoa(enough.Anglers) + " × " + catchOf(enough.FishEach)
		g.Knot = g.place(float64(enough.Anglers)/most, tenth(down(enough.FishEach)), label{Wide: size + " " + word, Narrow: size})
		g.Alternative += fmt.Sprintf(" At the knot %s, %s fish each: %s.", anglers(enough.Anglers), catchOf(enough.FishEach), word)
	}
	if first := firstEnough(a); first > analysis.FewAnglers+1 {
		g.Alternative += fmt.Sprintf(" With fewer than %d anglers no number of fish is enough.", first)
	}
	return &g
}

// graphTeam is the team at the knot: the one recommended, else the smallest by the formula.
func graphTeam(a analysis.SizeAnswer, recommended *analysis.TeamCost) (team *analysis.TeamCost, word string) {
	q := a.Question
	if recommended == nil || recommended.Anglers == q.Anglers && recommended.FishEach == q.FishEach {
		return a.ByAnglers, "enough by the formula"
	}
	return recommended, "enough"
}

// firstEnough is the smallest number of anglers for whom any number of fish is enough.
func firstEnough(a analysis.SizeAnswer) int {
	for _, p := range a.EqualPower {
		if p.FishEach != nil {
			return p.Anglers
		}
	}
	return 0
}

// niceStep is a step of 1, 2 or 5 times a power of ten that cuts a range into 4 to 10 parts.
func niceStep(most float64) float64 {
	step := math.Pow(10, math.Floor(math.Log10(math.Max(1, most)))) / 10
	for _, times := range []float64{1, 2, 5, 10} {
		if s := step * times; s >= 1 && most/s <= 10 {
			return s
		}
	}
	return math.Max(1, 2*step*10)
}

// shareGraph is the team's chance against the true share.
func shareGraph(a analysis.SizeAnswer) *graph {
	if len(a.ByShare) < 2 {
		return nil
	}
	q := a.Question
	low, high := a.ByShare[0].Share, a.ByShare[len(a.ByShare)-1].Share
	across := func(share float64) float64 { return (share - low) / (high - low) }
	down := func(power float64) float64 { return graphBottom - (graphBottom-graphTop)*power }
	g := newGraph()
	var part, y []float64
	for _, p := range a.ByShare {
		part, y = append(part, across(p.Share)), append(y, down(p.Power))
	}
	g.join(part, y)
	for share := low; share < high+.001; share += .05 {
		g.Across = append(g.Across, tick{X: scale{9, 97}.at(across(share)), Text: hundred(share), Middle: share == low})
	}
	for _, power := range []float64{0, .25, .5, .75, 1} {
		g.Down = append(g.Down, downTick{tenth(down(power)), hundred(power)})
	}
	g.Level = &downTick{tenth(down(q.Power)), hundred(q.Power) + " asked for"}
	g.Alternative = fmt.Sprintf("A line that rises from %s of 100 seasons, the false alarms, where the flies are alike (50 of 100 fish).", chance(a.ByShare[0].Power))
	if q.SmallestShare <= high {
		g.Knot = g.place(across(q.SmallestShare), tenth(down(a.Power)), label{
			fmt.Sprintf("%s of 100 fish: seen in %s of 100 seasons", hundred(q.SmallestShare), chance(a.Power)), chance(a.Power),
		})
		g.Knot.DY = 18 // the line rises above it
		g.Alternative += fmt.Sprintf(" At the knot, %s of 100 fish, it stands at %s.", hundred(q.SmallestShare), chance(a.Power))
	}
	if a.Detectable != nil {
		g.Alternative += fmt.Sprintf(" It reaches %s at %s of 100 fish.", hundred(q.Power), OutOf100(a.Detectable))
	}
	return &g
}
