package report

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"io"
	"math/rand/v2"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// element is a node of a page that was read as XML, which is stricter than HTML: everything must be closed and quoted.
type element struct {
	name     string
	attr     map[string]string
	children []*element
	page     *strings.Builder // the text of the whole page
	from, to int              // this element's part of it
}

func (e *element) text() string { return e.page.String()[e.from:e.to] }

func parse(t testing.TB, page string) *element {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(page))
	text := &strings.Builder{}
	root := &element{attr: map[string]string{}, page: text}
	open := []*element{root}
	for {
		token, err := d.Token()
		if err == io.EOF {
			root.to = text.Len()
			return root
		}
		if err != nil {
			t.Fatalf("the page is not well formed: %v", err)
		}
		switch token := token.(type) {
		case xml.StartElement:
			e := &element{name: token.Name.Local, attr: map[string]string{}, page: text, from: text.Len()}
			for _, a := range token.Attr {
				e.attr[a.Name.Local] = a.Value
			}
			open[len(open)-1].children = append(open[len(open)-1].children, e)
			open = append(open, e)
		case xml.CharData:
			text.Write(token)
		case xml.EndElement:
			open[len(open)-1].to = text.Len()
			open = open[:len(open)-1]
		}
	}
}

func (e *element) all(match func(*element) bool) (found []*element) {
	for _, c := range e.children {
		if match(c) {
			found = append(found, c)
		}
		found = append(found, c.all(match)...)
	}
	return found
}

func (e *element) named(name string) []*element {
	return e.all(func(e *element) bool { return e.name == name })
}

func isDrawing(e *element) bool { return e.name == "svg" && e.attr["role"] == "img" }

// WCAG 2.2 SC 1.1.1: what is drawn is also said. Every drawing has a name and a description, by reference and inside;
// the two numbered figures have a sentence and a table with every angler.
func TestEveryFigureIsSaid(t *testing.T) {
	for _, x := range examples(t) {
		t.Run(x.name, func(t *testing.T) {
			page := parse(t, render(t, x.result, x.about))
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
			drawings := page.all(isDrawing)
			for _, d := range drawings {
				if len(d.named("title")) != 1 || len(d.named("desc")) != 1 || len(strings.Fields(d.attr["aria-labelledby"])) != 2 {
					t.Errorf("a drawing lacks title, desc or its reference to both")
				}
			}
			rows := rowsWanted(x)
			want := 1 + len(rows) // the verdict
			if x.about.Lineup != nil {
				want-- // twenty small ones under one name
			}
			if answered, _, _ := answer(x.result.Headline); answered != nil {
				want++ // one hundred fish
			}
			if len(drawings) != want {
				t.Errorf("%d drawings, want %d", len(drawings), want)
			}
			figures := slices.DeleteFunc(page.named("figure"), func(f *element) bool { return !strings.HasPrefix(strings.TrimSpace(f.text()), "Figure ") })
			if len(figures) != len(rows) {
				t.Fatalf("%d numbered figures, want %d", len(figures), len(rows))
			}
			for i, f := range figures {
				if !strings.HasPrefix(strings.TrimSpace(f.text()), fmt.Sprintf("Figure %d.", i+1)) {
					t.Errorf("figure %d is said to be %.20q", i+1, f.text())
				}
				body := 0
				for _, table := range f.named("tbody") {
					body += len(table.named("tr"))
				}
				if body < rows[i] {
					t.Errorf("%.40q: a table of %d rows, want %d", f.text(), body, rows[i])
				}
			}
		})
	}
}

// rowsWanted is the least number of rows in the data tables of a page's numbered figures, from what the result has.
func rowsWanted(x example) (rows []int) {
	r := x.result
	add := func(n, least int) {
		if n >= least {
			rows = append(rows, n)
		}
	}
	add(x.anglers, 1)
	both := 0
	for _, a := range r.Anglers {
		if a.LogOdds != nil && a.ShrunkLogOdds != nil {
			both++
		}
	}
	add(both, 2)
	if m := r.Monitoring; m != nil {
		if m.Evidence != nil {
			add(len(m.Evidence.Path), 2)
		}
		add(len(m.Looks), 1)
	}
	add(len(r.Sensitivity)-1, 1)
	add(x.anglers, 1)
	if r.Drift != nil {
		add(len(r.Drift.Weeks), 2)
	}
	for _, named := range []bool{true, false} {
		levels := 0
		for _, g := range r.Subgroups {
			if g.Named == named {
				levels += len(g.Levels)
			}
		}
		add(levels, 1)
	}
	if len(x.about.Halves) > 0 {
		add(x.anglers, 1)
	}
	if x.about.Lineup != nil {
		add(analysis.LineupPanels, 1)
	}
	return rows
}

func TestPageNeedsNothingElse(t *testing.T) {
	for _, x := range examples(t) {
		page := render(t, x.result, x.about)
		for _, e := range parse(t, page).all(func(*element) bool { return true }) {
			switch e.name {
			case "script", "link", "img", "iframe", "object", "form", "base":
				t.Errorf("%s: the page has a <%s>", x.name, e.name)
			}
			for name, value := range e.attr {
				if name == "style" || strings.HasPrefix(name, "on") {
					t.Errorf("%s: <%s> has %s=%q", x.name, e.name, name, value)
				}
				if strings.Contains(value, "://") && name != "xmlns" {
					t.Errorf("%s: <%s> has %s=%q", x.name, e.name, name, value)
				}
			}
		}
		for _, loads := range []string{"url(", "@import", "src="} {
			if strings.Contains(page, loads) {
				t.Errorf("%s: the page has %q", x.name, loads)
			}
		}
	}
}

// Content Security Policy Level 3, section 2.3.1: a hash source is the base64 of the digest of the element's text.
func TestPolicyNamesTheStyle(t *testing.T) {
	page := render(t, examples(t)[0].result, aboutClub())
	_, rest, _ := strings.Cut(page, "<style>")
	sheet, _, _ := strings.Cut(rest, "</style>")
	sum := sha256.Sum256([]byte(sheet))
	if want := "style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"; !strings.Contains(ContentPolicy, want) {
		t.Errorf("policy %q lacks %q", ContentPolicy, want)
	}
	for _, meta := range parse(t, page).named("meta") {
		if meta.attr["http-equiv"] == "Content-Security-Policy" && meta.attr["content"] == ContentPolicy {
			return
		}
	}
	t.Error("the page does not carry the policy")
}

// unwanted is what must never be read on a page: a machine's words for nothing, and the words that claim too much.
var unwanted = regexp.MustCompile(`(?i)\bnull\b|\bNaN\b|<nil>|[+-]?\bInf\b|infinity|%!|ZgotmplZ|\bproves?\b|\bproven\b|significant|\bwinner\b|\bbest angler\b|\*\*|★`)

func checkWords(t *testing.T, name, page string) {
	t.Helper()
	if found := unwanted.FindString(page); found != "" {
		t.Errorf("%s: the page says %q", name, found)
	}
}

func TestNoUnwantedWords(t *testing.T) {
	for _, x := range examples(t) {
		checkWords(t, x.name, render(t, x.result, x.about))
	}
}

// Whatever part of a result is missing, the page is whole and says no machine's word for nothing.
func TestAnyPartMayBeMissing(t *testing.T) {
	whole, err := examples(t)[0].result.Encode()
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(3, 5))
	for i := range 100 {
		var r analysis.Result
		if err := json.Unmarshal(whole, &r); err != nil {
			t.Fatal(err)
		}
		blank(reflect.ValueOf(&r).Elem(), random, .02+.3*random.Float64())
		page := render(t, r, aboutClub())
		parse(t, page)
		checkWords(t, fmt.Sprint("case ", i), page)
		if t.Failed() {
			return
		}
	}
}

// blank sets pointers and slices below v to nil, each with the given chance.
func blank(v reflect.Value, random *rand.Rand, chance float64) {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			blank(v.Field(i), random, chance)
		}
	case reflect.Pointer:
		if random.Float64() < chance {
			v.SetZero()
		} else if !v.IsNil() {
			blank(v.Elem(), random, chance)
		}
	case reflect.Slice:
		if random.Float64() < chance/3 {
			v.SetZero()
			return
		}
		for i := range v.Len() {
			blank(v.Index(i), random, chance)
		}
	}
}

func TestEverythingIsEscaped(t *testing.T) {
	const nasty = `"><script>alert(1)</script><svg onload='x()'>&amp;`
	in := analysis.Input{Test: "A" + nasty, Control: "B" + nasty, LowerWord: "point" + nasty, UpperWord: "dropper" + nasty, Source: trial.Drawn}
	for _, arrangement := range []trial.Arrangement{trial.TestLower, trial.ControlLower} {
		in.Tallies = append(in.Tallies, fish("Rowan"+nasty, "1", arrangement, trial.TookTest, 5), fish("Rowan"+nasty, "1", arrangement, trial.TookControl, 2))
	}
	r := analysed(t, in)
	r.Warnings = append(r.Warnings, analysis.Warning{Code: nasty, Detail: nasty}, analysis.Warning{Code: nasty})
	r.Verdict.Sentence, r.Verdict.Limits, r.Fingerprint, r.ProgramVersion = nasty, []string{nasty}, nasty, nasty
	r.Counts.Excluded = map[trial.Exclusion]int64{trial.Exclusion(nasty): 2}
	about := About{
		Title: nasty, Club: nasty, ProtocolVersion: 1, ProtocolFingerprint: nasty, RuleChanges: []RuleChange{{Version: 2, Reason: nasty}},
		Dates: []Dated{{What: nasty}}, Draw: Draw{Commitment: nasty, Seed: nasty, Words: []string{nasty}}, Checkpoint: nasty,
		Links: []Link{{nasty, "javascript:alert(1)"}, {nasty, nasty}}, Cautions: []trial.Caution{{Topic: nasty, Text: nasty, Source: nasty}},
	}
	p := protocol()
	p.Question, p.FeatureChanged, p.LowerWord, p.UpperWord = nasty, nasty, nasty, nasty
	p.Welfare.LocalRules, p.Welfare.ReportLine, p.Species = nasty, nasty, []string{nasty}
	p.Patterns[0].Name, p.Patterns[1].Shape = nasty, nasty
	for _, protocol := range []*trial.Protocol{nil, p} {
		about.Protocol = protocol
		page := render(t, r, about)
		root := parse(t, page)
		for _, e := range root.all(func(*element) bool { return true }) {
			if e.name == "script" || e.attr["onload"] != "" || strings.HasPrefix(e.attr["href"], "javascript:") {
				t.Errorf("a label became <%s %v>", e.name, e.attr)
			}
		}
		if !strings.Contains(root.text(), nasty) {
			t.Error("the label is not shown as it was given")
		}
	}
}

func TestSameBytes(t *testing.T) {
	x := examples(t)[0]
	first, second := render(t, x.result, x.about), render(t, x.result, x.about)
	if first != second {
		t.Error("the same result gave two different pages")
	}
}

// A report always carries the usual cautions, also for a lone table, and defers to local law and licence.
func TestCautionsStandInEveryReport(t *testing.T) {
	for _, x := range examples(t) {
		text := parse(t, render(t, x.result, x.about)).text()
		for _, says := range []string{"Local law", "licence", "no legal and no veterinary advice", "thunder", "From 20 °C stop", "10 seconds"} {
			if !strings.Contains(text, says) {
				t.Errorf("%s: the page does not say %q", x.name, says)
			}
		}
	}
}

// The order of what is said, and that what the club gave is there.
func TestReportSaysWhatItShould(t *testing.T) {
	x := examples(t)[0]
	text := parse(t, render(t, x.result, x.about)).text()
	at := 0
	for _, says := range []string{
		"Wendle Valley Grayling Circle", x.about.Protocol.Question, "randomised, position-swapped", x.result.Verdict.Sentence, "Of one hundred fish",
		"How sure is that?", "95\u00a0% interval", "For another angler like ours", "What it does not show", x.result.Verdict.Limits[0],
		"Figure 1.", "Does it hang on which fish are counted?", "Which way round, angler by angler", "From anglers to analysed fish", "anglers who joined15", "without a fish4", "rounds finished by the rule171",
		ExclusionName(trial.ExcludeLost) + "41", ExclusionName(trial.NotSure) + "9", "fish analysed", "Was it fished as planned?", "The numbers",
		"this one speaks", "How it was worked out", "orange collar", "freestone river, chalk stream", "Rule sheet 2, 20 September 2026",
		"The draw", x.about.Draw.Commitment, x.about.Draw.Seed, "heron, ash, millrace", "Care for fish and people", "catch and return",
		"About this report", "4 December 2026", x.about.ProtocolFingerprint, x.about.Checkpoint, x.result.Fingerprint, "evenrig 0.1.0",
	} {
		i := strings.Index(text[at:], says)
		if i < 0 {
			t.Fatalf("the page does not say %q after what comes before it", says)
		}
		at += i
	}
	for _, place := range []string{"Wendle, upper beat", "Wendle, mill"} {
		if strings.Contains(text, place) {
			t.Errorf("the page names the water %q", place)
		}
	}
}
