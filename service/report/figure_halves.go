package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"evenrig/service/analysis"
)

// halvesFigure shows how long every half was fished beside the rule of swapping: a line for each angler along the minutes, with a knot
// for every half that the rule ended and a loose end for every other.
type halvesFigure struct {
	Height, Top, Bottom int
	Ticks               []tick
	Start, End          string
	Rule, RuleText      string // where the rule's minutes are; empty without
	Rows                []halvesRow
	Alternative         string
	Table               []halvesNumbers
}

type halvesRow struct {
	Y, TextY int
	Name     label
	Halves   string
	Ended    []string // places of halves that the rule ended
	Loose    []string // and of the others
}

type halvesNumbers struct{ Name, Halves, ByRule, Shortest, Middle, Longest, Fish string }

const (
	halvesTop    = 64
	halvesRowsAt = 92
	halvesRowOf  = 24
)

var halvesScale = scale{25, 88}

// newHalvesFigure is nil where the lengths of halves are not known.
func newHalvesFigure(about About) *halvesFigure {
	if len(about.Halves) == 0 {
		return nil
	}
	rule := 0.
	if p := about.Protocol; p != nil && p.Swap.AfterMinutes != nil {
		rule = float64(*p.Swap.AfterMinutes)
	}
	longest := rule
	byAngler := map[string][]Half{}
	var order []string
	for _, h := range about.Halves {
		if _, seen := byAngler[h.Angler]; !seen {
			order = append(order, h.Angler)
		}
		byAngler[h.Angler] = append(byAngler[h.Angler], h)
		longest = max(longest, h.Minutes)
	}
	slices.Sort(order)
	most := 30 * math.Ceil(max(longest, 30)/30)
	at := func(minutes float64) string { return halvesScale.at(minutes / most) }
	f := &halvesFigure{Top: halvesTop, Start: at(0), End: at(most)}
	each := most / 4
	for i := range 5 {
		f.Ticks = append(f.Ticks, tick{X: at(each * float64(i)), Text: strconv.FormatFloat(each*float64(i), 'f', -1, 64)})
	}
	if rule > 0 {
		f.Rule, f.RuleText = at(rule), fmt.Sprintf("the rule: %s minutes", strconv.FormatFloat(rule, 'f', -1, 64))
	}
	anglers := make([]analysis.Angler, len(order))
	for i, name := range order {
		anglers[i].Angler = name
	}
	labels := anglerLabels(anglers, 20, 9)
	y, byRule := halvesRowsAt, 0
	for i, name := range order {
		row := halvesRow{Y: y, TextY: y + 4, Name: labels[i], Halves: Count(int64(len(byAngler[name])))}
		ended, fish := 0, 0
		minutes := make([]float64, 0, len(byAngler[name]))
		for _, h := range byAngler[name] {
			minutes, fish = append(minutes, h.Minutes), fish+h.Fish
			if h.ByRule {
				ended++
				row.Ended = append(row.Ended, at(h.Minutes))
			} else {
				row.Loose = append(row.Loose, at(h.Minutes))
			}
		}
		slices.Sort(minutes)
		byRule += ended
		f.Rows = append(f.Rows, row)
		f.Table = append(f.Table, halvesNumbers{
			name, row.Halves, Count(int64(ended)), minutesOf(minutes[0]), minutesOf(middle(minutes)), minutesOf(minutes[len(minutes)-1]), Count(int64(fish)),
		})
		y += halvesRowOf
	}
	f.Bottom, f.Height = y, y+12
	share := shareOf(int64(byRule), int64(len(about.Halves)))
	f.Alternative = fmt.Sprintf("%s by %s; %s of them, %s of 100, were ended by the rule. The longest was fished for %s minutes.",
		Counted(int64(len(about.Halves)), "half", "halves"), Counted(int64(len(order)), "angler", "anglers"), Count(int64(byRule)), OutOf100(share), minutesOf(longestOf(about.Halves)))
	return f
}

func longestOf(halves []Half) (longest float64) {
	for _, h := range halves {
		longest = max(longest, h.Minutes)
	}
	return longest
}

// middle is the median of sorted numbers.
func middle(sorted []float64) float64 {
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

func minutesOf(x float64) string { return strconv.FormatFloat(math.Round(x), 'f', -1, 64) }
