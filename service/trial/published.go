package trial

import (
	"fmt"
	"slices"
)

// Published returns the protocol as strangers may read it: waters are numbered and keep their kind, and what names people or places
// is empty: who tied the flies, local rules, whom to tell. Where another text holds the name of a water, its number stands instead. Names of
// people are not the protocol's to know; see Veil.
func (p Protocol) Published() Protocol {
	hidden := p.hiddenNames(nil)
	p = p.veiled(hidden)
	p.Waters = slices.Clone(p.Waters)
	for i := range p.Waters {
		p.Waters[i].Name = fmt.Sprintf("water %d", i+1)
	}
	p.Rig.TiedBy, p.Rig.Batch, p.Welfare.LocalRules, p.Welfare.ReportLine, p.Nonce = "", "", "", "", ""
	return p
}

// WithoutPeople returns the protocol with "(name withheld)" in place of each of the names.
func (p Protocol) WithoutPeople(people []string) Protocol {
	return p.veiled(Protocol{}.hiddenNames(people))
}

// veiled returns the protocol with every free text veiled.
func (p Protocol) veiled(hidden map[string]string) Protocol {
	p.Patterns = slices.Clone(p.Patterns)
	p.Welfare.Cautions = slices.Clone(p.Welfare.Cautions)
	texts := []*string{
		&p.Title, &p.Question, &p.FeatureChanged, &p.LowerWord, &p.UpperWord, &p.Rig.HookModel, &p.Rig.HookSize, &p.Rig.Presentation,
		&p.Rig.TiedBy, &p.Rig.Batch, &p.Welfare.LocalRules, &p.Welfare.ReportLine, &p.Funding, &p.Conflicts,
	}
	for i := range p.Patterns {
		texts = append(texts, &p.Patterns[i].Name, &p.Patterns[i].Shape, &p.Patterns[i].Colour)
	}
	for i := range p.Welfare.Cautions {
		texts = append(texts, &p.Welfare.Cautions[i].Topic, &p.Welfare.Cautions[i].Text, &p.Welfare.Cautions[i].Source)
	}
	for _, text := range texts {
		*text = Veil(*text, hidden)
	}
	return p
}

// Names reports whether a text holds the name of one of the people or of one of the protocol's waters.
func (p Protocol) Names(text string, people []string) bool {
	return Veil(text, p.hiddenNames(people)) != text
}

// CheckDraw returns the faults of what the draw is made by; nil for a protocol without a draw.
func (p Protocol) CheckDraw() error {
	var f Faults
	if p.Source == Drawn {
		p.checkDraw(&f)
	}
	return f.Err("protocol.invalid", "the protocol has faults")
}
