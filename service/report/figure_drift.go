package report

import (
	"fmt"

	"evenrig/service/analysis"
)

// driftFigure is the answer week by week, each from that week's fish alone, over thirds of the trial and the main answer.
type driftFigure struct {
	Height      int
	Left, Right string
	Ticks       []heightTick
	Weeks       []weekTick
	Top, Bottom int

	Band    *upright // the headline's interval
	MainY   float64
	HasMain bool
	Points  []weekPoint
	Thirds  []thirdLine

	Alternative string
	Table       []rowNumbers
}

// weekPoint is one week: an upright stretch with a knot, and how many fish; without a knot where there are too few.
type weekPoint struct {
	X       string
	Fish    string
	Minor   bool // its number of fish has room on a wide page only
	Stretch *upright
	Y       float64
	Answer  bool
}

type thirdLine struct {
	X, End string
	Y      float64
	Text   string
}

const (
	driftTop    = 44
	driftBottom = 304
	crowded     = 16 // more weeks than this do not all have room for their numbers on a phone
)

func newDriftFigure(r analysis.Result) *driftFigure {
	d := r.Drift
	if d == nil || len(d.Weeks) < 2 {
		return nil
	}
	weeks := make([]string, len(d.Weeks))
	for i, w := range d.Weeks {
		weeks[i] = w.Label
	}
	axis, ok := newWeekAxis(weeks)
	if !ok {
		return nil
	}
	share := drop{driftTop, driftBottom}
	f := &driftFigure{
		Height: driftBottom + 62, Left: axis.scale.at(0), Right: axis.scale.at(1), Ticks: share.ticks(), Weeks: axis.ticks(), Top: driftTop, Bottom: driftBottom,
	}
	if h := r.Headline; isShare(h.Share) && isShare(h.ShareLow) && isShare(h.ShareHigh) {
		f.HasMain, f.MainY = true, share.at(*h.Share)
		f.Band = &upright{X: f.Left, Width: percent(axis.scale.to - axis.scale.from), Top: share.at(*h.ShareHigh), Bottom: share.at(*h.ShareLow)}
	}
	for _, w := range d.Weeks {
		f.Table = append(f.Table, driftNumbers("week of "+weekName(w.Label), w))
		part, ok := axis.at(w.Label, .5)
		if !ok {
			continue
		}
		p := weekPoint{X: axis.scale.at(part), Fish: Count(w.Analysed), Minor: axis.weeks > crowded && len(f.Points)%2 == 1}
		if at, low, high := (answerOf{w.LogOdds, w.Low, w.High}).shares(); isShare(at) {
			p.Answer, p.Y, p.Stretch = true, share.at(*at), &upright{Top: share.at(*high), Bottom: share.at(*low)}
		}
		f.Points = append(f.Points, p)
	}
	for i, t := range d.Thirds {
		f.Table = append(f.Table, driftNumbers(PartName(t.Label), t))
		if at, _, _ := (answerOf{t.LogOdds, t.Low, t.High}).shares(); isShare(at) && len(d.Thirds) == 3 {
			f.Thirds = append(f.Thirds, thirdLine{axis.scale.at(float64(i) / 3), axis.scale.at(float64(i+1) / 3), share.at(*at), OutOf100(at)})
		}
	}
	f.Alternative = driftSays(r)
	return f
}

func driftNumbers(what string, p analysis.DriftPoint) rowNumbers {
	return rowNumbers{What: what, Fish: Count(p.Analysed), Share: answerOf{p.LogOdds, p.Low, p.High}.text()}
}

// driftSays says how the answer moved, as a change out of 100 from the main answer on.
func driftSays(r analysis.Result) string {
	d := r.Drift
	least, most := spanOf(func() (shares []*float64) {
		for _, w := range d.Weeks {
			if s, _, _ := (answerOf{w.LogOdds, w.Low, w.High}).shares(); s != nil {
				shares = append(shares, s)
			}
		}
		return shares
	}())
	s := fmt.Sprintf("%s with analysed fish.", Counted(int64(len(d.Weeks)), "week", "weeks"))
	if least != nil {
		s += fmt.Sprintf(" The weeks' own answers run from %s to %s of 100, each from few fish.", OutOf100(least), OutOf100(most))
	}
	if slope := perWeek(r); slope != "" {
		s += " " + slope
	}
	return s
}

// perWeek is the straight-line change of the answer from one week to the next.
func perWeek(r analysis.Result) string {
	d, theta := r.Drift, r.Headline.LogOdds
	if d.PerWeek == nil || d.Low == nil || d.High == nil || theta == nil {
		return ""
	}
	moved := func(slope float64) string {
		later := *theta + slope
		change := 100 * (*expit(&later) - *expit(theta))
		switch {
		case change >= .05:
			return "+" + Number(&change, 1)
		case change > 0:
			return "just over 0"
		case change < 0 && change > -.05:
			return "just under 0"
		default:
			return Number(&change, 1)
		}
	}
	s := fmt.Sprintf("As a straight line it moves by %s of 100 from one week to the next (%s to %s; %s)", moved(*d.PerWeek), moved(*d.Low), moved(*d.High), saidP(d.P))
	if *d.Low <= 0 && *d.High >= 0 {
		return s + ": these fish fit an answer that rises, falls or stays."
	}
	return s + ": the answer is an average over a time in which it moved."
}
