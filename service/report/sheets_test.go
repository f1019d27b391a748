package report

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	"evenrig/service/analysis"
)

func sheetOf(t *testing.T, write func(*strings.Builder) error) string {
	t.Helper()
	var b strings.Builder
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// The sheets are whole and well formed whatever the result is, need nothing else, claim nothing, and their parts carry no style of
// their own, so that a page under a strict policy can hold them.
func TestSheetsAreWhole(t *testing.T) {
	for _, x := range examples(t) {
		for name, page := range map[string]string{
			"summary":    sheetOf(t, func(b *strings.Builder) error { return SummaryPage(b, x.result, x.about) }),
			"club night": sheetOf(t, func(b *strings.Builder) error { return ClubNightPage(b, x.result, x.about) }),
			"a summary":  sheetOf(t, func(b *strings.Builder) error { return Summary(b, x.result, x.about) }),
			"a night":    sheetOf(t, func(b *strings.Builder) error { return ClubNight(b, x.result, x.about) }),
			"a report":   sheetOf(t, func(b *strings.Builder) error { return Body(b, x.result, x.about) }),
		} {
			name = x.name + ", " + name
			root := parse(t, page)
			checkWords(t, name, page)
			part := strings.Contains(name, ", a ")
			for _, e := range root.all(func(*element) bool { return true }) {
				_, styled := e.attr["style"]
				if styled || e.name == "script" || e.name == "link" || part && (e.name == "style" || e.name == "html" || e.name == "main") {
					t.Errorf("%s: <%s %v>", name, e.name, e.attr)
				}
			}
			if part && (len(root.children) != 1 || root.children[0].name != "article" || !strings.HasPrefix(root.children[0].attr["class"], "report")) {
				t.Errorf("%s: not one article of class report", name)
			}
			if !part && len(root.all(func(e *element) bool { return e.attr["content"] == ContentPolicy })) != 1 {
				t.Errorf("%s: no policy", name)
			}
		}
	}
}

// Every rule of the style sheet stands under .report or is a mark's, so that it can lie beside another page's.
func TestStyleKeepsToItself(t *testing.T) {
	rules := regexp.MustCompile(`(?s)/\*.*?\*/`).ReplaceAllString(Style, "")
	for _, m := range regexp.MustCompile(`(?m)([^{}]+)\{`).FindAllStringSubmatch(rules, -1) {
		for _, selector := range strings.Split(m[1], ",") {
			selector = strings.TrimSpace(selector)
			if strings.HasPrefix(selector, "@") || strings.Contains(m[1], "@media") || strings.HasPrefix(selector, ".report") || strings.HasPrefix(selector, ".rig-") {
				continue
			}
			t.Errorf("%q reaches beyond the report", selector)
		}
	}
}

// The summary's numbers are the result's.
func TestSummarySaysTheResult(t *testing.T) {
	x := exampleOf(t, "club")
	text := parse(t, sheetOf(t, func(b *strings.Builder) error { return Summary(b, x.result, x.about) })).text()
	share, low, high := answer(x.result.Headline)
	for _, says := range []string{
		x.about.Protocol.Question, "about " + analysis.OutOf100(*share) + " would take the collared hare's ear", "from " + Limit100(low) + " to " + Limit100(high),
		"95 times out of 100", "How sure is that?", "What it does not show", "when both were in the water", "Thank you to the 15 anglers", "4 days gave no fish", "Local law",
	} {
		if !strings.Contains(text, says) {
			t.Errorf("the summary does not say %q", says)
		}
	}
}

// The sentences of the summary are for readers of about 12: at most grade 7 by the formula of Kincaid, Fishburne, Rogers and Chissom 1975
// (Derivation of new readability formulas, Research Branch Report 8-75). Syllables are groups of vowels, a silent e taken off.
func TestSummaryIsEasyToRead(t *testing.T) {
	for _, name := range []string{"club", "planned counts", "120 anglers", "one angler", "one arrangement per outing"} {
		x := exampleOf(t, name)
		s := newSummary(x.result, x.about)
		var sentences []string
		for _, part := range slices.Concat(s.Plain, s.HowSure, s.Not, []string{s.How, s.Thanks}) {
			for _, one := range strings.FieldsFunc(part, func(r rune) bool { return strings.ContainsRune(".!?:", r) }) {
				if strings.TrimSpace(one) != "" {
					sentences = append(sentences, one)
				}
			}
		}
		words, syllables := 0, 0
		for _, word := range strings.Fields(strings.Join(sentences, " ")) {
			words++
			syllables += syllablesOf(word)
		}
		grade := .39*float64(words)/float64(len(sentences)) + 11.8*float64(syllables)/float64(words) - 15.59
		if grade > 7 {
			t.Errorf("%s: grade %.1f", name, grade)
		}
	}
}

func syllablesOf(word string) int {
	word = strings.ToLower(strings.Trim(word, `,;"'“”()`))
	if len(word) > 3 {
		word = strings.TrimSuffix(word, "e")
	}
	return max(1, len(regexp.MustCompile(`[aeiouy]+`).FindAllString(word, -1)))
}

// Everybody who fished has a row, in the order of the pseudonyms, with the result's counts and an empty cell for a name.
func TestClubNightHasEverybodyInOrder(t *testing.T) {
	for _, name := range []string{"club", "120 anglers", "one angler"} {
		x := exampleOf(t, name)
		root := parse(t, sheetOf(t, func(b *strings.Builder) error { return ClubNight(b, x.result, x.about) }))
		rows := root.all(func(e *element) bool { return e.attr["data-pseudonym"] != "" })
		if len(rows) != len(x.result.Anglers) {
			t.Fatalf("%s: %d rows for %d anglers", name, len(rows), len(x.result.Anglers))
		}
		for i, a := range x.result.Anglers {
			took, fish := a.TestLower.Lower+a.ControlLower.Upper, all(a.TestLower)+all(a.ControlLower)
			if want := fmt.Sprintf("%s%d%d", a.Angler, fish, took); rows[i].attr["data-pseudonym"] != a.Angler || fish > 0 && !strings.HasPrefix(rows[i].text(), want) {
				t.Errorf("%s: row %d is %q of %q, want %q first", name, i, rows[i].text(), rows[i].attr["data-pseudonym"], want)
			}
			if cells := rows[i].all(func(e *element) bool { return e.attr["class"] == "club-name" }); len(cells) != 1 || cells[0].text() != "" {
				t.Errorf("%s: row %d has no empty cell for a name", name, i)
			}
		}
	}
}
