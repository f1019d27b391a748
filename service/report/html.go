package report

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"slices"
	"time"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

//go:embed page
var files embed.FS

var (
	// Style is the style sheet of every part that this package writes; each of its rules stands under .report, but for the marks (.rig-…).
	Style     = mustRead("page/style.css")
	style     = Style + mustRead("page/alone.css") // of a page that stands alone
	templates = template.Must(template.New("report").Funcs(template.FuncMap{"day": day, "sentence": sentence, "capital": sentenceCase, "mark": markData, "outcome": disputeOutcome, "spaced": spaced, "the": the}).ParseFS(files, "page/*.tmpl"))
)

// ContentPolicy is the Content-Security-Policy under which a report is shown: nothing may be loaded and nothing run; its
// one style sheet is named by its SHA-256. The same policy stands in the page itself, for a report opened as a file.
var ContentPolicy = func() string {
	sum := sha256.Sum256([]byte(style))
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'"
}()

func mustRead(name string) string {
	b, err := files.ReadFile(name)
	if err != nil {
		panic(err) // the file is part of the program
	}
	return string(b)
}

// day writes a date as 4 October 2026.
func day(t time.Time) string { return t.UTC().Format("2 January 2006") }

// page is what the templates show: every number already in words.
type page struct {
	Style  template.CSS // our own file, trusted
	Policy string
	Result analysis.Result
	About  About
	Names  names
	Level  string

	Heading, Title, Deck string
	Verdict              verdictFigure
	Fish                 *fishFigure
	Answer, Interval     string
	Sure                 []string
	Limits               []string
	Before, Cannot       []notice

	Figure                  figureNumbers
	Anglers                 anglersFigure
	Analysed                string
	FalseAlarms             string
	Evidence                []string
	Time                    *timeFigure
	Looks                   *rowsFigure
	Sensitivity             *rowsFigure
	Unchanged, Tipping      string
	LowerShare              lowerFigure
	Positions               []positionRow
	Drift                   *driftFigure
	GroupCaveat             string
	Groups, Looked          *rowsFigure
	GroupTests, LookedTests []groupTest

	Shrink *shrinkFigure
	Halves *halvesFigure
	Lineup *lineupFigure

	Estimand []fact
	Doubts   []doubt
	Beside   []besideRow
	Harms    []harmRow
	Consort  []consortItem

	Flow       []flowRow
	Compliance []fact
	Checks     []string

	Counts        []countRow
	Methods       []methodRow
	Spoken        string
	Mixed         []fact
	Combined      []combinedRow
	CombinedNotes []string
	Without       []withoutRow

	Facts, Settings []fact
	LookedAt        bool
	Guessed         string
	Unseen          bool // fish outside the records were asked about
	Drawn           bool
	Cautions        []trial.Caution
}

// Body writes the report as an article of class report, to stand in another page beside Style: no script, no style of its own,
// nothing loaded. Errors come from w only.
func Body(w io.Writer, r analysis.Result, about About) error {
	return write(w, "report", newPage(r, about))
}

// HTML writes the report as one file that needs nothing else: no script, nothing loaded, its style inside, light and
// dark, for a phone, a screen and paper. The same result and About give the same bytes. Errors come from w only.
func HTML(w io.Writer, r analysis.Result, about About) error {
	return write(w, "page.tmpl", newPage(r, about))
}

func write(w io.Writer, template string, p page) error {
	var b bytes.Buffer
	if err := templates.ExecuteTemplate(&b, template, p); err != nil {
		return fmt.Errorf("write the report of %s against %s: %w", p.Result.Test, p.Result.Control, err)
	}
	_, err := b.WriteTo(w)
	return err
}

func newPage(r analysis.Result, about About) page {
	n := about.names(r.Test, r.Control, r.Settings.LowerWord, r.Settings.UpperWord)
	share, low, high := answer(r.Headline)
	p := page{
		Style: template.CSS(style), Policy: ContentPolicy, Result: r, About: about, Names: n, Level: levelOf(r),
		Heading: heading(about, n), Deck: deck(r, n),
		Verdict: newVerdictFigure(r.Headline, n), Fish: newFishFigure(r.Headline, n), Answer: OutOf100(share), Interval: Interval100(low, high),
		Sure: sure(r, about, n), Limits: r.Verdict.Limits,
		Anglers: newAnglersFigure(r, n), Analysed: Count(r.Counts.Analysed), Evidence: evidence(r), FalseAlarms: OutOf100(&r.Settings.Alpha), Time: newTimeFigure(r, n), Looks: looksFigure(r, n),
		Sensitivity: sensitivityFigure(r, n), Unchanged: unchanged(r, n), Tipping: tipping(r, n),
		LowerShare: newLowerFigure(r, n), Positions: positionRows(r), Drift: newDriftFigure(r),
		GroupCaveat: groupCaveat(r), Groups: subgroupFigure(r, n, true), Looked: subgroupFigure(r, n, false), GroupTests: groupTests(r, true), LookedTests: groupTests(r, false),
		Flow: flow(r, about, n), Compliance: compliance(r, about), Checks: orderChecks(r, n),
		Counts: countRows(r.Counts, n), Methods: methodRows(r), Spoken: speaker(r.Headline), Mixed: mixedFacts(r.MixedModel, n),
		Combined: combinedRows(r), CombinedNotes: combinedNotes(r.Combined), Without: withoutRows(r.Combined),
		Facts: facts(r, about, n), Settings: settings(r), LookedAt: lookedAt(r), Drawn: r.Settings.Source == trial.Drawn, Cautions: about.cautions(),
	}
	p.Shrink, p.Halves, p.Lineup = newShrinkFigure(r, n), newHalvesFigure(about), newLineupFigure(about.Lineup)
	p.Estimand, p.Doubts, p.Beside, p.Harms, p.Consort = estimand(r, about, n), doubts(r, about, n), fishedBesideDrawn(r), harmRows(r, n), consort(r, about)
	p.Guessed = guessed(about)
	p.Unseen = slices.ContainsFunc(r.Sensitivity, func(c analysis.SensitivityCase) bool {
		return c.Case == analysis.CaseNotLoggedTest || c.Case == analysis.CaseErasedTest
	})
	p.Before, p.Cannot = notices(r)
	p.Figure = p.numbered()
	p.Title = p.Heading
	if about.Title != "" {
		p.Title = about.Title
	} else if about.Protocol != nil && about.Protocol.Title != "" {
		p.Title = about.Protocol.Title
	}
	return p
}

// figureNumbers are the numbers of the figures that a page has, in reading order.
type figureNumbers struct {
	Anglers, Shrink, Time, Looks, Sensitivity, Lower, Drift, Groups, Looked, Halves, Lineup int
}

func (p page) numbered() (f figureNumbers) {
	last := 0
	for _, figure := range []struct {
		number *int
		drawn  bool
	}{
		{&f.Anglers, len(p.Result.Anglers) > 0},
		{&f.Shrink, p.Shrink != nil},
		{&f.Time, p.Time != nil},
		{&f.Looks, p.Looks != nil},
		{&f.Sensitivity, p.Sensitivity != nil},
		{&f.Lower, len(p.Result.Anglers) > 0},
		{&f.Drift, p.Drift != nil},
		{&f.Groups, p.Groups != nil},
		{&f.Looked, p.Looked != nil},
		{&f.Halves, p.Halves != nil},
		{&f.Lineup, p.Lineup != nil},
	} {
		if figure.drawn {
			last++
			*figure.number = last
		}
	}
	return f
}
