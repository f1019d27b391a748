package api_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"mime"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"

	"evenrig/openapi"
)

// document is the contract as the checks of answers need it. It is read anew here, apart from the server's own reading.
var document = sync.OnceValue(func() *openapi3.T {
	doc, err := openapi3.NewLoader().LoadFromData(openapi.Spec)
	if err != nil {
		panic(err)
	}
	return doc
})

// checking is a transport that compares every answer with the contract, so that each test is a contract test too.
type checking struct{ t testing.TB }

// RoundTrip sends the request and checks its answer.
func (k checking) RoundTrip(r *http.Request) (*http.Response, error) {
	answer, err := http.DefaultTransport.RoundTrip(r)
	if err != nil {
		return nil, err
	}
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		return nil, err
	}
	answer.Body.Close()
	answer.Body = io.NopCloser(bytes.NewReader(body))
	faults := contractFaults(r.Method, r.URL.EscapedPath(), answer, body)
	if op := operationOf(r.Method, r.URL.EscapedPath()); len(faults) == 0 && op != nil {
		answered.Store(fmt.Sprintf("%s %d", op.OperationID, answer.StatusCode), true)
	}
	for _, fault := range faults {
		k.t.Errorf("%s %s answered %d: %s\n%.600s", r.Method, r.URL.Path, answer.StatusCode, fault, body)
	}
	return answer, nil
}

// answered counts the answers that passed, by operation and status.
var answered sync.Map

// contractFaults says how an answer differs from what the contract says of it.
func contractFaults(method, path string, answer *http.Response, body []byte) (faults []string) {
	if answer.Header.Get("X-Request-Id") == "" {
		faults = append(faults, "has no X-Request-Id")
	}
	op := operationOf(method, path)
	if op == nil {
		if answer.StatusCode != http.StatusNotFound && answer.StatusCode != http.StatusMethodNotAllowed {
			faults = append(faults, "is not in the contract")
		}
		return append(faults, bodyFaults(document().Components.Schemas["Problem"], body)...)
	}
	ref := op.Responses.Value(strconv.Itoa(answer.StatusCode))
	if ref == nil {
		// Only what can befall every operation is left to the default answer.
		everywhere := slices.Contains([]int{429, 500, 503}, answer.StatusCode) ||
			answer.StatusCode == 403 && (bytes.Contains(body, []byte(`"token.scope"`)) || bytes.Contains(body, []byte(`"request.cross_site"`)))
		if !everywhere {
			return append(faults, "has a status that the contract does not list")
		}
		if answer.StatusCode == 429 && answer.Header.Get("Retry-After") == "" {
			faults = append(faults, "lacks Retry-After")
		}
		ref = op.Responses.Default()
	}
	for name, header := range ref.Value.Headers {
		if header.Value.Required && answer.Header.Get(name) == "" {
			faults = append(faults, "lacks the header "+name)
		}
	}
	if len(ref.Value.Content) == 0 {
		if len(body) > 0 {
			faults = append(faults, "has a body")
		}
		return faults
	}
	kind, _, err := mime.ParseMediaType(answer.Header.Get("Content-Type"))
	media := ref.Value.Content[kind]
	if err != nil || media == nil {
		return append(faults, "has the Content-Type "+answer.Header.Get("Content-Type"))
	}
	switch {
	case kind == "application/x-ndjson":
		for line := range bytes.Lines(body) {
			faults = append(faults, bodyFaults(document().Components.Schemas["BatchOutcome"], line)...)
		}
	case kind == "application/problem+json":
		var p openapi.Problem
		if err := json.Unmarshal(body, &p); err != nil || p.Status != answer.StatusCode || p.RequestID != answer.Header.Get("X-Request-Id") || !documentedCode(p.Code, p.Status) {
			faults = append(faults, "is a problem whose status, request id or code is not the contract's")
		}
		faults = append(faults, bodyFaults(media.Schema, body)...)
	case strings.HasSuffix(kind, "json"):
		faults = append(faults, bodyFaults(media.Schema, body)...)
	}
	return faults
}

func bodyFaults(schema *openapi3.SchemaRef, body []byte) []string {
	var value any
	if err := json.Unmarshal(body, &value); err != nil {
		return []string{"is no JSON: " + err.Error()}
	}
	faults := undocumented("body", schema, value)
	err := schema.Value.VisitJSON(value, openapi3.MultiErrors(), openapi3.VisitAsResponse(),
		openapi3.WithStringFormatValidator("uuid", openapi3.NewRegexpFormatValidator(openapi3.FormatOfStringForUUIDOfRFC9562)),
		openapi3.WithStringFormatValidator("date-time", openapi3.NewCallbackValidator(func(s string) error {
			_, err := time.Parse(time.RFC3339Nano, s)
			return err
		})))
	if err != nil {
		faults = append(faults, err.Error())
	}
	return faults
}

// undocumented names properties that the schema does not have.
func undocumented(at string, ref *openapi3.SchemaRef, value any) (faults []string) {
	if ref == nil {
		return nil
	}
	schema := ref.Value
	for _, option := range schema.OneOf {
		if value != nil && !option.Value.Type.Is("null") {
			faults = append(faults, undocumented(at, option, value)...)
		}
	}
	switch value := value.(type) {
	case []any:
		for i, v := range value {
			faults = append(faults, undocumented(fmt.Sprintf("%s[%d]", at, i), schema.Items, v)...)
		}
	case map[string]any:
		for name, v := range value {
			property := schema.Properties[name]
			switch open := schema.AdditionalProperties; {
			case property != nil:
				faults = append(faults, undocumented(at+"."+name, property, v)...)
			case len(schema.OneOf) == 0 && open.Schema == nil && (open.Has == nil || !*open.Has):
				faults = append(faults, at+"."+name+" is not in the contract")
			}
		}
	}
	return faults
}

// operationOf finds the operation by the document's own paths: a template matches segment by segment, one without
// parameters first.
func operationOf(method, path string) *openapi3.Operation {
	paths := document().Paths
	if item := paths.Value(path); item != nil {
		return item.GetOperation(method)
	}
	for template, item := range paths.Map() {
		pattern := "^" + parameter.ReplaceAllString(regexp.QuoteMeta(template), "[^/]+") + "$"
		if regexp.MustCompile(pattern).MatchString(path) {
			return item.GetOperation(method)
		}
	}
	return nil
}

var parameter = regexp.MustCompile(`\\\{[^}]+\\\}`)

// Every code of a problem stands in the contract's table, with its status.
func documentedCode(code string, status int) bool {
	for line := range strings.Lines(document().Info.Description) {
		if strings.Contains(line, "`"+code+"`") && strings.Contains(line, fmt.Sprintf("| %d |", status)) {
			return true
		}
	}
	return false
}
