package web

import (
	"bytes"
	"cmp"
	"html/template"
	"net/http"
	"slices"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/extension"
)

// referenceRoutes are the description of the interface for programs, made from the contract.
func (s *Site) referenceRoutes() []Route {
	return []Route{{Method: http.MethodGet, Path: "/reference", Handle: s.reference}}
}

func (s *Site) reference(v *Visit) error { return v.Page("reference", s.contract) }

// reference is the contract as the page shows it.
type reference struct {
	About   template.HTML
	Groups  []operationGroup
	Schemas []schemaShown
}

type operationGroup struct {
	Name, Description string
	Operations        []operationShown
}

type operationShown struct {
	ID, Method, Path     string
	Summary, Description string
	Parameters           []fieldShown
	Body                 []contentShown
	BodyDescription      string
	Answers              []answerShown
	Open                 bool // to whoever asks
}

type answerShown struct {
	Status, Description string
	Content             []contentShown
}

type contentShown struct {
	Type string // of medium
	Of   typeShown
}

type schemaShown struct {
	Name, Description string
	Type              typeShown
	Fields            []fieldShown
}

type fieldShown struct {
	Name, In, Description string
	Need                  bool
	Type                  typeShown
}

// typeShown is a type in words; Ref names the schema that it, or what it is a list of, links to.
type typeShown struct {
	Words, Ref string
}

// methods is the order in which a path's operations are shown.
var methods = []string{http.MethodGet, http.MethodPut, http.MethodPost, http.MethodPatch, http.MethodDelete}

// newReference makes the page's content from the contract; nil makes an empty one.
func newReference(doc *openapi3.T) reference {
	var r reference
	if doc == nil {
		return r
	}
	r.About = markdown(doc.Info.Description)
	groups := map[string]*operationGroup{}
	for _, tag := range doc.Tags {
		groups[tag.Name] = &operationGroup{Name: tag.Name, Description: tag.Description}
	}
	for _, path := range doc.Paths.InMatchingOrder() {
		item := doc.Paths.Find(path)
		for _, method := range methods {
			op := item.GetOperation(method)
			if op == nil || len(op.Tags) == 0 {
				continue
			}
			g := groups[op.Tags[0]]
			g.Operations = append(g.Operations, showOperation(method, path, item, op))
		}
	}
	for _, tag := range doc.Tags {
		g := *groups[tag.Name]
		slices.SortStableFunc(g.Operations, func(a, b operationShown) int { return cmp.Compare(a.Path, b.Path) })
		r.Groups = append(r.Groups, g)
	}
	for name, ref := range doc.Components.Schemas {
		r.Schemas = append(r.Schemas, schemaShown{Name: name, Description: ref.Value.Description, Type: typeOfSchema(&openapi3.SchemaRef{Value: ref.Value}), Fields: fieldsOf(ref.Value)})
	}
	slices.SortFunc(r.Schemas, func(a, b schemaShown) int { return cmp.Compare(a.Name, b.Name) })
	return r
}

func showOperation(method, path string, item *openapi3.PathItem, op *openapi3.Operation) operationShown {
	o := operationShown{ID: op.OperationID, Method: method, Path: path, Summary: op.Summary, Description: op.Description, Open: op.Security != nil && len(*op.Security) == 0}
	for _, p := range slices.Concat(item.Parameters, op.Parameters) {
		o.Parameters = append(o.Parameters, fieldShown{Name: p.Value.Name, In: p.Value.In, Need: p.Value.Required, Description: p.Value.Description, Type: typeOfSchema(p.Value.Schema)})
	}
	if op.RequestBody != nil {
		o.BodyDescription, o.Body = op.RequestBody.Value.Description, contentOf(op.RequestBody.Value.Content)
	}
	for status, ref := range op.Responses.Map() {
		a := answerShown{Status: status, Content: contentOf(ref.Value.Content)}
		if ref.Value.Description != nil {
			a.Description = *ref.Value.Description
		}
		o.Answers = append(o.Answers, a)
	}
	slices.SortFunc(o.Answers, func(a, b answerShown) int { return cmp.Compare(a.Status, b.Status) })
	return o
}

func contentOf(content openapi3.Content) (list []contentShown) {
	for medium, m := range content {
		list = append(list, contentShown{Type: medium, Of: typeOfSchema(m.Schema)})
	}
	slices.SortFunc(list, func(a, b contentShown) int { return cmp.Compare(a.Type, b.Type) })
	return list
}

func fieldsOf(s *openapi3.Schema) (fields []fieldShown) {
	for name, ref := range s.Properties {
		fields = append(fields, fieldShown{Name: name, Need: slices.Contains(s.Required, name), Description: ref.Value.Description, Type: typeOfSchema(ref)})
	}
	slices.SortFunc(fields, func(a, b fieldShown) int {
		order := func(f fieldShown) int {
			if i := slices.Index(s.Required, f.Name); i >= 0 {
				return i
			}
			return len(s.Required)
		}
		return cmp.Or(cmp.Compare(order(a), order(b)), cmp.Compare(a.Name, b.Name))
	})
	return fields
}

// typeOfSchema says in words what a value is.
func typeOfSchema(ref *openapi3.SchemaRef) typeShown {
	if ref == nil || ref.Value == nil {
		return typeShown{Words: "anything"}
	}
	if name, ok := strings.CutPrefix(ref.Ref, "#/components/schemas/"); ok {
		return typeShown{Ref: name}
	}
	s := ref.Value
	for _, several := range []openapi3.SchemaRefs{s.OneOf, s.AnyOf, s.AllOf} {
		for _, one := range several {
			if t := typeOfSchema(one); t.Ref != "" {
				return t
			}
		}
	}
	if len(s.Enum) > 0 {
		words := make([]string, len(s.Enum))
		for i, e := range s.Enum {
			words[i], _ = e.(string)
			if words[i] == "" {
				words[i] = "null"
			}
		}
		return typeShown{Words: strings.Join(words, ", ")}
	}
	var words []string
	for _, t := range s.Type.Slice() {
		switch {
		case t == "array":
			of := typeOfSchema(s.Items)
			return typeShown{Words: strings.TrimSpace("list of " + of.Words), Ref: of.Ref}
		case s.Format != "" && t != "null":
			words = append(words, t+" ("+s.Format+")")
		default:
			words = append(words, t)
		}
	}
	if len(words) == 0 {
		return typeShown{Words: "anything"}
	}
	return typeShown{Words: strings.Join(words, " or ")}
}

var renderer = goldmark.New(goldmark.WithExtensions(extension.Table))

// markdown turns the contract's own text, which is part of the program, into HTML; raw HTML in it is left out.
func markdown(text string) template.HTML {
	var b bytes.Buffer
	must(renderer.Convert([]byte(text), &b))
	return template.HTML(b.String())
}
