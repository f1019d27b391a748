package report

import (
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"
	"strconv"

	"golang.org/x/image/vector"
)

// finer is how many times finer, each way, a picture is painted than it is shown: what overlaps within a line is then smooth.
const finer = 2

// png paints the picture in pixels and writes it as PNG. The same picture gives the same bytes. Errors come from w only.
func (p picture) png(w io.Writer) error {
	large := image.NewRGBA(image.Rect(0, 0, finer*int(p.width), finer*int(p.height)))
	draw.Draw(large, large.Bounds(), image.NewUniform(p.ground.rgba()), image.Point{}, draw.Src)
	for _, s := range p.painted {
		s.path = s.path.placed(placing{width: finer, height: finer})
		if s.fill != "" {
			lay(large, s.fill, s.path, 0)
		}
		if s.edge != "" {
			lay(large, s.edge, s.path, finer*s.breadth)
		}
	}
	return png.Encode(w, shrunk(large))
}

// lay paints a path, or where breadth is above 0 its edge, touching only the pixels around it.
func lay(canvas *image.RGBA, c colour, p path, breadth float64) {
	around := p.around(breadth/2 + 1).Intersect(canvas.Bounds())
	if around.Empty() {
		return
	}
	p = p.placed(placing{x: -float64(around.Min.X), y: -float64(around.Min.Y), width: 1, height: 1})
	brush := vector.NewRasterizer(around.Dx(), around.Dy())
	if breadth > 0 {
		edgeOutline(brush, p, breadth)
	} else {
		fillOutline(brush, p)
	}
	brush.Draw(canvas, around, image.NewUniform(c.rgba()), image.Point{})
}

// around is the smallest rectangle of whole pixels that holds the path's points, the control points too, and more to every side.
func (p path) around(more float64) image.Rectangle {
	low, high := point{math.Inf(1), math.Inf(1)}, point{math.Inf(-1), math.Inf(-1)}
	for _, s := range p {
		for _, q := range s.to[:s.kind.points()] {
			low, high = point{min(low.x, q.x), min(low.y, q.y)}, point{max(high.x, q.x), max(high.y, q.y)}
		}
	}
	if low.x > high.x {
		return image.Rectangle{}
	}
	return image.Rect(int(math.Floor(low.x-more)), int(math.Floor(low.y-more)), int(math.Ceil(high.x+more)), int(math.Ceil(high.y+more)))
}

// shrunk makes one pixel of finer by finer, their mean.
func shrunk(large *image.RGBA) *image.RGBA {
	small := image.NewRGBA(image.Rect(0, 0, large.Rect.Dx()/finer, large.Rect.Dy()/finer))
	for y := range small.Rect.Dy() {
		for x := range small.Rect.Dx() {
			var sum [3]int
			for dy := range finer {
				row := large.Pix[large.PixOffset(finer*x, finer*y+dy):]
				for dx := range finer {
					for c := range sum {
						sum[c] += int(row[4*dx+c])
					}
				}
			}
			pixel := small.Pix[small.PixOffset(x, y):]
			for c, s := range sum {
				pixel[c] = uint8((s + finer*finer/2) / (finer * finer))
			}
			pixel[3] = 255
		}
	}
	return small
}

func (c colour) rgba() color.RGBA {
	n, err := strconv.ParseUint(string(c[1:]), 16, 32)
	if err != nil {
		panic(err) // colours are part of the program
	}
	return color.RGBA{uint8(n >> 16), uint8(n >> 8), uint8(n), 255}
}

func fillOutline(brush *vector.Rasterizer, p path) {
	at := func(q point) (float32, float32) { return float32(q.x), float32(q.y) }
	for i, s := range p {
		x, y := at(s.to[0])
		x2, y2 := at(s.to[1])
		x3, y3 := at(s.to[2])
		switch s.kind {
		case moveTo:
			if i > 0 {
				brush.ClosePath()
			}
			brush.MoveTo(x, y)
		case lineTo:
			brush.LineTo(x, y)
		case bendTo:
			brush.QuadTo(x, y, x2, y2)
		case curveTo:
			brush.CubeTo(x, y, x2, y2, x3, y3)
		}
	}
	brush.ClosePath()
}

// edgeOutline lays a round pen along the path: a disc at every corner and a bar between, all turned the same way, so that what
// overlaps is painted once. Quadratic curves belong to letters, which have no edge.
func edgeOutline(brush *vector.Rasterizer, p path, breadth float64) {
	r := breadth / 2
	var at, start point
	bar := func(to point) {
		dx, dy := to.x-at.x, to.y-at.y
		if long := math.Hypot(dx, dy); long > 0 {
			nx, ny := -dy/long*r, dx/long*r
			fillOutline(brush, path{
				{moveTo, [3]point{{at.x - nx, at.y - ny}}}, {lineTo, [3]point{{to.x - nx, to.y - ny}}}, {lineTo, [3]point{{to.x + nx, to.y + ny}}}, {lineTo, [3]point{{at.x + nx, at.y + ny}}},
			})
		}
		fillOutline(brush, disc(to.x, to.y, r))
		at = to
	}
	for _, s := range p {
		switch s.kind {
		case moveTo:
			at, start = s.to[0], s.to[0]
			fillOutline(brush, disc(at.x, at.y, r))
		case lineTo:
			bar(s.to[0])
		case closed:
			bar(start)
		case curveTo:
			from, pieces := at, 16.
			for i := 1.; i <= pieces; i++ {
				bar(bezier(from, s.to, i/pieces))
			}
		}
	}
}

// bezier is the point at t, 0 to 1, of the cubic curve from a point by three others.
func bezier(from point, to [3]point, t float64) point {
	u := 1 - t
	a, b, c, d := u*u*u, 3*u*u*t, 3*u*t*t, t*t*t
	return point{a*from.x + b*to[0].x + c*to[1].x + d*to[2].x, a*from.y + b*to[0].y + c*to[1].y + d*to[2].y}
}
