package report

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// The numbers of the 30 items and their parts, as the checklist has them: Hopewell et al. 2025, CONSORT 2025 statement, PLoS Medicine
// 22(4):e1004587, table 1 (items 1a to 12b read there, the rest in copies of the checklist that agree with one another).
var consortNumbers = strings.Fields(`1a 1b 2 3 4 5a 5b 6 7 8 9 10 11 12a 12b 13 14 15 16a 16b 17a 17b 18 19 20a 20b 21a 21b 21c 21d
	22a 22b 23a 23b 24a 24b 25 26 27 28 29 30`)

func TestChecklistHasEveryItem(t *testing.T) {
	for _, x := range examples(t) {
		items := consort(x.result, x.about)
		if len(items) != len(consortNumbers) {
			t.Fatalf("%d items, want %d", len(items), len(consortNumbers))
		}
		text := parse(t, render(t, x.result, x.about)).text()
		for i, item := range items {
			if item.N != consortNumbers[i] || item.What == "" {
				t.Errorf("item %d is %+v, want %s", i, item, consortNumbers[i])
			}
			for _, section := range regexp.MustCompile(`“([^”]+)”`).FindAllStringSubmatch(item.Where, -1) {
				if !strings.Contains(text, section[1]) {
					t.Errorf("%s: item %s stands in “%s”, which is not there", x.name, item.N, section[1])
				}
			}
		}
	}
}

// A bare table reports neither registration nor draw, and the list says so.
func TestChecklistOwnsUp(t *testing.T) {
	where := map[string]string{}
	for _, item := range consort(exampleOf(t, "one angler").result, About{}) {
		where[item.N] = item.Where
	}
	for _, n := range []string{"1a", "2", "3", "5a", "5b", "6", "13", "16b", "17a", "18", "23a"} {
		if where[n] != "" {
			t.Errorf("item %s of a bare table stands in %q", n, where[n])
		}
	}
}

// Every doubt names who and how and what would show it; numbers in the record are the result's.
func TestDoubtsTellTheRecord(t *testing.T) {
	x := exampleOf(t, "planned counts")
	n := x.about.names("A", "B", "", "")
	records := ""
	for _, d := range doubts(x.result, x.about, n) {
		if d.Who == "" || d.How == "" || d.Shows == "" {
			t.Errorf("%+v", d)
		}
		records += d.Record + "\n"
	}
	for _, says := range []string{
		"101 of 120 rounds ended by the rule. 4 fish not logged. 5 of 62 outings blank", "of 250 fish were caught the other way round", "Batch 1 tied by one member, looked over by another member, 60 handed out, 7 lost, 3 tied anew",
		"14 fish typed by somebody else", "6 rounds from slips. Printed by a member who does not fish the trial.", "3 words from members", "2 rounds by coin, 2 of lost phones", "3 planned counts made", "2 disputes, 1 of them left out",
	} {
		if !strings.Contains(records, says) {
			t.Errorf("the record does not say %q:\n%s", says, records)
		}
	}
	if table := doubts(exampleOf(t, "one angler").result, About{}, n); len(table) >= len(doubts(x.result, x.about, n)) {
		t.Error("a table without a draw is asked who could look into the draw")
	}
}

// What scrutineers asked, what was disputed, what was taken back and who erased stands in the report, an answer that is missing too.
func TestReportTellsWhatWasAsked(t *testing.T) {
	x := exampleOf(t, "planned counts")
	text := parse(t, render(t, x.result, x.about)).text()
	for _, says := range []string{
		x.about.Questions[0].Text, x.about.Questions[0].Answer, x.about.Questions[1].Text, "Not answered.", "left out, both deciders agreed", "not decided before the trial was locked",
		"Result 3, 9 December 2026", "The thermometer stood in the sun", "anglers who joined11", "whose records were erased, with 12 fish1", "of these by a coin2", "of these from sealed slips6", "We fish it again in spring.",
		"Before the first fish 6 anglers guessed this number: from 40 to 85, the middle guess 60.",
		"nobody; the club bought the hooks", "waters",
	} {
		if !strings.Contains(text, says) {
			t.Errorf("the report does not say %q", says)
		}
	}
}

// The panels are drawn at the shares of the line-up's counts; ours is told once, out of sight.
func TestLineupIsDrawn(t *testing.T) {
	x := exampleOf(t, "planned counts")
	l := x.about.Lineup
	f := newLineupFigure(l)
	if len(f.Panels) != 20 || f.Ours != fmt.Sprint(l.Real+1) {
		t.Fatalf("%d panels, ours %s", len(f.Panels), f.Ours)
	}
	s := l.Panels[4][0]
	want := panelBottom - (panelBottom-panelTop)*float64(s.TestLower.Lower)/float64(s.TestLower.Lower+s.TestLower.Upper)
	if got := f.Panels[4].Slopes[0].Left; got != fmt.Sprintf("%.1f", want) {
		t.Errorf("drawn at %s, want %.1f", got, want)
	}
	page := render(t, x.result, x.about)
	told := "Ours is number " + f.Ours + "."
	if strings.Count(page, told) != 1 || strings.Index(page, told) < strings.Index(page, `<details class="told">`) {
		t.Errorf("%q is not told once, folded away", told)
	}
	if newLineupFigure(nil) != nil {
		t.Error("a figure of no line-up")
	}
}

// Threads run from the anglers' own answers to those with all heard, at the logistic function of the result's numbers.
func TestThreadsAreTheResults(t *testing.T) {
	x := exampleOf(t, "club")
	f := newShrinkFigure(x.result, names{})
	s := scale{9, 91}
	i := 0
	for _, a := range x.result.Anglers {
		if a.LogOdds == nil || a.ShrunkLogOdds == nil {
			continue
		}
		if th := f.Threads[i]; th.Own != s.at(logistic(*a.LogOdds)) || th.Heard != s.at(logistic(*a.ShrunkLogOdds)) {
			t.Errorf("%s: %+v", a.Angler, th)
		}
		i++
	}
	if i != len(f.Threads) {
		t.Errorf("%d threads for %d anglers", len(f.Threads), i)
	}
}

// Halves lie at their minutes; the table's middle is the median.
func TestHalvesAreDrawn(t *testing.T) {
	p := protocol()
	minutes := 45
	p.Swap.AfterMinutes = &minutes
	f := newHalvesFigure(About{Protocol: p, Halves: []Half{
		{Angler: "B", Minutes: 60, Fish: 2, ByRule: true}, {Angler: "A", Minutes: 10, Fish: 1, ByRule: true}, {Angler: "A", Minutes: 20}, {Angler: "A", Minutes: 40, ByRule: true},
	}})
	if f.Rows[0].Name.Wide != "A" || len(f.Rows[0].Ended) != 2 || len(f.Rows[0].Loose) != 1 || f.Rows[0].Loose[0] != halvesScale.at(20./60) || f.Rule != halvesScale.at(45./60) {
		t.Errorf("%+v", f)
	}
	if got := f.Table[0]; got != (halvesNumbers{"A", "3", "2", "10", "20", "40", "1"}) {
		t.Errorf("%+v", got)
	}
	if f := newHalvesFigure(About{}); f != nil {
		t.Error("a figure of no halves")
	}
}

// Harms are the result's counts; what was not asked is a dash, not a nought.
func TestHarmRows(t *testing.T) {
	n := names{Test: "collared", Control: "plain", Lower: "point", Upper: "dropper"}
	r := analysis.Result{Harms: &analysis.Harms{Noted: true, Rows: []analysis.HarmsRow{
		{Taken: "test", Position: "lower", Landed: 40, Bleeding: 2, DeepHooked: 1}, {Taken: "not_known", Position: "not_known", Landed: 3, Dead: 1, FoulHooked: 2},
	}}}
	rows := harmRows(r, n)
	if rows[0] != (harmRow{"collared at the point", "40", "0", "2", "1", "0"}) || rows[1] != (harmRow{"not sure which fly", "3", "1", "0", "0", "2"}) {
		t.Errorf("%+v", rows)
	}
	r.Harms.Noted = false
	if rows = harmRows(r, n); rows[0].Dead != Missing || rows[1].FoulHooked != "2" {
		t.Errorf("%+v", rows)
	}
}

// As fished and as drawn stand side by side with the p of each.
func TestFishedBesideDrawn(t *testing.T) {
	p, q := .03, .04
	theta, low, high := .5, .1, .9
	r := analysis.Result{
		Headline: analysis.Headline{P: &p}, AsAllocated: &analysis.AsAllocated{Analysed: 90, LogOdds: &theta, Low: &low, High: &high, P: &q},
		Sensitivity: []analysis.SensitivityCase{{Case: analysis.CaseMain, Analysed: 100, LogOdds: &theta, Low: &low, High: &high}},
	}
	share := fmt.Sprintf("%.0f of 100 (%.0f to %.0f)", math.Round(100*logistic(.5)), math.Round(100*logistic(.1)), math.Round(100*logistic(.9)))
	want := []besideRow{{"the way round that was fished", "100", share, "0.030"}, {"the way round that was drawn", "90", share, "0.040"}}
	if got := fishedBesideDrawn(r); !slices.Equal(got, want) {
		t.Errorf("%+v", got)
	}
	if fishedBesideDrawn(analysis.Result{Settings: analysis.SettingsUsed{Source: trial.Recorded}}) != nil {
		t.Error("a table without a draw is counted by one")
	}
}

// Wherever a result is told, it is told as choice between two flies in the water, and never as more fish caught: trade wording rule,
// common practice, no source.
func TestEverywhereItIsChoice(t *testing.T) {
	choice := regexp.MustCompile(`(?i)\bchoice\b|\bchose\b|passed the other by`)
	more := regexp.MustCompile(`(?i)catch(es)? more fish\b|more fish caught|catch rate|outfish`)
	for _, x := range examples(t) {
		var text strings.Builder
		if err := Text(&text, x.result, x.about); err != nil {
			t.Fatal(err)
		}
		told := map[string]string{
			"the page": parse(t, render(t, x.result, x.about)).text(), "the post": Post(x.result, x.about),
			"the summary":    parse(t, sheetOf(t, func(b *strings.Builder) error { return Summary(b, x.result, x.about) })).text(),
			"the club night": parse(t, sheetOf(t, func(b *strings.Builder) error { return ClubNight(b, x.result, x.about) })).text(),
		}
		if len(x.result.Verdict.Limits) > 0 { // a terminal's page says it among the limits
			told["the terminal"] = text.String()
		}
		for what, says := range told {
			if !choice.MatchString(says) {
				t.Errorf("%s: %s does not say that it is about choice", x.name, what)
			}
			if found := more.FindString(says); found != "" {
				t.Errorf("%s: %s says %q", x.name, what, found)
			}
		}
	}
}
