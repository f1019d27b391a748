package report

import (
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"
)

// A picture is a list of painted paths in pixels, from the back to the front. The same list is written as SVG and painted as
// PNG, so that the two cannot differ: letters are outlines too, and need no font where the picture is looked at.

// picture is width by height pixels on a ground of its own.
type picture struct {
	width, height      float64
	ground             colour
	painted            []painted
	title, description string
}

// colour is #rrggbb; empty paints nothing.
type colour string

// painted is one path with its filling and its edge. round edges have round ends and corners; nothing else is drawn.
type painted struct {
	path    path
	fill    colour
	edge    colour
	breadth float64 // of the edge
}

// path is a list of steps; each part of it begins with a moveTo.
type path []step

type stepKind byte

const (
	moveTo  stepKind = 'M'
	lineTo  stepKind = 'L'
	bendTo  stepKind = 'Q' // quadratic, to the second point
	curveTo stepKind = 'C' // cubic, to the third point
	closed  stepKind = 'Z'
)

// points is how many points a step of the kind has.
func (k stepKind) points() int {
	switch k {
	case closed:
		return 0
	case bendTo:
		return 2
	case curveTo:
		return 3
	}
	return 1
}

type step struct {
	kind stepKind
	to   [3]point // moveTo and lineTo use the first, bendTo the first two
}

type point struct{ x, y float64 }

// placing turns, scales and moves: scale first, then turn by degrees clockwise, then move. A negative width mirrors.
type placing struct{ x, y, width, height, turn float64 }

func (p placing) of(q point) point {
	x, y := q.x*p.width, q.y*p.height
	sin, cos := math.Sincos(p.turn * math.Pi / 180)
	return point{p.x + x*cos - y*sin, p.y + x*sin + y*cos}
}

func (p path) placed(at placing) path {
	moved := make(path, len(p))
	for i, s := range p {
		for k := range s.to {
			s.to[k] = at.of(s.to[k])
		}
		moved[i] = s
	}
	return moved
}

// steps reads path data of SVG 1.1 with the absolute commands M, L, H, V, C and Z, which is all that the marks use; it panics on any
// other, since marks are part of the program.
func steps(data string) (p path) {
	var at, start point
	var command byte
	rest := data
	number := func() float64 {
		rest = strings.TrimLeft(rest, " ,")
		end, dot := 0, false
		for end < len(rest) && (rest[end] >= '0' && rest[end] <= '9' || rest[end] == '.' && !dot || rest[end] == '-' && end == 0) {
			dot = dot || rest[end] == '.'
			end++
		}
		x, err := strconv.ParseFloat(rest[:end], 64)
		if err != nil {
			panic(fmt.Sprintf("path data %q at %q: %v", data, rest, err))
		}
		rest = rest[end:]
		return x
	}
	next := func() point { return point{number(), number()} }
	for {
		rest = strings.TrimLeft(rest, " ,")
		if rest == "" {
			return p
		}
		if strings.IndexByte("MLHVCZ", rest[0]) >= 0 {
			command, rest = rest[0], rest[1:]
		}
		switch command {
		case 'M':
			at = next()
			start, command = at, 'L' // further pairs are lines
			p = append(p, step{moveTo, [3]point{at}})
		case 'L':
			at = next()
			p = append(p, step{lineTo, [3]point{at}})
		case 'H':
			at.x = number()
			p = append(p, step{lineTo, [3]point{at}})
		case 'V':
			at.y = number()
			p = append(p, step{lineTo, [3]point{at}})
		case 'C':
			a, b, c := next(), next(), next()
			at = c
			p = append(p, step{curveTo, [3]point{a, b, c}})
		case 'Z':
			at, command = start, 0
			p = append(p, step{kind: closed})
		default:
			panic(fmt.Sprintf("path data %q at %q", data, rest))
		}
	}
}

func box(x, y, width, height float64) path {
	return path{
		{moveTo, [3]point{{x, y}}}, {lineTo, [3]point{{x + width, y}}}, {lineTo, [3]point{{x + width, y + height}}}, {lineTo, [3]point{{x, y + height}}}, {kind: closed},
	}
}

// disc is a circle of four cubic curves, right to 0.03 % of its radius.
func disc(x, y, r float64) path {
	const k = .5522847498
	return path{
		{moveTo, [3]point{{x + r, y}}},
		{curveTo, [3]point{{x + r, y + k*r}, {x + k*r, y + r}, {x, y + r}}},
		{curveTo, [3]point{{x - k*r, y + r}, {x - r, y + k*r}, {x - r, y}}},
		{curveTo, [3]point{{x - r, y - k*r}, {x - k*r, y - r}, {x, y - r}}},
		{curveTo, [3]point{{x + k*r, y - r}, {x + r, y - k*r}, {x + r, y}}},
		{kind: closed},
	}
}

func straight(x1, y1, x2, y2 float64) path {
	return path{{moveTo, [3]point{{x1, y1}}}, {lineTo, [3]point{{x2, y2}}}}
}

func (p *picture) paint(shape path, fill colour) {
	p.painted = append(p.painted, painted{path: shape, fill: fill})
}

func (p *picture) line(shape path, edge colour, breadth float64) {
	p.painted = append(p.painted, painted{path: shape, edge: edge, breadth: breadth})
}

// svg writes the picture as a file of its own: no style, nothing loaded, every colour an attribute.
func (p picture) svg() string {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="picture-title picture-desc" width="%[1]s" height="%[2]s" viewBox="0 0 %[1]s %[2]s">`, short(p.width), short(p.height))
	fmt.Fprintf(&b, "\n<title id=\"picture-title\">%s</title>\n<desc id=\"picture-desc\">%s</desc>\n", html.EscapeString(p.title), html.EscapeString(p.description))
	fmt.Fprintf(&b, "<path fill=\"%s\" d=\"%s\"/>\n", p.ground, box(0, 0, p.width, p.height))
	for _, s := range p.painted {
		fill := s.fill
		if fill == "" {
			fill = "none"
		}
		fmt.Fprintf(&b, `<path fill="%s"`, fill)
		if s.edge != "" {
			fmt.Fprintf(&b, ` stroke="%s" stroke-width="%s" stroke-linecap="round" stroke-linejoin="round"`, s.edge, short(s.breadth))
		}
		fmt.Fprintf(&b, " d=\"%s\"/>\n", s.path)
	}
	b.WriteString("</svg>\n")
	return b.String()
}

// String is the path as path data, to a tenth of a pixel.
func (p path) String() string {
	var b strings.Builder
	for _, s := range p {
		b.WriteByte(byte(s.kind))
		for i, q := range s.to[:s.kind.points()] {
			if i > 0 {
				b.WriteByte(' ')
			}
			b.WriteString(short(q.x) + " " + short(q.y))
		}
	}
	return b.String()
}

func short(x float64) string {
	s := strconv.FormatFloat(math.Round(10*x)/10, 'f', -1, 64)
	if s == "-0" {
		return "0"
	}
	return s
}
