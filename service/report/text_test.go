package report

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// fished is one angler's fish: test and control taken with the test pattern lower, then with it upper.
func fished(angler string, a, b, c, d int64) []trial.Tally {
	cell := func(arrangement trial.Arrangement, taken trial.Taken, n int64) trial.Tally {
		return trial.Tally{Angler: angler, Arrangement: arrangement, Taken: taken, N: n}
	}
	return []trial.Tally{
		cell(trial.TestLower, trial.TookTest, a), cell(trial.TestLower, trial.TookControl, b),
		cell(trial.ControlLower, trial.TookTest, c), cell(trial.ControlLower, trial.TookControl, d),
	}
}

func textOf(t *testing.T, in analysis.Input, about About) string {
	t.Helper()
	r, err := analysis.Run(in, analysis.Settings{ProgramVersion: "test"})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := Text(&b, r, about); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// The page carries the verdict, both drawings of the rig with their counts, every angler, the one method that speaks, what is
// not shown, and the cautions, and fits a terminal.
func TestTextPage(t *testing.T) {
	in := analysis.Input{Test: "red", Control: "plain", LowerWord: "point", UpperWord: "dropper"}
	for i := range 6 {
		in.Tallies = append(in.Tallies, fished(fmt.Sprintf("angler %d", i), 9, 3, 7, 5)...)
	}
	in.Tallies = append(in.Tallies, fished("no fish both ways", 2, 1, 0, 0)...)
	in.Tallies = append(in.Tallies, trial.Tally{Angler: "angler 1", Taken: trial.TookUnknown, Exclusion: trial.NotSure, N: 3})
	page := textOf(t, in, About{})
	joined := strings.Join(strings.Fields(page), " ")
	r, err := analysis.Run(in, analysis.Settings{})
	if err != nil {
		t.Fatal(err)
	}
	wants := []string{r.Verdict.Sentence, "56 fish", "19 fish", "30 fish", "42 fish", "┬", "╮", "dropper", "point", "angler 5", "no fish bo…", "not sure which fly it took", r.Fingerprint}
	wants = append(wants, r.Verdict.Limits...)
	wants = append(wants, trial.Cautions(18, 20)[0].Text)
	for _, want := range wants {
		if !strings.Contains(joined, want) && !strings.Contains(page, want) {
			t.Errorf("the page does not say %q:\n%s", want, page)
		}
	}
	if marked := strings.Count(page, "\n ● "); marked != 1 {
		t.Errorf("one method speaks, %d are marked", marked)
	}
	for _, line := range strings.Split(page, "\n") {
		if utf8.RuneCountInString(line) > textWidth {
			t.Errorf("a line of %d columns: %q", utf8.RuneCountInString(line), line)
		}
	}
}

// Results in which little can be estimated are pages too: nothing is made up, and no number is not a number.
func TestTextPageOfPoorData(t *testing.T) {
	long := strings.Repeat("very long label ", 12)
	for name, tallies := range map[string][]trial.Tally{
		"nothing":         nil,
		"one fish":        fished("me", 1, 0, 0, 0),
		"one arrangement": fished("me", 9, 4, 0, 0),
		"separation":      append(fished("a", 9, 0, 8, 0), fished("b", 9, 0, 8, 0)...),
		"long labels":     fished(long, 4, 3, 2, 5),
		"other scripts":   fished("釣り人の名前はとても長いです", 4, 3, 2, 5),
	} {
		page := textOf(t, analysis.Input{Test: "A", Control: "B", Tallies: tallies}, About{Title: "A bare table"})
		for _, never := range []string{"NaN", "Inf", "<nil>", "%!", "null"} {
			if strings.Contains(page, never) {
				t.Errorf("%s: the page says %q:\n%s", name, never, page)
			}
		}
		if !strings.Contains(page, "A bare table") || !strings.Contains(page, "The rig, both ways round") {
			t.Errorf("%s: no whole page:\n%s", name, page)
		}
	}
}

// Each page says why its two shares differ, of whom it speaks, and what speaks; never more than the fish support.
func TestWhatThePagesClaim(t *testing.T) {
	six := func(tallies ...trial.Tally) analysis.Input {
		in := analysis.Input{Test: "A", Control: "B", Tallies: tallies}
		for i := range 5 {
			in.Tallies = append(in.Tallies, fished(fmt.Sprintf("angler %d", i), 8, 3, 5, 6)...)
		}
		return in
	}
	var opposed []trial.Tally
	for i := range 6 {
		one := int64(i % 2)
		opposed = append(opposed, fished(fmt.Sprintf("angler %d", i), 8*one, 8-8*one, 8*one, 8-8*one)...)
	}
	for _, c := range []struct {
		name        string
		in          analysis.Input
		says, never []string
	}{
		{
			"anglers alike, so that position alone makes the average differ", six(fished("one", 9, 1, 6, 4)...),
			[]string{"nearer to 50 because some fish go by the position"},
			[]string{"anglers who differ"},
		},
		{
			"one angler prevails", six(fished("one", 900, 300, 700, 500)...),
			[]string{"by one angler", "mostly one angler's answer", "cannot be said: one angler has more fish"},
			[]string{"anglers like ours", "another angler like", "For a typical angler, with"},
		},
		{
			"nothing speaks",
			analysis.Input{Test: "A", Control: "B", Tallies: opposed},
			[]string{"not enough to tell", "There is no answer to be sure of", "None of them speaks"},
			[]string{"favour", "are even", "speaks for the trial"},
		},
		{
			"a lone angler",
			analysis.Input{Test: "A", Control: "B", Tallies: fished("me", 9, 3, 7, 5)},
			[]string{"One angler's answer", "independent of one another", "was not drawn here"},
			[]string{"anglers like ours", "by the Laplace", "by adaptive quadrature"},
		},
		{
			"a recorded table", six(fished("one", 9, 1, 6, 4)...),
			[]string{"No draw"},
			[]string{"Chance, not the angler", "is of a species of the trial"},
		},
	} {
		r, err := analysis.Run(c.in, analysis.Settings{})
		if err != nil {
			t.Fatal(err)
		}
		pages := strings.Join(strings.Fields(textOf(t, c.in, About{})+render(t, r, About{})), " ")
		pages = strings.ReplaceAll(pages, "&#39;", "'")
		for _, text := range c.says {
			if !strings.Contains(pages, text) {
				t.Errorf("%s: the pages do not say %q", c.name, text)
			}
		}
		for _, text := range append(c.never, "proves", "significant") {
			if strings.Contains(pages, text) {
				t.Errorf("%s: the pages say %q", c.name, text)
			}
		}
	}
}
