package report

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"evenrig/service/analysis"
)

// The figures are laid out across in percent of the figure's width and down in pixels, so that one drawing serves a
// phone and a printed page and its letters keep their size. Lines are straight and marks are placed by reference, which
// is all that lengths in percent allow.

// scale maps a share, 0 to 1, to a place across the figure.
type scale struct{ from, to float64 } // percent of the width at share 0 and at share 1

func (s scale) at(share float64) string {
	return percent(s.from + (s.to-s.from)*math.Min(1, math.Max(0, share)))
}

func percent(x float64) string { return strconv.FormatFloat(x, 'f', 2, 64) + "%" }

// stretch is an interval's place on a line: from Low to High, Width across, with its Middle.
type stretch struct{ Low, High, Width, Middle string }

func (s scale) stretch(low, high *float64) *stretch {
	if !isShare(low) || !isShare(high) {
		return nil
	}
	return &stretch{s.at(*low), s.at(*high), percent((s.to - s.from) * (*high - *low)), s.at((*low + *high) / 2)}
}

// text is where the words that belong to a share are set, and which part of them stands there, so that they stay on the
// page at either end.
func (s scale) text(share float64) (x, anchor string) {
	switch {
	case share < .3:
		return s.at(0), "start"
	case share > .7:
		return s.at(1), "end"
	default:
		return s.at(share), "middle"
	}
}

// tick is a labelled place on a share axis.
type tick struct {
	X, Text string
	Middle  bool // the 50 mark, where neither pattern is taken more
}

func (s scale) ticks() []tick {
	ticks := make([]tick, 0, 5)
	for _, share := range []float64{0, .25, .5, .75, 1} {
		ticks = append(ticks, tick{s.at(share), strconv.Itoa(int(100 * share)), share == .5})
	}
	return ticks
}

// label is a text in a wide and in a narrow form; Narrow is empty where one form fits both.
type label struct{ Wide, Narrow string }

func fit(text string, wide, narrow int) label {
	l := label{clip(text, wide), clip(text, narrow)}
	if l.Narrow == l.Wide {
		l.Narrow = ""
	}
	return l
}

// allTake is what is said at that end of the share axis where every fish takes the pattern.
func allTake(pattern string) label { return label{clip("all take "+pattern, 40), clip(pattern, 19)} }

// anglerLabels fits the anglers' names. Names that would look alike once shortened keep their ends in place of their
// beginnings.
func anglerLabels(anglers []analysis.Angler, wide, narrow int) []label {
	labels := make([]label, len(anglers))
	seenWide, seenNarrow := map[string]int{}, map[string]int{}
	for _, a := range anglers {
		seenWide[clip(a.Angler, wide)]++
		seenNarrow[clip(a.Angler, narrow)]++
	}
	distinct := func(name string, letters int, seen map[string]int) string {
		if short := clip(name, letters); seen[short] == 1 {
			return short
		}
		return clipStart(name, letters)
	}
	for i, a := range anglers {
		labels[i] = label{distinct(a.Angler, wide, seenWide), distinct(a.Angler, narrow, seenNarrow)}
		if labels[i].Narrow == labels[i].Wide {
			labels[i].Narrow = ""
		}
	}
	return labels
}

// clip shortens text to about as many average letters as given, keeping its beginning; wide scripts count double.
func clip(text string, letters int) string {
	runes := []rune(strings.TrimSpace(text))
	if n := room(runes, letters); n < len(runes) {
		return strings.TrimRight(string(runes[:n]), " ") + "…"
	}
	return string(runes)
}

// clipStart is clip that keeps the end.
func clipStart(text string, letters int) string {
	runes := []rune(strings.TrimSpace(text))
	slices.Reverse(runes)
	n := room(runes, letters)
	slices.Reverse(runes)
	if n < len(runes) {
		return "…" + strings.TrimLeft(string(runes[len(runes)-n:]), " ")
	}
	return string(runes)
}

// room is how many of the runes have room beside an ellipsis, or all of them when they need none.
func room(runes []rune, letters int) int {
	used, kept := 0., 0
	for i, r := range runes {
		used += breadth(r)
		if used > float64(letters) {
			return kept
		}
		if used <= float64(letters-1) {
			kept = i + 1
		}
	}
	return len(runes)
}

func breadth(r rune) float64 {
	switch {
	case unicode.Is(unicode.Mn, r):
		return 0
	case unicode.In(r, unicode.Han, unicode.Hiragana, unicode.Katakana, unicode.Hangul) || r > 0xffff:
		return 2
	case unicode.IsUpper(r) || r == 'm' || r == 'w':
		return 1.3
	default:
		return 1
	}
}

// expit is the share that belongs to a log odds; nil stays nil.
func expit(logOdds *float64) *float64 {
	if logOdds == nil || math.IsNaN(*logOdds) {
		return nil
	}
	share := 1 / (1 + math.Exp(-*logOdds))
	return &share
}

// shareOf is k of n as a share; nil when n is 0.
func shareOf(k, n int64) *float64 {
	if n <= 0 {
		return nil
	}
	share := float64(k) / float64(n)
	return &share
}

// normalLimits are the limits, as shares, of a log odds with its standard error at the level 1 - alpha.
func normalLimits(logOdds, stdError *float64, alpha float64) (low, high *float64) {
	if logOdds == nil || stdError == nil {
		return nil, nil
	}
	z := math.Sqrt2 * math.Erfinv(1-alpha)
	l, h := *logOdds-z**stdError, *logOdds+z**stdError
	return expit(&l), expit(&h)
}

func all(b analysis.ByPosition) int64 { return b.Lower + b.Upper }

// verdictFigure is the answer drawn as the rig: a line with the control fly at one end and the test fly at the other,
// and a knot where the answer lies between them.
type verdictFigure struct {
	Ticks         []tick
	Start, End    string
	Test, Control label
	Knot          string // empty without an answer
	Stretch       *stretch
	Text          string
	TextX, Anchor string
	Alternative   string
}

func newVerdictFigure(h analysis.Headline, n names) verdictFigure {
	s := scale{9, 91}
	f := verdictFigure{
		Ticks: s.ticks(), Start: s.at(0), End: s.at(1),
		Test: allTake(n.Test), Control: allTake(n.Control),
	}
	share, low, high := answer(h)
	if !isShare(share) {
		f.Alternative = "A line from 0 to 100 with a fly at each end and no knot on it: these fish give no answer."
		return f
	}
	f.Knot, f.Stretch, f.Text = s.at(*share), s.stretch(low, high), Share100(share, low, high)
	f.TextX, f.Anchor = s.text(*share)
	f.Alternative = "A line with " + n.Control + " at its left end, 0, and " + n.Test + " at its right end, 100. The knot, the best answer, sits at " +
		OutOf100(share)
	if f.Stretch != nil {
		f.Alternative += "; the thick stretch, its interval, runs from " + Interval100(low, high)
	}
	f.Alternative += ". At 50 neither fly would be taken more."
	return f
}

// answer is the share by which the trial's question is answered out of 100 fish: the average over anglers, outings and
// both arrangements where there is one with its limits, else the share of a typical angler.
func answer(h analysis.Headline) (share, low, high *float64) {
	if h.AverageShare != nil && h.AverageLow != nil && h.AverageHigh != nil {
		return h.AverageShare, h.AverageLow, h.AverageHigh
	}
	return h.Share, h.ShareLow, h.ShareHigh
}

// fishFigure is one hundred fish, ten to a row: those that take the test pattern are filled, those that take the control
// pattern are drawn in outline, and those between the interval's ends lie on a marked ground.
type fishFigure struct {
	Fish        []oneFish
	Test        int // filled
	Sure        int // filled or not, below the interval
	Either      int // between the interval's ends
	Rest        int
	Interval    bool
	Alternative string
}

type oneFish struct {
	X, Y   int
	Test   bool
	Either bool
}

const (
	fishWidth  = 46
	fishHeight = 27
)

func newFishFigure(h analysis.Headline, n names) *fishFigure {
	share, low, high := answer(h)
	if !isShare(share) {
		return nil
	}
	f := &fishFigure{Test: hundredth(share), Interval: isShare(low) && isShare(high)}
	f.Sure, f.Rest = f.Test, 100-f.Test
	if f.Interval {
		f.Sure, f.Rest = hundredth(low), 100-hundredth(high)
		f.Either = 100 - f.Sure - f.Rest
	}
	for i := range 100 {
		f.Fish = append(f.Fish, oneFish{
			X: i % 10 * fishWidth, Y: i / 10 * fishHeight,
			Test: i < f.Test, Either: i >= f.Sure && i < 100-f.Rest,
		})
	}
	f.Alternative = "One hundred fish. " + OutOf100(share) + " take " + n.Test + " and are filled, the others take " + n.Control + " and are drawn in outline."
	if f.Interval {
		f.Alternative += " The interval runs from " + Interval100(low, high) + ": the fish between those numbers could be either."
	}
	return f
}

func hundredth(share *float64) int { return int(math.Round(100 * *share)) }
