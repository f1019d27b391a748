package openapi_test

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"evenrig/openapi"
)

func load(t *testing.T) *openapi3.T {
	t.Helper()
	doc, err := openapi3.NewLoader().LoadFromData(openapi.Spec)
	if err != nil {
		t.Fatalf("load the document: %v", err)
	}
	return doc
}

// The document is checked against the OpenAPI 3.1 rules, by a general-purpose implementation of them.
func TestDocumentIsValid(t *testing.T) {
	doc := load(t)
	if doc.OpenAPI != "3.1.0" {
		t.Errorf("openapi is %q, want 3.1.0", doc.OpenAPI)
	}
	if err := doc.Validate(t.Context(), openapi3.IsOpenAPI31OrLater()); err != nil {
		t.Error(err)
	}
}

// A number without format double becomes a 32-bit float in generated code and loses digits.
func TestEveryNumberIsDouble(t *testing.T) {
	n := 0
	eachSchema(load(t), func(path string, s *openapi3.Schema) {
		if s.Type.Includes("number") {
			n++
			if s.Format != "double" {
				t.Errorf("%s is a number with format %q, want double", path, s.Format)
			}
		}
	})
	if n < 100 {
		t.Errorf("only %d numbers were looked at", n)
	}
}

// Unknown fields of a request are refused, and no request field has a range or a list of words here: those rules live
// with the records, where all faults are named at once.
func TestRequestsAreClosedAndWithoutRanges(t *testing.T) {
	for path, item := range load(t).Paths.Map() {
		for method, op := range item.Operations() {
			if op.RequestBody == nil {
				continue
			}
			for kind, media := range op.RequestBody.Value.Content {
				walk(method+" "+path+" "+kind, media.Schema, map[*openapi3.Schema]bool{}, func(at string, s *openapi3.Schema) {
					if s.Type.Includes("object") && (s.AdditionalProperties.Has == nil || *s.AdditionalProperties.Has) {
						t.Errorf("%s takes unknown fields", at)
					}
					if s.Min != nil || s.Max != nil || s.MinLength != 0 || s.MaxLength != nil || s.MinItems != 0 || s.MaxItems != nil || s.Pattern != "" || len(s.Enum) > 0 {
						t.Errorf("%s has a rule that belongs to the record's own check", at)
					}
				})
			}
		}
	}
}

// Every operation has an id, a summary, problems as its failures, and an example of each body.
func TestOperationsAreComplete(t *testing.T) {
	seen := map[string]bool{}
	for path, item := range load(t).Paths.Map() {
		for method, op := range item.Operations() {
			at := method + " " + path
			if op.OperationID == "" || seen[op.OperationID] {
				t.Errorf("%s has the operationId %q, missing or not unique", at, op.OperationID)
			}
			seen[op.OperationID] = true
			if op.Summary == "" {
				t.Errorf("%s has no summary", at)
			}
			if op.Responses.Default() == nil {
				t.Errorf("%s has no default response", at)
			}
			if op.RequestBody != nil {
				for kind, media := range op.RequestBody.Value.Content {
					hasExample(t, at+" request "+kind, media)
				}
			}
			for status, response := range op.Responses.Map() {
				failure := status == "default" || status >= "4"
				for kind, media := range response.Value.Content {
					if failure != (kind == "application/problem+json") {
						t.Errorf("%s answers %s with %s", at, status, kind)
					}
					hasExample(t, at+" "+status+" "+kind, media)
				}
				if failure && len(response.Value.Content) != 1 {
					t.Errorf("%s has no problem for %s", at, status)
				}
			}
		}
	}
	if len(seen) < 50 {
		t.Errorf("only %d operations were looked at", len(seen))
	}
}

// Every example fits its schema.
func TestExamplesFit(t *testing.T) {
	doc := load(t)
	n := 0
	for name, ref := range doc.Components.Schemas {
		for i, example := range ref.Value.Examples {
			n++
			if err := ref.Value.VisitJSON(plain(t, example), openapi3.MultiErrors()); err != nil {
				t.Errorf("example %d of %s: %v", i, name, err)
			}
		}
	}
	if n < 40 {
		t.Errorf("only %d examples were looked at", n)
	}
}

// The operations of generated code are those of the document.
func TestGeneratedCodeIsOfThisDocument(t *testing.T) {
	client := reflect.TypeFor[openapi.ClientWithResponses]()
	for _, item := range load(t).Paths.Map() {
		for _, op := range item.Operations() {
			name := strings.ToUpper(op.OperationID[:1]) + op.OperationID[1:]
			_, plain := reflect.PointerTo(client).MethodByName(name + "WithResponse")
			_, body := reflect.PointerTo(client).MethodByName(name + "WithBodyWithResponse")
			if !plain && !body {
				t.Errorf("the client has no %s; run go generate in openapi", name)
			}
		}
	}
}

// hasExample accepts an example at the body, at its schema, or at the schema of its items.
func hasExample(t *testing.T, at string, media *openapi3.MediaType) {
	t.Helper()
	s := media.Schema.Value
	if media.Example != nil || len(s.Examples) > 0 || s.Items != nil && len(s.Items.Value.Examples) > 0 {
		return
	}
	for _, part := range s.Properties {
		if len(s.Properties) == 1 && len(part.Value.Examples) > 0 {
			return
		}
	}
	t.Errorf("%s has no example", at)
}

func eachSchema(doc *openapi3.T, visit func(path string, s *openapi3.Schema)) {
	seen := map[*openapi3.Schema]bool{}
	for name, ref := range doc.Components.Schemas {
		walk(name, ref, seen, visit)
	}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			for _, p := range op.Parameters {
				walk(method+" "+path+" "+p.Value.Name, p.Value.Schema, seen, visit)
			}
		}
	}
}

func walk(at string, ref *openapi3.SchemaRef, seen map[*openapi3.Schema]bool, visit func(string, *openapi3.Schema)) {
	if ref == nil || ref.Value == nil || seen[ref.Value] {
		return
	}
	s := ref.Value
	seen[s] = true
	visit(at, s)
	for name, part := range s.Properties {
		walk(at+"."+name, part, seen, visit)
	}
	for i, part := range s.OneOf {
		walk(fmt.Sprintf("%s|%d", at, i), part, seen, visit)
	}
	walk(at+"[]", s.Items, seen, visit)
	walk(at+"{}", s.AdditionalProperties.Schema, seen, visit)
}

// plain turns a value read from YAML into what encoding/json makes of it.
func plain(t *testing.T, v any) any {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	var out any
	if err := json.Unmarshal(text, &out); err != nil {
		t.Fatal(err)
	}
	return out
}
