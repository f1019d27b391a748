package exchange

import (
	"bytes"
	"cmp"
	"fmt"
	"reflect"
	"slices"
	"time"

	"evenrig/service/analysis"
	"evenrig/service/report"
	"evenrig/service/trial"
)

// result gives the package the result that may be published; see Publish.
func (p *publisher) result(pkg *Package) error {
	in, err := p.input()
	if err != nil {
		return err
	}
	if !p.hides && !p.anybodyWithheld() && reflect.DeepEqual(analysis.InputOf(p.plan), analysis.InputOf(p.Protocol)) {
		pkg.Result = p.Closing.Result
		return nil
	}
	for i, t := range in.Tallies {
		in.Tallies[i] = p.suppressed(t)
	}
	result, err := analysis.Run(in, analysis.Settings{ProgramVersion: p.order.ProgramVersion})
	if err != nil {
		return fmt.Errorf("analyse what may be published: %w", err)
	}
	pkg.Result, err = p.withoutWithheld(result)
	return err
}

// input is what the closing analysis read, under the protocol as it is published.
func (p *publisher) input() (analysis.Input, error) {
	return analysis.ReadInput(p.plan, p.Closing.Input)
}

func (p *publisher) effort() (trial.Effort, error) {
	in, err := p.input()
	return in.Effort, err
}

func (p *publisher) anybodyWithheld() bool {
	for _, withheld := range p.withheld {
		if withheld {
			return true
		}
	}
	return false
}

// suppressed is a tally without what the rows leave out. Of an angler whose rows are left out nothing is told apart but what the
// question itself needs.
func (p *publisher) suppressed(t trial.Tally) trial.Tally {
	if p.withheld[t.Angler] {
		t.Week, t.Month, t.Species, t.Origin, t.WaterType, t.Fly, t.Columns = "", "", "", trial.UnknownOrigin, "", "", ""
		return t
	}
	place := at(p.outings[t.Outing], t.Week)
	t.Species = p.species(place, t.Species)
	if _, t.Week = p.suppression.Place(place.Cell, t.Week); t.Week == "" {
		t.Month = ""
	}
	return t
}

// withoutWithheld encodes the result without what is said of single anglers whose rows are left out.
func (p *publisher) withoutWithheld(r analysis.Result) ([]byte, error) {
	r.Anglers = slices.DeleteFunc(r.Anglers, func(a analysis.Angler) bool { return p.withheld[a.Angler] })
	if r.Combined != nil {
		r.Combined.LeaveOneOut = slices.DeleteFunc(r.Combined.LeaveOneOut, func(l analysis.LeftOneOut) bool { return p.withheld[l.Angler] })
	}
	r.Sensitivity = slices.DeleteFunc(r.Sensitivity, func(c analysis.SensitivityCase) bool { return p.withheld[c.Of] })
	encoded, err := r.Encode()
	if err != nil {
		return nil, err
	}
	for pseudonym, withheld := range p.withheld {
		if withheld { // a warning may name an angler
			encoded = bytes.ReplaceAll(encoded, []byte(pseudonym), []byte("(withheld)"))
		}
	}
	return encoded, nil
}

// report gives the package its report page: the result with what may be said of the trial beside it.
func (p *publisher) report(pkg *Package) error {
	result, err := analysis.Decode(pkg.Result)
	if err != nil {
		return err
	}
	effort, err := p.effort()
	if err != nil {
		return err
	}
	about := p.About
	about.Title, about.Club, about.Protocol, about.ProtocolVersion, about.ProtocolFingerprint = "", p.Club, &p.plan, p.Trial.ProtocolVersion, p.Trial.Fingerprint.String()
	about.Effort, about.Halves, about.Cautions, about.Lineup, about.Guesses = &effort, nil, nil, nil, nil
	about.Links = []report.Link{{Text: "result as JSON", Href: fileResult}, {Text: "fish as a table", Href: "catches.csv"}, {Text: "rule sheet", Href: filePlan}}
	about.Draw.Words = p.shownTexts(p.Words)
	about.Remarks = cmp.Or(p.text(about.Remarks), kept(about.Remarks))
	about.Funding, about.Conflicts, about.Draw.Slips = p.plan.Funding, p.plan.Conflicts, p.text(about.Draw.Slips)
	about.Helpers.CardsIn = cmp.Or(p.text(about.Helpers.CardsIn), kept(about.Helpers.CardsIn))
	about.Questions, about.Disputes, about.Overrides, about.RuleChanges, about.Flies = slices.Clone(about.Questions), slices.Clone(about.Disputes), slices.Clone(about.Overrides), slices.Clone(about.RuleChanges), slices.Clone(about.Flies)
	for i := range about.Questions {
		q := &about.Questions[i]
		q.Text, q.Answer = cmp.Or(p.text(q.Text), textWithheld), cmp.Or(p.text(q.Answer), kept(q.Answer))
	}
	for i := range about.Disputes {
		about.Disputes[i].Reasons = p.shownTexts(about.Disputes[i].Reasons)
	}
	for i := range about.Overrides {
		about.Overrides[i].At = time.Time{} // an angler's day
		about.Overrides[i].Reason = cmp.Or(p.text(about.Overrides[i].Reason), textWithheld)
	}
	for i := range about.RuleChanges {
		about.RuleChanges[i].Reason = cmp.Or(p.text(about.RuleChanges[i].Reason), textWithheld)
	}
	for i := range about.Flies {
		f := &about.Flies[i]
		f.Batch, f.TiedBy, f.Hook, f.Inspected = p.text(f.Batch), p.text(f.TiedBy), p.text(f.Hook), p.text(f.Inspected)
	}
	if !p.anybodyWithheld() && !p.hides {
		about.Lineup, about.Guesses = p.About.Lineup, p.About.Guesses
	}
	var page bytes.Buffer
	if err := report.HTML(&page, result, about); err != nil {
		return err
	}
	pkg.Report = page.Bytes()
	return nil
}

// textWithheld stands where a text names somebody or a water.
const textWithheld = "(text withheld: it names somebody or a water)"

// kept says of a text that was not empty that it is withheld.
func kept(text string) string {
	if text == "" {
		return ""
	}
	return textWithheld
}

func (p *publisher) shownTexts(texts []string) []string {
	shown := make([]string, len(texts))
	for i, t := range texts {
		shown[i] = cmp.Or(p.text(t), textWithheld)
	}
	return shown
}

func sameProtocol(a, b trial.Protocol) bool { return reflect.DeepEqual(a, b) }
