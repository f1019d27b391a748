package web

import (
	"cmp"
	"errors"
	"net/url"
	"strconv"
	"strings"

	"evenrig/service/trial"
)

// Form is a form as it was filled in, with its faults: in Fault what concerns it as a whole, in Faults what stands beside
// a field.
type Form struct {
	url.Values
	Fault  string
	Faults map[string]string
	shown  map[string]bool
}

// Form reads the form that was sent.
func (v *Visit) Form() (*Form, error) {
	values, err := v.FormParams()
	if err != nil {
		return nil, trial.Fail(trial.Invalid, "form.unreadable", "the form could not be read; send it again")
	}
	return newForm(values), nil
}

func newForm(values url.Values) *Form {
	return &Form{Values: values, Faults: map[string]string{}, shown: map[string]bool{}}
}

// Has reports whether the form has the value for the name: a tick, a choice among several.
func (f *Form) Has(name, value string) bool {
	for _, v := range f.Values[name] {
		if v == value {
			return true
		}
	}
	return false
}

func (f *Form) fail(err *trial.Error) {
	f.Fault = err.Detail
	for _, field := range err.Fields {
		f.Faults[field.Field] = field.Detail
	}
}

// failAll shows an error of any kind as the whole form's.
func (f *Form) failAll(err error) {
	if failed, ok := errors.AsType[*trial.Error](err); ok {
		f.fail(failed)
	}
}

// optional is a field's value, nil when it was left empty.
func (f *Form) optional(name string) *string {
	if value := f.Get(name); value != "" {
		return &value
	}
	return nil
}

// needed is a field's value, also when it was left empty.
func (f *Form) needed(name string) *string {
	value := f.Get(name)
	return &value
}

// Elsewhere lists the faults of fields that the page has not shown a fault beside; a page asks for it after its fields.
func (f *Form) Elsewhere() (rest []trial.FieldError) {
	for name, detail := range f.Faults {
		if !f.shown[name] {
			rest = append(rest, trial.FieldError{Field: name, Detail: detail})
		}
	}
	sortFaults(rest)
	return rest
}

// Field is one field of a form as the template "field" shows it.
type Field struct {
	Name, Kind, Label, Help, Value, Fault string
	Autocomplete, Inputmode, Min, Max     string
	Step, List, Length                    string
	Group                                 string // of fields that a page lays out together
	Required, Quiet                       bool   // a quiet field's label is for screen readers: it says the same as the one above
	Options                               []Option
}

// Option is one choice of a field.
type Option struct {
	Value, Label string
	Chosen       bool
}

// field is the template function of that name: field form kind name label help, then names and values of attributes.
func field(f *Form, kind, name, label, help string, attributes ...string) Field {
	one := Field{Name: name, Kind: kind, Label: label, Help: help, Value: f.Get(name), Fault: f.Faults[name]}
	f.shown[name] = true
	for i := 0; i+1 < len(attributes); i += 2 {
		value := attributes[i+1]
		switch attributes[i] {
		case "autocomplete":
			one.Autocomplete = value
		case "inputmode":
			one.Inputmode = value
		case "min":
			one.Min = value
		case "max":
			one.Max = value
		case "step":
			one.Step = value
		case "list":
			one.List = value
		case "length":
			one.Length = value
		case "required":
			one.Required = value == "yes"
		case "value":
			one.Value = value
		default:
			panic("a field has no attribute " + attributes[i])
		}
	}
	return one
}

// Cell is a field that stands in a table, where the column's head is its label.
type Cell struct {
	Form                    *Form
	Name, Label, Mode, List string
}

// cell is the template function of that name.
func cell(f *Form, name, label, mode, list string) Cell {
	f.shown[name] = true
	return Cell{f, name, label, mode, list}
}

// Shown is the field's value in words, where the form is only read.
func (f Field) Shown() string {
	var chosen []string
	for _, o := range f.Options {
		if o.Chosen {
			chosen = append(chosen, o.Label)
		}
	}
	if len(f.Options) > 0 {
		return cmp.Or(strings.Join(chosen, ", "), "–")
	}
	return cmp.Or(f.Value, "–")
}

// choice is field for a choice among options, given as value, label, value, label.
func choice(f *Form, name, label, help string, pairs ...string) Field {
	one := field(f, "choice", name, label, help)
	for i := 0; i+1 < len(pairs); i += 2 {
		one.Options = append(one.Options, Option{Value: pairs[i], Label: pairs[i+1], Chosen: f.Has(name, pairs[i])})
	}
	return one
}

// whole reads a whole number out of a field.
func (f *Form) whole(name string) (int, error) {
	n, err := strconv.Atoi(strings.TrimSpace(f.Get(name)))
	if err != nil {
		var faults trial.Faults
		faults.Add(name, "is %q; accepted: a whole number", f.Get(name))
		return 0, faults.Err("form.invalid", "the form has faults")
	}
	return n, nil
}
