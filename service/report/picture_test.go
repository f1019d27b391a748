package report

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"evenrig/service/analysis"
)

// isColour reports whether a pixel has a colour, but for smoothing at edges.
func isColour(t *testing.T, got color.Color, want colour) bool {
	t.Helper()
	r, g, b, _ := got.RGBA()
	w := want.rgba()
	far := func(a uint32, b uint8) float64 { return math.Abs(float64(a>>8) - float64(b)) }
	return far(r, w.R) < 3 && far(g, w.G) < 3 && far(b, w.B) < 3
}

func painting(t *testing.T, x example, shape Shape) image.Image {
	t.Helper()
	var b bytes.Buffer
	if err := PicturePNG(&b, x.result, x.about, shape); err != nil {
		t.Fatal(err)
	}
	picture, err := png.Decode(&b)
	if err != nil {
		t.Fatalf("%s: %v", x.name, err)
	}
	return picture
}

// As many fish are filled as the result's share has hundredths: counted in the picture's own pixels, in the middle of each fish.
func TestPictureHasTheFishOfTheResult(t *testing.T) {
	for _, name := range []string{"club", "planned counts", "one angler", "120 anglers"} {
		x := exampleOf(t, name)
		for shape, size := range map[Shape]image.Point{Wide: {1200, 675}, Square: {1080, 1080}} {
			picture := painting(t, x, shape)
			if picture.Bounds().Size() != size {
				t.Fatalf("%s: %v, want %v", name, picture.Bounds().Size(), size)
			}
			l := layouts[shape]
			filled, either := 0, 0
			for i := range 100 {
				left, top := l.fish[0]+float64(i%10)*fishWidth*l.fishScale, l.fish[1]+float64(i/10)*fishHeight*l.fishScale
				body := picture.At(int(left+17*l.fishScale), int(top+13*l.fishScale))
				if isColour(t, body, testColour) {
					filled++
				}
				if isColour(t, picture.At(int(left+3*l.fishScale), int(top+3*l.fishScale)), bandColour) {
					either++
				}
			}
			share, low, high := answer(x.result.Headline)
			if want := int(math.Round(100 * *share)); filled != want {
				t.Errorf("%s: %d fish are filled, want %d", name, filled, want)
			}
			if want := int(math.Round(100**high)) - int(math.Round(100**low)); either != want {
				t.Errorf("%s: %d fish stand on the marked ground, want %d", name, either, want)
			}
		}
	}
}

// The knot is tied at the share, on a line from fly to fly; without an answer there is none.
func TestPictureTiesTheKnot(t *testing.T) {
	for _, name := range []string{"club", "no fish"} {
		x := exampleOf(t, name)
		l := layouts[Wide]
		picture := painting(t, x, Wide)
		var knot []int
		for px := range picture.Bounds().Dx() {
			if isColour(t, picture.At(px, int(l.line)-9), inkColour) {
				knot = append(knot, px)
			}
		}
		share, _, _ := answer(x.result.Headline)
		if share == nil {
			if len(knot) > 3 { // the mark at 50 alone
				t.Errorf("%s: a knot at %v", name, knot)
			}
			continue
		}
		left, right := l.margin+66, l.width-l.margin-66
		want := left + (right-left)**share
		if len(knot) < 10 || math.Abs(want-float64(knot[len(knot)-1]+knot[len(knot)-8])/2) > 12 {
			t.Errorf("%s: the knot covers %v, want it around %.0f", name, knot, want)
		}
	}
}

// SVG and PNG are one picture: the file is well formed, loads nothing, has no style, says what it shows, and is the same again.
func TestPictureAsSVG(t *testing.T) {
	for _, x := range examples(t) {
		var first, second bytes.Buffer
		for _, b := range []*bytes.Buffer{&first, &second} {
			if err := PictureSVG(b, x.result, x.about, Square); err != nil {
				t.Fatal(err)
			}
		}
		if first.String() != second.String() {
			t.Errorf("%s: two pictures of one result", x.name)
		}
		if n := first.Len(); n > 500_000 {
			t.Errorf("%s: %d bytes", x.name, n)
		}
		root := parse(t, first.String())
		for _, e := range root.all(func(*element) bool { return true }) {
			if e.attr["style"] != "" || e.attr["href"] != "" || e.name == "style" || e.name == "script" || e.name == "image" {
				t.Errorf("%s: <%s %v>", x.name, e.name, e.attr)
			}
		}
		if desc := root.named("desc"); len(desc) != 1 || !strings.Contains(desc[0].text(), strings.TrimSpace(x.result.Verdict.Sentence)) {
			t.Errorf("%s: the picture does not say its answer", x.name)
		}
	}
}

// Path data as SVG 1.1 section 8.3 has it: numbers may follow one another without a space where a sign or a second point begins.
func TestPathDataIsRead(t *testing.T) {
	p := steps("M2 12C8 4.6 22 3.4 31 10.6L39.5-5.4 37.6.5H20V-.8Z")
	want := path{
		{moveTo, [3]point{{2, 12}}},
		{curveTo, [3]point{{8, 4.6}, {22, 3.4}, {31, 10.6}}},
		{lineTo, [3]point{{39.5, -5.4}}},
		{lineTo, [3]point{{37.6, .5}}},
		{lineTo, [3]point{{20, .5}}},
		{lineTo, [3]point{{20, -.8}}},
		{kind: closed},
	}
	if len(p) != len(want) {
		t.Fatalf("%v", p)
	}
	for i := range want {
		if p[i] != want[i] {
			t.Errorf("step %d is %v, want %v", i, p[i], want[i])
		}
	}
}

// Text is never wider than its box, and never cut while there is room.
func TestLettersStayInTheirBox(t *testing.T) {
	for _, text := range []string{"a", "collared hare's ear", strings.Repeat("long ", 200), "Größe, čaj, žluťoučký", strings.Repeat("x", 300)} {
		if short := regular.fitted(text, 20, 400); short != "x…" {
			if _, wide := regular.line(short, 20); wide > 400 {
				t.Errorf("%.20q is %.0f wide", short, wide)
			}
		}
		for _, line := range regular.lines(text, 20, 400) {
			if _, wide := regular.line(line, 20); wide > 400 && strings.Contains(line, " ") {
				t.Errorf("%.20q is %.0f wide", line, wide)
			}
		}
	}
}

// A post says question, answer, interval, what it rests on and that it is about choice, in 500 characters, with the result's numbers.
func TestPost(t *testing.T) {
	long := aboutClub()
	long.Protocol.Question = strings.Repeat("does it matter? ", 40)
	for _, x := range append(examples(t), example{name: "a long question", result: exampleOf(t, "club").result, about: long}) {
		post := Post(x.result, x.about)
		if n := utf8.RuneCountInString(post); n > 500 {
			t.Errorf("%s: %d characters", x.name, n)
		}
		checkWords(t, x.name, post)
		says := []string{choiceOnly}
		if share, low, high := answer(x.result.Headline); isShare(share) {
			says = append(says, analysis.OutOf100(*share), Interval100(low, high), Counted(x.result.Counts.Analysed, "fish", "fish"))
		}
		for _, s := range says {
			if !strings.Contains(post, s) {
				t.Errorf("%s: the post does not say %q:\n%s", x.name, s, post)
			}
		}
		if settled := strings.Contains(post, "favour"); settled != (x.result.Verdict.Code == analysis.TestTakesMore || x.result.Verdict.Code == analysis.ControlTakesMore) {
			t.Errorf("%s: the verdict is %s:\n%s", x.name, x.result.Verdict.Code, post)
		}
	}
}

func BenchmarkPicturePNG(b *testing.B) {
	x := exampleOf(b, "club")
	b.ResetTimer()
	for b.Loop() {
		if err := PicturePNG(io.Discard, x.result, x.about, Wide); err != nil {
			b.Fatal(err)
		}
	}
}
