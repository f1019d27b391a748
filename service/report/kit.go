package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"

	"evenrig/service/trial"
)

// Kit is a trial on paper as its pages show it: rule sheet, slips, pocket cards and what to do first.
type Kit struct {
	Protocol   trial.Protocol
	Commitment trial.Digest // the check code
	Anglers    []KitAngler
	Folder     string // what the folder is called in commands
	Program    string
}

// KitAngler is one angler with the way round in which each round begins, the first round first. Before is how many rounds were
// handed out before these, so that their numbers go on.
type KitAngler struct {
	Name   string
	First  []trial.Arrangement
	Before int
}

var (
	kitStyle     = style + mustRead("page/kit/kit.css")
	kitTemplates = template.Must(template.New("kit").Funcs(template.FuncMap{"mark": markData}).ParseFS(files, "page/marks.tmpl", "page/kit/*.tmpl"))
)

// KitPolicy is the Content-Security-Policy that stands in a kit's pages: like ContentPolicy, with the kit's own style.
var KitPolicy = func() string {
	sum := sha256.Sum256([]byte(kitStyle))
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'"
}()

// kitPage is what the templates of a kit show.
type kitPage struct {
	Kit
	Style         template.CSS // our own files, trusted
	Policy        string
	Heading       string
	Test, Control trial.Pattern
	Words         kitWords
	Sheets        []slipSheet
	Cards         []cardSheet
	Legend        legend
	CheckGroups   []string
}

// KitStart writes the page that says what to do, in five steps, with the check code. It tells nothing of any slip. Like the
// other pages of a kit it is one file that needs nothing else, for a screen and for A4 and US letter; errors come from w only.
func KitStart(w io.Writer, k Kit) error { return k.write(w, "start") }

// KitRules writes the rule sheet in plain words, at most two printed pages with the usual cautions.
func KitRules(w io.Writer, k Kit) error { return k.write(w, "rules") }

// KitSlips writes the sealed slips, one for each round of each angler, to print on one side, cut and fold twice. What they
// say is on paper only: on a screen it does not show.
func KitSlips(w io.Writer, k Kit) error { return k.write(w, "slips") }

// KitCards writes a page of pocket cards for each angler.
func KitCards(w io.Writer, k Kit) error { return k.write(w, "cards") }

func (k Kit) write(w io.Writer, name string) error {
	p := kitPage{
		Kit: k, Style: template.CSS(kitStyle), Policy: KitPolicy, Words: newKitWords(k.Protocol),
		Sheets: slipSheets(k), Cards: cardSheets(k), Legend: newLegend(k.Protocol), Heading: sentenceCase(k.Protocol.Title), CheckGroups: groupsOf(k.Commitment.String(), 8),
	}
	for _, pattern := range k.Protocol.Patterns {
		if pattern.Part == trial.Test {
			p.Test = pattern
		} else {
			p.Control = pattern
		}
	}
	var b bytes.Buffer
	if err := kitTemplates.ExecuteTemplate(&b, name+".tmpl", p); err != nil {
		return fmt.Errorf("write the kit's page %s: %w", name, err)
	}
	_, err := b.WriteTo(w)
	return err
}

// groupsOf cuts a code into groups that can be read aloud.
func groupsOf(code string, size int) (groups []string) {
	for ; len(code) > size; code = code[size:] {
		groups = append(groups, code[:size])
	}
	return append(groups, code)
}
