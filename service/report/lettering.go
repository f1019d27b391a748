package report

import (
	"strings"
	"sync"
	"unicode"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// The letters of pictures are the Go fonts (Bigelow & Holmes, free to embed), drawn as outlines.

// letters is a font at any size; regular and bold are all there are.
type letters struct {
	font *sfnt.Font
	mu   sync.Mutex
	buf  sfnt.Buffer
}

var regular, bold = newLetters(goregular.TTF), newLetters(gobold.TTF)

func newLetters(file []byte) *letters {
	f, err := sfnt.Parse(file)
	if err != nil {
		panic(err) // the font is part of the program
	}
	return &letters{font: f}
}

// drawnAt is the size, in pixels, at which outlines are read before they are scaled.
const drawnAt = 1024

// line returns the outline of a line of text with its baseline from 0,0 to the right, and how wide it is. What the font lacks is
// drawn as the font's own empty box; every kind of space is a space.
func (l *letters) line(text string, size float64) (outline path, width float64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	scale := size / drawnAt / 64
	var pen fixed.Int26_6
	last := sfnt.GlyphIndex(0)
	for _, r := range text {
		if unicode.IsSpace(r) {
			r = ' '
		}
		glyph, err := l.font.GlyphIndex(&l.buf, r)
		if err != nil {
			continue
		}
		if kern, err := l.font.Kern(&l.buf, last, glyph, fixed.I(drawnAt), font.HintingNone); err == nil && last != 0 {
			pen += kern
		}
		if segments, err := l.font.LoadGlyph(&l.buf, glyph, fixed.I(drawnAt), nil); err == nil {
			outline = append(outline, glyphSteps(segments, pen, scale)...)
		}
		if advance, err := l.font.GlyphAdvance(&l.buf, glyph, fixed.I(drawnAt), font.HintingNone); err == nil {
			pen += advance
		}
		last = glyph
	}
	return outline, float64(pen) * scale
}

func glyphSteps(segments sfnt.Segments, pen fixed.Int26_6, scale float64) (p path) {
	at := func(q fixed.Point26_6) point { return point{float64(q.X+pen) * scale, float64(q.Y) * scale} }
	for _, s := range segments {
		a, b, c := at(s.Args[0]), at(s.Args[1]), at(s.Args[2])
		switch s.Op {
		case sfnt.SegmentOpMoveTo:
			if len(p) > 0 {
				p = append(p, step{kind: closed})
			}
			p = append(p, step{moveTo, [3]point{a}})
		case sfnt.SegmentOpLineTo:
			p = append(p, step{lineTo, [3]point{a}})
		case sfnt.SegmentOpQuadTo:
			p = append(p, step{bendTo, [3]point{a, b}})
		case sfnt.SegmentOpCubeTo:
			p = append(p, step{curveTo, [3]point{a, b, c}})
		}
	}
	if len(p) > 0 {
		p = append(p, step{kind: closed})
	}
	return p
}

// Where a line of text has its place.
type anchor byte

const (
	atStart anchor = iota
	atMiddle
	atEnd
)

// write sets one line of text with its baseline at y.
func (p *picture) write(l *letters, text string, x, y, size float64, a anchor, c colour) {
	outline, width := l.line(text, size)
	switch a {
	case atMiddle:
		x -= width / 2
	case atEnd:
		x -= width
	}
	p.paint(outline.placed(placing{x: x, y: y, width: 1, height: 1}), c)
}

// fitted shortens text until it is no wider than width.
func (l *letters) fitted(text string, size, width float64) string {
	short := text
	for runes := []rune(text); len(runes) > 1; short = strings.TrimRight(string(runes), " ") + "…" {
		if _, wide := l.line(short, size); wide <= width {
			break
		}
		runes = runes[:len(runes)-1]
	}
	return short
}

// lines breaks text into lines no wider than width; a word that is wider stands alone.
func (l *letters) lines(text string, size, width float64) (lines []string) {
	line := ""
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == '\n' }) {
		longer := strings.TrimSpace(line + " " + word)
		if _, wide := l.line(longer, size); wide > width && line != "" {
			lines, longer = append(lines, line), word
		}
		line = longer
	}
	return append(lines, line)
}

// leading is the distance of two baselines, of the letters' size.
const leading = 1.32

// paragraph sets text into a box in the largest size between smallest and largest at which it fits, from its top; text that
// does not fit at the smallest is cut short at the box's end. It returns the baseline of the last line.
func (p *picture) paragraph(l *letters, text string, x, y, width, height, smallest, largest float64, c colour) (bottom float64) {
	size := largest
	lines := l.lines(text, size, width)
	for size > smallest && float64(len(lines))*size*leading > height {
		size--
		lines = l.lines(text, size, width)
	}
	if room := max(1, int(height/size/leading)); len(lines) > room {
		lines = lines[:room]
		lines[room-1] = l.fitted(lines[room-1]+" …", size, width)
	}
	bottom = y
	for i, line := range lines {
		bottom = y + size + float64(i)*size*leading
		p.write(l, line, x, bottom, size, atStart, c)
	}
	return bottom
}
