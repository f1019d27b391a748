package report

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"time"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

//go:embed page
var files embed.FS

var (
	style     = mustRead("page/style.css")
	templates = template.Must(template.New("report").Funcs(template.FuncMap{"day": day, "sentence": sentence, "capital": sentenceCase}).ParseFS(files, "page/*.tmpl"))
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
	Warnings             []string

	Flow     []flowRow
	Besides  string
	Analysed string

	Anglers    anglersFigure
	LowerShare lowerFigure

	Counts        []countRow
	Methods       []methodRow
	Spoken        string
	Mixed         []fact
	Combined      []combinedRow
	CombinedNotes []string
	Without       []withoutRow

	Facts    []fact
	Drawn    bool
	Cautions []trial.Caution
}

// HTML writes the report as one file that needs nothing else: no script, nothing loaded, its style inside, light and
// dark, for a phone, a screen and paper. The same result and About give the same bytes. Errors come from w only.
func HTML(w io.Writer, r analysis.Result, about About) error {
	var b bytes.Buffer
	if err := templates.ExecuteTemplate(&b, "page.tmpl", newPage(r, about)); err != nil {
		return fmt.Errorf("write the report of %s against %s: %w", r.Test, r.Control, err)
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
		Sure: sure(r, about, n), Limits: r.Verdict.Limits, Warnings: warnings(r),
		Flow: flow(r, about, n), Besides: besides(about), Analysed: Count(r.Counts.Analysed),
		Anglers: newAnglersFigure(r, n), LowerShare: newLowerFigure(r, n),
		Counts: countRows(r.Counts, n), Methods: methodRows(r), Spoken: speaker(r.Headline), Mixed: mixedFacts(r.MixedModel, n),
		Combined: combinedRows(r), CombinedNotes: combinedNotes(r.Combined), Without: withoutRows(r.Combined),
		Facts: facts(r, about, n), Drawn: r.Settings.Source == trial.Drawn, Cautions: about.cautions(),
	}
	p.Title = p.Heading
	if about.Title != "" {
		p.Title = about.Title
	} else if about.Protocol != nil && about.Protocol.Title != "" {
		p.Title = about.Protocol.Title
	}
	return p
}
