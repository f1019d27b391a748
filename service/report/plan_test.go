package report

import (
	"bytes"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"evenrig/service/analysis"
)

// planned answers the usual question after a change, few seasons played.
func planned(t *testing.T, change func(*analysis.SizeQuestion)) analysis.SizeAnswer {
	t.Helper()
	q := analysis.UsualSize()
	q.Seasons = 0
	change(&q)
	a, err := analysis.PlanSize(t.Context(), q, 2, nil)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// plans are questions of every kind.
func plans(t *testing.T) map[string]analysis.SizeAnswer {
	t.Helper()
	eight := 8
	return map[string]analysis.SizeAnswer{
		"usual":  planned(t, func(q *analysis.SizeQuestion) { q.Seasons = 20 }),
		"alone":  planned(t, func(q *analysis.SizeQuestion) { q.Anglers, q.FishEach, q.Seasons = 1, 100, 20 }),
		"few":    planned(t, func(q *analysis.SizeQuestion) { q.Anglers, q.FishEach = 3, 60 }),
		"many":   planned(t, func(q *analysis.SizeQuestion) { q.Anglers, q.SmallestShare = 400, .53 }),
		"never":  planned(t, func(q *analysis.SizeQuestion) { q.Anglers, q.SDPattern = 5, 1 }),
		"outing": planned(t, func(q *analysis.SizeQuestion) { q.Design, q.Swap = analysis.ByOuting, analysis.SwapRule{} }),
		"three": planned(t, func(q *analysis.SizeQuestion) {
			q.Design, q.Patterns, q.Anglers, q.FishEach, q.SmallestShare, q.Seasons = analysis.RoundRobin, 3, 20, 48, .7, 10
		}),
		"one fly": planned(t, func(q *analysis.SizeQuestion) { q.Design, q.Swap.AfterFish, q.Seasons = analysis.OneFly, nil, 20 }),
		"no swap": planned(t, func(q *analysis.SizeQuestion) { q.FishPerOuting, q.Swap = 3, analysis.SwapRule{AfterFish: &eight} }),
		"looks": planned(t, func(q *analysis.SizeQuestion) {
			q.Stopping, q.Looks, q.Spending, q.Seasons, q.Anglers = analysis.StopAtLooks, 3, "pocock", 20, 20
		}),
		"anytime": planned(t, func(q *analysis.SizeQuestion) { q.Stopping, q.Seasons = analysis.StopAnytime, 20 }),
	}
}

func said(t *testing.T, write func(io.Writer, analysis.SizeAnswer) error, a analysis.SizeAnswer) string {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b, a); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func planText(w io.Writer, a analysis.SizeAnswer) error { return PlanText(w, a, "test") }
func planHTML(w io.Writer, a analysis.SizeAnswer) error { return PlanHTML(w, a, "test") }

func TestPlanPages(t *testing.T) {
	t.Parallel()
	for name, a := range plans(t) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			text, html, curve := said(t, planText, a), said(t, planHTML, a), said(t, PlanCurve, a)
			for line := range strings.Lines(text) {
				if n := utf8.RuneCountInString(strings.TrimSuffix(line, "\n")); n > textWidth {
					t.Errorf("a line of %d columns: %s", n, line)
				}
			}
			for what, page := range map[string]string{"text": text, "page": html, "curve": curve} {
				checkWords(t, what, page)
				if wrong := regexp.MustCompile(`NaN|Inf|%!|<nil>|0x`).FindString(page); wrong != "" {
					t.Errorf("%s holds %q", what, wrong)
				}
			}
			// The same sentences stand on both pages.
			flat := func(s string) string { return strings.Join(strings.Fields(s), " ") }
			for _, s := range append([]string{planSentence(a)}, planMore(a)...) {
				if !strings.Contains(flat(text), flat(s)) {
					t.Errorf("the text lacks %q", s)
				}
				if !strings.Contains(parse(t, html).text(), s) {
					t.Errorf("the page lacks %q", s)
				}
			}
			if again := said(t, planHTML, a); again != html {
				t.Error("the same plan gives other bytes")
			}
		})
	}
}

// WCAG 2.2 SC 1.1.1: every graph has a name, a description by reference and inside, and its numbers in a table; what is
// drawn by reference is there; nothing leaves the drawing.
func TestPlanGraphsAreSaid(t *testing.T) {
	t.Parallel()
	for name, a := range plans(t) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			for _, source := range []string{said(t, planHTML, a), said(t, PlanCurve, a)} {
				page := parse(t, source)
				ids := map[string]*element{}
				for _, e := range page.all(func(e *element) bool { return e.attr["id"] != "" }) {
					if ids[e.attr["id"]] != nil {
						t.Errorf("id %q stands twice", e.attr["id"])
					}
					ids[e.attr["id"]] = e
				}
				for _, e := range page.all(func(*element) bool { return true }) {
					for _, id := range strings.Fields(e.attr["aria-labelledby"] + " " + e.attr["aria-describedby"]) {
						if ids[id] == nil || strings.TrimSpace(ids[id].text()) == "" {
							t.Errorf("<%s> names #%s, which says nothing", e.name, id)
						}
					}
					if href, here := strings.CutPrefix(e.attr["href"], "#"); here && ids[href] == nil {
						t.Errorf("<%s> draws #%s, which is not there", e.name, href)
					}
				}
				if len(page.all(isDrawing)) == 0 {
					t.Error("nothing is drawn")
				}
				for _, f := range page.named("figure") {
					if len(f.named("table")) != 1 {
						t.Error("a graph without its numbers")
					}
				}
			}
			for _, g := range []*graph{equalGraph(a), shareGraph(a)} {
				if g == nil {
					continue
				}
				for _, p := range g.Pieces {
					if min(p.Y1, p.Y2) < graphTop-.1 || max(p.Y1, p.Y2) > graphBottom+.1 || !within100(p.X1) || !within100(p.X2) {
						t.Errorf("a piece of the line leaves the graph: %+v", p)
					}
				}
				for _, m := range []*sign{g.Fly, g.Knot} {
					if m != nil && (m.Y < graphTop-.1 || m.Y > graphBottom+.1 || !within100(m.X)) {
						t.Errorf("a mark leaves the graph: %+v", m)
					}
				}
			}
		})
	}
}

func within100(x string) bool {
	var v float64
	_, err := fmt.Sscanf(x, "%f%%", &v)
	return err == nil && v >= 0 && v <= 100
}

// The prices of 55, 60, 65 and 70 of 100 in fish when anglers are alike are those of the formula with normal quantiles
// from any printed table; the rest of the row is the answer's.
func TestPlanShowsThePrices(t *testing.T) {
	t.Parallel()
	a := planned(t, func(q *analysis.SizeQuestion) { q.SDPosition, q.Dropout, q.NotSure = 0, 0, 0 })
	var alike []string
	for _, row := range priceRows(a) {
		alike = append(alike, row.Alike)
	}
	if want := []string{"780", "191", "82", "44"}; !slices.Equal(alike, want) {
		t.Errorf("fish %v, want %v", alike, want)
	}
	if text := said(t, planText, a); !regexp.MustCompile(`60 of 100 +191 +`).MatchString(text) {
		t.Error("the text lacks the row of 60 of 100")
	}
}
