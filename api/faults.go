package api

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"

	"evenrig/service/trial"
)

// schemaFaults names every way in which value does not fit the schema: by path, what it is, what is accepted.
func schemaFaults(f *trial.Faults, visit []openapi3.SchemaValidationOption, schema *openapi3.Schema, value any) {
	named := map[string]bool{}
	eachFault(visit, schema, value, nil, func(path []string, detail string) {
		field := fieldName(path)
		if !named[field] {
			named[field] = true
			f.Add(field, "%s", detail)
		}
	})
}

func eachFault(visit []openapi3.SchemaValidationOption, schema *openapi3.Schema, value any, at []string, fault func(path []string, detail string)) {
	for _, err := range flatten(schema.VisitJSON(value, visit...)) {
		path := append(slices.Clone(at), err.JSONPointer()...)
		switch err.SchemaField {
		case "required":
			fault(path, "is missing; accepted: "+wanted(err.Schema.Properties[path[len(path)-1]].Value))
		case "properties":
			for _, name := range unknown(err) {
				fault(append(slices.Clone(path), name), "is not known here; accepted: "+strings.Join(properties(err.Schema), ", "))
			}
		case "oneOf":
			// The document uses oneOf for one thing: a value that may also be null.
			for _, option := range err.Schema.OneOf {
				if !option.Value.Type.Is("null") {
					eachFault(visit, option.Value, err.Value, path, fault)
				}
			}
		case "type", "nullable":
			fault(path, fmt.Sprintf("is %s; accepted: %s", kindOf(err.Value), accepted(err.Schema)))
		case "format":
			fault(path, fmt.Sprintf("is %s; accepted: %s", quoted(err.Value), accepted(err.Schema)))
		default:
			fault(path, err.Reason)
		}
	}
}

// flatten returns the single faults in an error of the schema's check.
func flatten(err error) []*openapi3.SchemaError {
	switch err := err.(type) {
	case openapi3.MultiError:
		var all []*openapi3.SchemaError
		for _, one := range err {
			all = append(all, flatten(one)...)
		}
		return all
	case *openapi3.SchemaError:
		return []*openapi3.SchemaError{err}
	}
	return nil
}

// parameterFault names the fault of a path, query or header parameter.
func parameterFault(f *trial.Faults, p *openapi3.Parameter, err error) {
	schema := p.Schema.Value
	if errors.Is(err, openapi3filter.ErrInvalidRequired) {
		f.Add(p.Name, "is missing; accepted: %s", accepted(schema))
		return
	}
	f.Add(p.Name, "cannot be read; accepted: %s", accepted(schema))
}

// fieldName writes a path as waters[2].name.
func fieldName(path []string) string {
	var b strings.Builder
	for _, part := range path {
		switch {
		case part != "" && strings.Trim(part, "0123456789") == "":
			b.WriteString("[" + part + "]")
		case b.Len() == 0:
			b.WriteString(part)
		default:
			b.WriteString("." + part)
		}
	}
	if b.Len() == 0 {
		return "body"
	}
	return b.String()
}

func unknown(err *openapi3.SchemaError) []string {
	given, _ := err.Value.(map[string]any)
	var names []string
	for name := range given {
		if err.Schema.Properties[name] == nil {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

func properties(s *openapi3.Schema) []string {
	names := make([]string, 0, len(s.Properties))
	for name := range s.Properties {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// wanted words what a property takes of which nothing was sent, with what the contract says of it.
func wanted(s *openapi3.Schema) string {
	if s.Description == "" || s.Type.Is("object") {
		return accepted(s)
	}
	return accepted(s) + " (" + s.Description + ")"
}

// accepted words what a schema takes.
func accepted(s *openapi3.Schema) string {
	words := map[string]string{
		"string": "text", "integer": "a whole number", "number": "a number", "boolean": "true or false", "object": "an object", "array": "a list", "null": "null",
	}
	switch s.Format {
	case "uuid":
		words["string"] = "a UUID like 0190a2b4-7c1d-7e5f-8a3b-0123456789ab"
	case "date-time":
		words["string"] = "a time with its offset like 2026-09-12T10:41:00+02:00"
	}
	if len(s.Properties) > 0 {
		words["object"] = "an object with " + strings.Join(properties(s), ", ")
	}
	var all []string
	for _, kind := range s.Type.Slice() {
		all = append(all, words[kind])
	}
	for _, option := range s.OneOf { // a value that may also be null
		all = append(all, accepted(option.Value))
	}
	return strings.Join(all, " or ")
}

func kindOf(value any) string {
	switch value := value.(type) {
	case nil:
		return "null"
	case bool:
		return "true or false"
	case string:
		return "text"
	case []any:
		return "a list"
	case map[string]any:
		return "an object"
	default:
		return fmt.Sprintf("the number %v", value)
	}
}

// quoted shows a text that was sent, cut where it gets long.
func quoted(value any) string {
	text, ok := value.(string)
	if !ok {
		return kindOf(value)
	}
	if r := []rune(text); len(r) > 60 {
		text = string(r[:60]) + "…"
	}
	b, err := json.Marshal(text)
	if err != nil {
		panic(err) // a string: cannot fail
	}
	return string(b)
}
