package report

import (
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"evenrig/service/analysis"
)

func at(x float64) *float64 { return &x }

func near(t *testing.T, what string, got *float64, want, tolerance float64) {
	t.Helper()
	if got == nil || math.Abs(*got-want) > tolerance {
		t.Errorf("%s is %v, want %v", what, got, want)
	}
}

// The fictional trial of 12 blocks with totals 40 of 48 and 22 of 48 lower takes; Woolf's estimate and limits, worked out
// with a general-purpose statistics program (R 4.2.2), six digits printed.
func TestNormalLimits(t *testing.T) {
	low, high := normalLimits(at(.888246), at(.241824), .05)
	near(t, "share", expit(at(.888246)), .708528, 1e-6)
	near(t, "low", low, .602113, 1e-6)
	near(t, "high", high, .796119, 1e-6)
	if got := Share100(expit(at(.888246)), low, high); got != "71 of 100 (60 to 80)" {
		t.Errorf("said as %q", got)
	}
}

// Same fictional trial: the odds ratio of the table is (40·26)/(8·22) = 5.909091 = exp(2θ).
func TestRatioShare(t *testing.T) {
	ratio := 40. * 26 / (8 * 22)
	near(t, "share", ratioShare(&ratio, &ratio), .708528, 1e-6)
	near(t, "θ", halfLog(&ratio), .888246, 1e-6)
	if got := ratioShare(nil, at(2)); got == nil || *got != 1 {
		t.Errorf("an infinite ratio gives the share %v", got)
	}
	if got := ratioShare(at(0), at(0)); got == nil || *got != 0 {
		t.Errorf("a ratio of 0 gives the share %v", got)
	}
}

func TestHundredFish(t *testing.T) {
	for range 500 {
		low, high := rand.Float64(), rand.Float64()
		if low > high {
			low, high = high, low
		}
		share := low + (high-low)*rand.Float64()
		f := newFishFigure(analysis.Headline{Share: &share, ShareLow: &low, ShareHigh: &high}, names{})
		filled, marked := 0, 0
		for _, fish := range f.Fish {
			if fish.Test {
				filled++
			}
			if fish.Either {
				marked++
			}
		}
		if len(f.Fish) != 100 || filled != int(math.Round(100*share)) || marked != f.Either || f.Sure+f.Either+f.Rest != 100 || f.Sure > filled || filled > 100-f.Rest {
			t.Fatalf("share %v (%v to %v): %d filled, %d marked, %d + %d + %d", share, low, high, filled, marked, f.Sure, f.Either, f.Rest)
		}
	}
	if newFishFigure(analysis.Headline{}, names{}) != nil {
		t.Error("fish were drawn without an answer")
	}
}

// The pooled marks are the headline's and no other method's.
func TestFiguresShowTheHeadline(t *testing.T) {
	for _, x := range examples(t) {
		f := newAnglersFigure(x.result, names{})
		want := Share100(x.result.Headline.Share, x.result.Headline.ShareLow, x.result.Headline.ShareHigh)
		if want == Missing {
			want = ""
		}
		if f.HeadlineText != want {
			t.Errorf("%s: Figure 1 says %q, the headline %q", x.name, f.HeadlineText, want)
		}
		if len(f.Rows) != x.anglers || len(f.Table) != x.anglers {
			t.Errorf("%s: %d rows and %d in the table for %d anglers", x.name, len(f.Rows), len(f.Table), x.anglers)
		}
	}
}

// Where many anglers needed the half, the combination's spread between anglers is far too small (40 anglers of 5 fish: its
// interval covers .81 to .91 in place of .95, worked out by simulation), so that it foretells no other angler.
func TestNoPredictionFromHalves(t *testing.T) {
	combined := &analysis.Combined{Estimates: []analysis.CombinedEstimate{{PredictionLow: at(-1), PredictionHigh: at(1)}}}
	r := analysis.Result{Combined: combined, Anglers: make([]analysis.Angler, 10)}
	for i := range r.Anglers {
		r.Anglers[i] = analysis.Angler{TestLower: analysis.ByPosition{Lower: 3}, LogOdds: at(0)}
	}
	r.Anglers[0].HalfAdded = true
	if low, high := r.Prediction(); low == nil || high == nil {
		t.Error("one in ten with a half, and no prediction")
	}
	r.Anglers[1].HalfAdded = true
	if low, _ := r.Prediction(); low != nil || !strings.Contains(noPrediction(r), "zero") {
		t.Errorf("two in ten with a half, and a prediction from %v; said: %q", low, noPrediction(r))
	}
}

// Anglers keep the order in which they are given and never lie on one another, however many they are.
func TestRowsKeepTheirDistance(t *testing.T) {
	for _, x := range examples(t) {
		f := newAnglersFigure(x.result, names{})
		last := figureHead - figureRowTight
		for i, row := range f.Rows {
			if f.Table[i].Name != x.result.Anglers[i].Angler {
				t.Fatalf("%s: row %d is %q, want %q", x.name, i, f.Table[i].Name, x.result.Anglers[i].Angler)
			}
			if row.Y-last < figureRowTight {
				t.Fatalf("%s: row %d lies %d pixels under the one before", x.name, i, row.Y-last)
			}
			last = row.Y
		}
		if len(f.Rows) > 0 && f.Height < last+8 {
			t.Errorf("%s: the figure ends at %d, its last row lies at %d", x.name, f.Height, last)
		}
	}
}

func TestNamesDoNotOverlap(t *testing.T) {
	for range 300 {
		slopes := make([]slope, 1+rand.IntN(namedUpTo))
		for i := range slopes {
			slopes[i] = slope{HasRight: rand.IntN(8) > 0, end: height(math.Round(4*rand.Float64()) / 4)}
		}
		nameSlopes(slopes)
		var spots []float64
		for _, s := range slopes {
			if s.Named != s.HasRight {
				t.Fatal("an angler with a right end is not named, or one without is")
			}
			if y, err := strconv.ParseFloat(s.LabelY, 64); err == nil {
				spots = append(spots, y)
			}
		}
		for i, a := range spots {
			for _, b := range spots[i+1:] {
				if math.Abs(a-b) < nameDistance-.11 { // set to a tenth of a pixel
					t.Fatalf("two names %v pixels apart", math.Abs(a-b))
				}
			}
		}
	}
}

func TestClip(t *testing.T) {
	for _, c := range []struct {
		text    string
		letters int
		want    string
	}{
		{"Rowan", 9, "Rowan"},
		{"7K3M9Q", 9, "7K3M9Q"},
		{"Hildegard Fernybank", 9, "Hildega…"},
		{"鮎を釣る人たち", 9, "鮎を釣る…"},
		{"  spaced  ", 9, "spaced"},
		{"", 9, ""},
	} {
		if got := clip(c.text, c.letters); got != c.want {
			t.Errorf("clip(%q, %d) = %q, want %q", c.text, c.letters, got, c.want)
		}
	}
}

func TestAnglersKeepDifferentNames(t *testing.T) {
	anglers := []analysis.Angler{{Angler: "Hildegard Fernybank the elder"}, {Angler: "Hildegard Fernybank the younger"}, {Angler: "7K3M9Q"}}
	labels := anglerLabels(anglers, 20, 9)
	if labels[0].Wide == labels[1].Wide || labels[0].Narrow == labels[1].Narrow {
		t.Errorf("two anglers are both shown as %q", labels[0])
	}
	if labels[2] != (label{Wide: "7K3M9Q"}) {
		t.Errorf("a short name is shown as %q", labels[2])
	}
}

// luminance and contrast: WCAG 2.2, definitions of relative luminance and contrast ratio.
func luminance(hex string) float64 {
	n, _ := strconv.ParseUint(hex[1:], 16, 32)
	linear := func(c uint64) float64 {
		s := float64(c&255) / 255
		if s <= .04045 {
			return s / 12.92
		}
		return math.Pow((s+.055)/1.055, 2.4)
	}
	return .2126*linear(n>>16) + .7152*linear(n>>8) + .0722*linear(n)
}

func contrast(a, b string) float64 {
	x, y := luminance(a), luminance(b)
	return (max(x, y) + .05) / (min(x, y) + .05)
}

// WCAG 2.2 SC 1.4.3 (text 4.5:1) and 1.4.11 (what a drawing needs to be read, 3:1), in light, in dark and on paper.
func TestContrast(t *testing.T) {
	if c := contrast("#ffffff", "#000000"); math.Abs(c-21) > 1e-9 {
		t.Fatalf("white on black is %v, want 21", c)
	}
	schemes := regexp.MustCompile(`--paper: [^}]*`).FindAllString(style, -1)
	if len(schemes) != 3 {
		t.Fatalf("%d colour schemes, want light, dark and print", len(schemes))
	}
	for i, scheme := range schemes {
		colour := map[string]string{}
		for _, m := range regexp.MustCompile(`--(\w+): (#[0-9a-f]{6})`).FindAllStringSubmatch(scheme, -1) {
			colour[m[1]] = m[2]
		}
		for _, c := range []struct {
			front, back string
			least       float64
		}{
			{"ink", "paper", 7},
			{"soft", "paper", 4.5},
			{"control", "paper", 4.5},
			{"test", "paper", 4.5},
			{"ink", "band", 4.5},
			{"soft", "band", 4.5},
			{"thin", "paper", 3},
			{"thin", "band", 3},
			{"edge", "paper", 3},
			{"edge", "band", 3},
			{"test", "band", 3},
			{"control", "band", 3},
		} {
			if got := contrast(colour[c.front], colour[c.back]); got < c.least {
				t.Errorf("scheme %d: %s on %s is %.2f:1, want %v:1", i, c.front, c.back, got, c.least)
			}
		}
	}
}

// No colour alone (WCAG 2.2 SC 1.4.1): the two patterns differ in form, filled against outline, wherever they are drawn.
func TestPatternsDifferInForm(t *testing.T) {
	for _, rule := range []string{".fish-test { fill: var(--test)", ".fish-control { fill: none", "--fly: var(--test)", "--fly: var(--paper)"} {
		if !strings.Contains(style, rule) {
			t.Errorf("the style lacks %q", rule)
		}
	}
}
