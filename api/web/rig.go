package web

import (
	"bytes"
	"html/template"
	"math"
	"strconv"

	"evenrig/service/trial"
)

// The rig is a line with its two flies. A page draws it upright in a box of 240 by 250: the line runs down x = 92 from the
// rod at y = 8; the knot of the upper fly is at y = 74, its tag ends at (128, 88); the lower fly hangs from y = 196. A fly
// has its eye at 0,0 and lies to the right; the upper one is turned by 20 degrees, the lower one by 90. The changed fly's
// body is filled, the usual one's open, and their colours differ: either tells the two apart. Scripts place the same
// marks by <use href="#fly-test"> and "#fly-control", which the frame defines.

// Line is a drawing of the rig. A fly that chance has not drawn yet is an open ring.
type Line struct {
	Lower, Upper         *Hung
	LowerWord, UpperWord string
	Spacing              string // between the flies; "" draws no measure
	Label                string // the drawing in words
	Row                  bool   // a mark in a row of text, without words
}

// Hung is a fly on the line.
type Hung struct {
	Code, Name string
	Test       bool
}

// Kind is the class and the mark that the fly is drawn with.
func (h *Hung) Kind() string {
	if h.Test {
		return "test"
	}
	return "control"
}

// lineOf is the rig of a trial in an arrangement; in none, before one is drawn.
func lineOf(p trial.Protocol, a trial.Arrangement) Line {
	l := Line{LowerWord: p.LowerWord, UpperWord: p.UpperWord}
	test, control := hungOf(p, trial.Test), hungOf(p, trial.Control)
	switch a {
	case trial.TestLower:
		l.Lower, l.Upper = test, control
	case trial.ControlLower:
		l.Lower, l.Upper = control, test
	}
	return l
}

func hungOf(p trial.Protocol, part trial.Part) *Hung {
	for _, pattern := range p.Patterns {
		if pattern.Part == part {
			return &Hung{pattern.Code, pattern.Name, part == trial.Test}
		}
	}
	return &Hung{Test: part == trial.Test}
}

// measured adds the geometry to a rig: how far apart its flies hang, in centimetres and, to the half, in inches.
func (l Line) measured(spacingCM float64) Line {
	l.Spacing = strconv.FormatFloat(spacingCM, 'f', -1, 64) + " cm (" + strconv.FormatFloat(math.Round(2*spacingCM/2.54)/2, 'f', -1, 64) + " in)"
	return l
}

// rig draws a line, as the template function of that name.
func (b *book) rig(l Line) (template.HTML, error) {
	if l.Label == "" {
		l.Label = b.rigLabel(l)
	}
	name := "rig"
	if l.Row {
		name = "rig-row"
	}
	return b.draw(name, l)
}

// fly draws one of the two marks alone: "test" or "control".
func (b *book) fly(kind string) (template.HTML, error) { return b.draw("fly", kind) }

func (b *book) draw(name string, data any) (template.HTML, error) {
	var out bytes.Buffer
	if err := b.rigs.ExecuteTemplate(&out, name, data); err != nil {
		return "", err
	}
	return template.HTML(out.String()), nil // made by the template just above, which escapes what people wrote
}

func (b *book) rigLabel(l Line) string {
	if l.Lower == nil || l.Upper == nil {
		return b.say("rig.undrawn")
	}
	return b.say("rig.drawn", "lower", l.Lower.Code, "lower_word", l.LowerWord, "upper", l.Upper.Code, "upper_word", l.UpperWord)
}
