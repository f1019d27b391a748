package web

import (
	"net/url"
	"reflect"
	"strings"
	"testing"

	"evenrig/service/trial"
)

// A protocol goes through its form and back without losing anything.
func TestProtocolFormKeepsTheProtocol(t *testing.T) {
	fish, bead := 3, 2.8
	for name, change := range map[string]func(*trial.Protocol){
		"usual":    func(*trial.Protocol) {},
		"imperial": func(p *trial.Protocol) { p.Rig.TippetLB = &bead },
		"looks": func(p *trial.Protocol) {
			p.Stopping, p.Looks = trial.GroupSequential, &trial.Looks{Planned: 4, Spending: trial.SpendPocock, Method: trial.LookMixedModel, Futility: true}
		},
		"anytime":  func(p *trial.Protocol) { p.Stopping, p.EvidenceOpen = trial.Anytime, true },
		"coin":     func(p *trial.Protocol) { p.Draw.Method, p.Draw.GroupSizes = trial.CoinPerBlock, []int{} },
		"fish":     func(p *trial.Protocol) { p.Swap.AfterFish, p.Swap.AfterMinutes = &fish, nil },
		"recorded": func(p *trial.Protocol) { p.Source = trial.Recorded },
		"many": func(p *trial.Protocol) {
			p.Waters = []trial.Water{{Name: "Sillet Beck", WaterType: "stream"}, {Name: "Quarle Water", WaterType: "river"}}
			p.Species, p.Subgroups = []string{"Thymallus thymallus", "Salmo trutta"}, []string{"origin"}
		},
	} {
		p := trial.Template()
		p.Patterns[0].Code, p.Patterns[1].Code = "COLLAR", "PLAIN"
		change(&p)
		f, err := protocolForm(p)
		if err != nil {
			t.Fatal(err)
		}
		back, err := protocolFrom(f, p)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if !reflect.DeepEqual(back, p) {
			t.Errorf("%s came back as\n%+v\nwas\n%+v", name, back, p)
		}
	}
}

// What cannot be read is named by its field, and nothing is made of it.
func TestProtocolFormNamesWhatItCannotRead(t *testing.T) {
	p := trial.Template()
	f, err := protocolForm(p)
	if err != nil {
		t.Fatal(err)
	}
	f.Set("rig.spacing_cm", "a hand")
	f.Set("swap.after_fish", "2.5")
	f.Set("smallest_share", "1e400")
	_, err = protocolFrom(f, p)
	for _, field := range []string{"rig.spacing_cm", "swap.after_fish", "smallest_share"} {
		if err == nil || !strings.Contains(err.Error(), field) {
			t.Errorf("%s is not named: %v", field, err)
		}
	}
	if _, err := protocolFrom(newForm(url.Values{"rig.tippet_mm": {"0,14"}}), p); err != nil {
		t.Errorf("a decimal comma is refused: %v", err)
	}
}

// Every field of the rule sheet and every choice has words in every language.
func TestRuleFieldsHaveWords(t *testing.T) {
	for _, b := range loadBooks() {
		used := map[string]bool{}
		for _, section := range ruleSections(trial.Template()) {
			for _, field := range section.Fields {
				words := field.Path
				if field.List != "" {
					words = field.List
				}
				used[words] = true
				if b.words["protocol."+words] == "" {
					t.Errorf("%s has no words for protocol.%s", b.language, words)
				}
				last := field.Path[strings.LastIndex(field.Path, ".")+1:]
				for _, option := range field.Options {
					if b.words["protocol_option."+last+"."+option] == "" {
						t.Errorf("%s has no words for protocol_option.%s.%s", b.language, last, option)
					}
				}
			}
		}
		for key := range b.words {
			if of, help := strings.CutPrefix(key, "protocol_help."); help && !used[of] {
				t.Errorf("%s has help for %s, which is no field", b.language, of)
			}
		}
	}
}

// A rule change shows no field that a registered rule sheet must keep, and every one that it may change.
func TestRuleChangeShowsWhatMayChange(t *testing.T) {
	p := trial.Template()
	p.Waters = []trial.Water{{Name: "Sillet Beck", WaterType: "stream"}}
	for _, section := range ruleSections(p) {
		for _, field := range section.Fields {
			object, err := asObject(p)
			if err != nil {
				t.Fatal(err)
			}
			changed := put(object, steps(field.Path), map[fieldKind]any{wholeField: 77, numbered: 1.5, maybe: 3, tickField: true, someOf: []any{"date"}, someWhole: []any{6}}[field.Kind])
			if lookUp(changed, field.Path) == nil {
				changed = put(object, steps(field.Path), "another")
			}
			next, err := fromObject(changed.(map[string]any))
			if err != nil {
				t.Fatalf("%s: %v", field.Path, err)
			}
			_, err = p.Amends(next, "the river was closed for a month")
			fixed := err != nil && strings.Contains(err.Error(), "cannot be changed after registration")
			if fixed == mayChange(field.Path) {
				t.Errorf("the page of a rule change has %s: %t; the protocol's rules: %v", field.Path, mayChange(field.Path), err)
			}
		}
	}
}
