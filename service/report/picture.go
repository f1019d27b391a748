package report

import (
	"fmt"
	"io"
	"strings"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// Shape is the shape of a result picture.
type Shape int

// The shapes: 1200 by 675 pixels, and 1080 by 1080.
const (
	Wide Shape = iota
	Square
)

// PictureSVG writes the result as one picture to pass on: the question, the answer sentence, one hundred fish, and the knot on the
// line between the two flies. Its letters are outlines, so that it looks alike everywhere; it loads nothing and runs nothing. The same
// result gives the same bytes. Errors come from w only.
func PictureSVG(w io.Writer, r analysis.Result, about About, shape Shape) error {
	_, err := io.WriteString(w, newPicture(r, about, shape).svg())
	return err
}

// PicturePNG writes the same picture in pixels.
func PicturePNG(w io.Writer, r analysis.Result, about About, shape Shape) error {
	return newPicture(r, about, shape).png(w)
}

// Colours of pictures: those of the light page.
const (
	paperColour   colour = "#faf8f2"
	inkColour     colour = "#1b2527"
	softColour    colour = "#4c585b"
	thinColour    colour = "#727c7f"
	testColour    colour = "#8a3810"
	controlColour colour = "#17566a"
	bandColour    colour = "#efe6d0"
	edgeColour    colour = "#94763a"
)

// layout is where the parts of a picture stand, in pixels: boxes by their left, top and width, the line by its height.
type layout struct {
	width, height  float64
	margin         float64
	sentence       [4]float64 // left, top, width, height
	fish           [2]float64 // left, top
	fishScale      float64
	key            [3]float64 // left, top, width
	line           float64
	foot           float64
	small, letters float64 // sizes of small and usual letters
	answer         float64 // of the number over the knot
	largest        float64 // of the sentence
}

var layouts = map[Shape]layout{
	Wide: {
		width: 1200, height: 675, margin: 56, sentence: [4]float64{56, 88, 580, 340}, fish: [2]float64{690, 94}, fishScale: .96, key: [3]float64{690, 364, 454},
		line: 516, foot: 634, small: 17, letters: 18, answer: 26, largest: 36,
	},
	Square: {
		width: 1080, height: 1080, margin: 60, sentence: [4]float64{60, 108, 960, 300}, fish: [2]float64{60, 444}, fishScale: 1.22, key: [3]float64{668, 470, 352},
		line: 872, foot: 992, small: 20, letters: 22, answer: 30, largest: 44,
	},
}

func newPicture(r analysis.Result, about About, shape Shape) picture {
	l, ok := layouts[shape]
	if !ok {
		l = layouts[Wide]
	}
	n := about.names(r.Test, r.Control, r.Settings.LowerWord, r.Settings.UpperWord)
	p := picture{width: l.width, height: l.height, ground: paperColour, title: question(about, n)}
	p.description = r.Verdict.Sentence + " " + newVerdictFigure(r.Headline, n).Alternative
	wide := l.width - 2*l.margin

	p.eyebrow(about, n, l)
	sentence := l.sentence
	fish := newFishFigure(r.Headline, n)
	if fish == nil {
		sentence[2] = wide
	} else {
		p.description += " " + fish.Alternative
	}
	p.paragraph(regular, r.Verdict.Sentence, sentence[0], sentence[1], sentence[2], sentence[3], l.small, l.largest, inkColour)
	if fish != nil {
		p.shoal(*fish, l)
		p.key(*fish, r, n, l)
	}
	p.rig(r, n, l)
	p.foot(r, about, l)
	return p
}

// eyebrow says over the picture whose trial it was and what it asked, in one line, or in two where it is long.
func (p *picture) eyebrow(about About, n names, l layout) {
	said := question(about, n)
	if about.Club != "" {
		said = about.Club + " · " + said
	}
	wide, y := l.width-2*l.margin, l.margin+l.small*.9
	lines := regular.lines(said, l.small, wide)
	if len(lines) > 1 {
		y -= l.small * .6
		p.write(regular, lines[0], l.margin, y, l.small, atStart, softColour)
		y += l.small * leading
		lines = []string{strings.Join(lines[1:], " ")}
	}
	p.write(regular, regular.fitted(lines[0], l.small, wide), l.margin, y, l.small, atStart, softColour)
}

// question is what a trial asked: in its own words, else between the two flies.
func question(about About, n names) string {
	about.Title = ""
	return heading(about, n)
}

// shoal draws the hundred fish.
func (p *picture) shoal(f fishFigure, l layout) {
	for _, one := range f.Fish {
		at := placing{x: l.fish[0] + float64(one.X)*l.fishScale, y: l.fish[1] + float64(one.Y)*l.fishScale, width: l.fishScale, height: l.fishScale}
		p.oneFish(at, one.Test, one.Either)
	}
}

// oneFish draws a fish, filled where it takes the test pattern, in outline where it takes the other, on a marked ground where it
// could be either.
func (p *picture) oneFish(at placing, test, either bool) {
	outline, back, eye := steps(fishOutline).placed(at), steps(fishBack).placed(at), disc(7.6, 10.8, 1.5).placed(at)
	if either {
		ground := box(0, .5, 44, 23).placed(at)
		p.paint(ground, bandColour)
		p.line(ground, edgeColour, 1)
	}
	if test {
		p.paint(outline, testColour)
		p.line(outline, testColour, 1.3*at.height)
		p.line(back, testColour, 1.3*at.height)
		p.paint(eye, paperColour)
		return
	}
	p.line(outline, controlColour, 1.5*at.height)
	p.line(back, controlColour, 1.5*at.height)
	p.paint(eye, controlColour)
}

// key says what the three kinds of fish are.
func (p *picture) key(f fishFigure, r analysis.Result, n names, l layout) {
	type entry struct {
		test, either bool
		text         string
	}
	share, low, high := answer(r.Headline)
	entries := []entry{{test: true, text: OutOf100(share) + " take " + n.Test}, {text: fmt.Sprintf("%d take %s", f.Rest, n.Control)}}
	if f.Interval {
		entries = []entry{
			{test: true, text: fmt.Sprintf("%d take %s even at the low end", f.Sure, n.Test)},
			{test: true, either: true, text: fmt.Sprintf("%d could be either (%s)", f.Either, Interval100(low, high))},
			{text: fmt.Sprintf("%d take %s even at the high end", f.Rest, n.Control)},
		}
	}
	row := l.letters * 1.75
	if l.key[0] > l.fish[0]+1 { // beside the fish there is room for two lines each
		row = l.letters * 4.2
	}
	for i, e := range entries {
		y := l.key[1] + float64(i)*row
		scale := l.letters / 22
		p.oneFish(placing{x: l.key[0], y: y, width: scale, height: scale}, e.test, e.either)
		left := l.key[0] + 60*scale
		if row < l.letters*2 {
			p.write(regular, regular.fitted(e.text, l.letters, l.key[2]-60*scale), left, y+17.5*scale, l.letters, atStart, softColour)
			continue
		}
		p.paragraph(regular, e.text, left, y-5*scale, l.key[2]-60*scale, row, l.letters*.8, l.letters, softColour)
	}
}

// rig draws the line between the two flies with the knot of the answer.
func (p *picture) rig(r analysis.Result, n names, l layout) {
	left, right := l.margin+66, l.width-l.margin-66
	at := func(share float64) float64 { return left + (right-left)*share }
	y := l.line
	p.line(straight(left, y, right, y), inkColour, 1.6)
	for _, t := range []float64{0, .25, .5, .75, 1} {
		reach, face, c := 6., regular, softColour
		if t == .5 {
			reach, face, c = 15, bold, inkColour
		}
		p.line(straight(at(t), y-reach, at(t), y+reach), inkColour, 1.6)
		p.write(face, fmt.Sprint(int(100*t)), at(t), y+20+l.small, l.small, atMiddle, c)
	}
	p.fly(placing{x: left, y: y, width: -2, height: 2}, false)
	p.fly(placing{x: right, y: y, width: 2, height: 2}, true)
	half := (right - left) / 2
	under := y + 28 + 2*l.small*leading
	p.write(regular, regular.fitted("all take "+n.Control, l.small, half-20), l.margin, under, l.small, atStart, controlColour)
	p.write(regular, regular.fitted("all take "+n.Test, l.small, half-20), l.width-l.margin, under, l.small, atEnd, testColour)
	share, low, high := answer(r.Headline)
	if !isShare(share) {
		p.write(regular, "no answer: no knot is tied", at(.5), y-28, l.letters, atMiddle, softColour)
		return
	}
	if isShare(low) && isShare(high) {
		p.line(straight(at(*low), y, at(*high), y), inkColour, 9)
	}
	knot := placing{x: at(*share), y: y, width: 1.7, height: 1.7}
	p.line(steps(knotTag).placed(knot), inkColour, 2.2)
	p.paint(disc(at(*share), y, 14.5), paperColour)
	p.paint(disc(at(*share), y, 12.5), inkColour)
	text := Share100(share, low, high)
	_, wide := bold.line(text, l.answer)
	x := min(max(at(*share), left+wide/2), right-wide/2)
	p.write(bold, text, x, y-34, l.answer, atMiddle, inkColour)
}

// fly draws a fly by its eye: the test pattern's body is filled, the other's is paper.
func (p *picture) fly(at placing, test bool) {
	c, body := controlColour, paperColour
	if test {
		c, body = testColour, testColour
	}
	p.line(steps(flyHook).placed(at), c, 1.4*at.height)
	p.line(disc(1.7, 0, 1.7).placed(at), c, 1.4*at.height)
	p.paint(steps(flyBody).placed(at), body)
	p.line(steps(flyBody).placed(at), c, 1.3*at.height)
}

// foot says what was counted, what is not shown, and by what the picture can be checked.
func (p *picture) foot(r analysis.Result, about About, l layout) {
	wide := l.width - 2*l.margin
	p.line(straight(l.margin, l.foot-l.small*1.5, l.width-l.margin, l.foot-l.small*1.5), thinColour, 1)
	p.write(regular, regular.fitted(restsOn(r, about), l.small, wide), l.margin, l.foot, l.small, atStart, softColour)
	said := "evenrig"
	if len(r.Fingerprint) >= 12 {
		said += " · counts " + r.Fingerprint[:12]
	}
	second := l.foot + l.small*leading
	p.write(regular, choiceOnly, l.margin, second, l.small, atStart, softColour)
	_, taken := regular.line(said, l.small)
	if _, choice := regular.line(choiceOnly, l.small); choice+l.small+taken > wide {
		second += l.small * leading
	}
	p.write(regular, said, l.width-l.margin, second, l.small, atEnd, softColour)
}

// choiceOnly stands on everything that is passed on.
const choiceOnly = "Choice between two flies in the water together; not how many more fish you would catch."

// restsOn says how many fish and anglers an answer rests on, and how it was come by.
func restsOn(r analysis.Result, about About) string {
	s := fmt.Sprintf("%s by %s", Counted(r.Counts.Analysed, "fish", "fish"), Counted(landing(r.Anglers), "angler", "anglers"))
	if r.Counts.Outings > 0 {
		s += " on " + Counted(r.Counts.Outings, "outing", "outings")
	}
	if r.Settings.Source == trial.Drawn {
		return s + ", which fly hung lower drawn by chance and swapped by rule"
	}
	return s + ", from a catch table; no draw was made here"
}
