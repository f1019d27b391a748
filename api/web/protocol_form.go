package web

import (
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"evenrig/service/trial"
)

// A protocol is filled in and read back by the paths of its JSON, so that the form needs no list of its own of what each
// field is called or where it lies.

// step is one part of a path: a name, or a place in a list.
type step struct {
	name string
	at   int // -1 for a name
}

func numberedPath(list string, i int, name string) string {
	path := fmt.Sprintf("%s[%d]", list, i)
	if name != "" {
		path += "." + name
	}
	return path
}

// steps takes a path like waters[2].name apart.
func steps(path string) (parts []step) {
	for _, word := range strings.FieldsFunc(path, func(r rune) bool { return r == '.' || r == '[' || r == ']' }) {
		if i, err := strconv.Atoi(word); err == nil {
			parts = append(parts, step{"", i})
		} else {
			parts = append(parts, step{word, -1})
		}
	}
	return parts
}

// lookUp returns what stands at the path, nil where there is nothing.
func lookUp(in any, path string) any {
	for _, s := range steps(path) {
		switch node := in.(type) {
		case map[string]any:
			in = node[s.name]
		case []any:
			if s.at < 0 || s.at >= len(node) {
				return nil
			}
			in = node[s.at]
		default:
			return nil
		}
	}
	return in
}

// put sets what stands at the path, making the objects and lists on the way.
func put(in any, path []step, value any) any {
	if len(path) == 0 {
		return value
	}
	if s := path[0]; s.at >= 0 {
		list, _ := in.([]any)
		for len(list) <= s.at {
			list = append(list, nil)
		}
		list[s.at] = put(list[s.at], path[1:], value)
		return list
	}
	object, ok := in.(map[string]any)
	if !ok {
		object = map[string]any{}
	}
	object[path[0].name] = put(object[path[0].name], path[1:], value)
	return object
}

// asObject writes a protocol as its JSON.
func asObject(p trial.Protocol) (map[string]any, error) {
	text, err := json.Marshal(p)
	if err != nil {
		return nil, fmt.Errorf("write the protocol: %w", err)
	}
	var object map[string]any
	return object, json.Unmarshal(text, &object)
}

// protocolForm is the form filled in with the protocol.
func protocolForm(p trial.Protocol) (*Form, error) {
	object, err := asObject(inOrder(p))
	if err != nil {
		return nil, err
	}
	values := url.Values{}
	for _, section := range ruleSections(p) {
		for _, field := range section.Fields {
			switch value := lookUp(object, field.Path).(type) {
			case string:
				values.Set(field.Path, value)
			case bool:
				if value {
					values.Set(field.Path, "yes")
				}
			case float64:
				if value != 0 || field.Kind != numbered {
					values.Set(field.Path, strconv.FormatFloat(value, 'f', -1, 64))
				}
			case []any:
				for _, one := range value {
					values.Add(field.Path, fmt.Sprint(one))
				}
			}
		}
	}
	return newForm(values), nil
}

// inOrder puts the changed fly first, as the form has it.
func inOrder(p trial.Protocol) trial.Protocol {
	if len(p.Patterns) == 2 && p.Patterns[0].Part == trial.Control {
		p.Patterns = []trial.Pattern{p.Patterns[1], p.Patterns[0]}
	}
	return p
}

// protocolFrom reads the form over the protocol that it was filled in with: what the form does not have stays. It names
// every field that cannot be read; whether the values are good is the protocol's own question.
func protocolFrom(f *Form, before trial.Protocol) (trial.Protocol, error) {
	before = inOrder(before)
	object, err := asObject(before)
	if err != nil {
		return before, err
	}
	var faults trial.Faults
	object["species"], object["waters"] = []any{}, []any{}
	full := before
	full.Species, full.Waters = make([]string, 20), make([]trial.Water, 50) // every row that a page can have
	for _, section := range ruleSections(full) {
		for _, field := range section.Fields {
			if strings.HasPrefix(field.Path, "species[") || strings.HasPrefix(field.Path, "waters[") {
				continue
			}
			object = put(object, steps(field.Path), field.read(f, &faults)).(map[string]any)
		}
	}
	for i := range 20 {
		if name := strings.TrimSpace(f.Get(numberedPath("species", i, ""))); name != "" {
			object["species"] = append(object["species"].([]any), name)
		}
	}
	for i := range 50 {
		name, kind := strings.TrimSpace(f.Get(numberedPath("waters", i, "name"))), strings.TrimSpace(f.Get(numberedPath("waters", i, "water_type")))
		if name != "" || kind != "" {
			object["waters"] = append(object["waters"].([]any), map[string]any{"name": name, "water_type": kind})
		}
	}
	settle(object)
	if err := faults.Err("protocol.invalid", "the rule sheet has fields that cannot be read"); err != nil {
		return before, err
	}
	p, err := fromObject(object)
	if err != nil {
		return before, err
	}
	if slices.Equal(before.Welfare.Cautions, trial.Cautions(before.Welfare.CautionC, before.Welfare.StopC)) {
		p.Welfare.Cautions = trial.Cautions(p.Welfare.CautionC, p.Welfare.StopC) // the usual ones follow the temperatures
	}
	return p, nil
}

// fromObject reads a protocol out of its JSON.
func fromObject(object map[string]any) (p trial.Protocol, err error) {
	text, err := json.Marshal(object)
	if err != nil {
		return p, fmt.Errorf("write the form's protocol: %w", err)
	}
	if err := json.Unmarshal(text, &p); err != nil {
		return p, fmt.Errorf("read the form's protocol: %w", err)
	}
	return p, nil
}

// settle leaves out what another choice of the form makes senseless, so that a choice can be changed without clearing fields.
func settle(object map[string]any) {
	if object["stopping"] != string(trial.GroupSequential) {
		delete(object, "looks")
	}
	if object["stopping"] != string(trial.Anytime) {
		delete(object, "evidence_open")
	}
	if draw, ok := object["draw"].(map[string]any); ok && draw["method"] == trial.CoinPerBlock {
		draw["group_sizes"] = []any{}
	}
	if swap, ok := object["swap"].(map[string]any); ok && object["design"] == string(trial.PairedByOuting) {
		swap["after_fish"], swap["after_minutes"] = nil, nil
	}
}

// read returns the field's value as JSON has it.
func (field ruleField) read(f *Form, faults *trial.Faults) any {
	text := strings.TrimSpace(f.Get(field.Path))
	switch field.Kind {
	case tickField:
		return text == "yes"
	case someOf:
		list := []any{}
		for _, one := range f.Values[field.Path] {
			list = append(list, one)
		}
		return list
	case someWhole:
		list := []any{}
		for _, one := range f.Values[field.Path] {
			if n, err := strconv.Atoi(one); err == nil {
				list = append(list, n)
			}
		}
		return list
	case wholeField, numbered, maybe:
		return field.number(text, faults)
	}
	return strings.ReplaceAll(text, "\r\n", "\n")
}

func (field ruleField) number(text string, faults *trial.Faults) any {
	if text == "" {
		if field.Kind == maybe {
			return nil
		}
		return 0 // which the protocol's rules find at fault where it is one
	}
	n, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	whole := field.Kind == wholeField || strings.HasPrefix(field.Path, "swap.")
	if err != nil || n-n != 0 || whole && n != float64(int(n)) {
		accepted := "a number"
		if whole {
			accepted = "a whole number"
		}
		faults.Add(field.Path, "is %q; accepted: %s", text, accepted)
		return nil
	}
	return n
}
