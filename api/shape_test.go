package api_test

import (
	"encoding/json"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"evenrig/api"
)

// What a shape lets through, the library's own walk of the schema finds nothing wrong with: the examples of all bodies, changed in
// all ways that a client may get them wrong, and written in all ways that JSON allows (RFC 8259).
func TestShapesLetNothingWrongThrough(t *testing.T) {
	look := api.NewLook()
	rng := rand.New(rand.NewPCG(8, 2026))
	through, tried := 0, 0
	check := func(schema *openapi3.Schema, text string) bool {
		t.Helper()
		fits, faults := look(schema, []byte(text))
		if tried++; fits {
			through++
		}
		if fits && faults != nil {
			t.Errorf("%s fits, and yet: %v", text, faults)
		}
		return fits
	}
	schemas := []*openapi3.Schema{document().Components.Schemas["BatchCatch"].Value}
	for _, path := range slices.Sorted(mapKeys(document().Paths.Map())) {
		for _, op := range document().Paths.Value(path).Operations() {
			if op.RequestBody != nil && op.RequestBody.Value.Content["application/json"] != nil {
				schemas = append(schemas, op.RequestBody.Value.Content["application/json"].Schema.Value)
			}
		}
	}
	for _, schema := range schemas {
		for _, example := range schema.Examples {
			text, err := json.Marshal(example)
			if err != nil {
				t.Fatal(err)
			}
			check(schema, string(text))
			for range 40 {
				var value any
				if err := json.Unmarshal(text, &value); err != nil {
					t.Fatal(err)
				}
				for range 1 + rng.IntN(2) {
					value = mutate(rng, value, 0)
				}
				mutated, err := json.MarshalIndent(value, "", strings.Repeat("\t", rng.IntN(2)))
				if err != nil {
					t.Fatal(err)
				}
				check(schema, string(mutated))
				check(schema, garble(rng, string(text)))
			}
		}
	}
	t.Logf("%d of %d were let through", through, tried)
}

// What phones send is let through without the walk, in any order and with any space; what JSON does not allow, or allows to be
// written otherwise, is left to the walk.
func TestUsualFishFitAtOnce(t *testing.T) {
	look := api.NewLook()
	schema := document().Components.Schemas["NewCatch"].Value
	const (
		ids   = `"period":"0190a2b4-7c1d-7e5f-8a3b-0123456789aa",`
		whole = `{` + ids + `"species":"Thymallus thymallus","caught_at":"2026-09-12T09:52:00+02:00"`
	)
	for text, want := range map[string]bool{
		whole + `}`: true,
		" {\r\n\t" + ids + ` "caught_at" : "2026-09-12T09:52:00Z" , "species":"Äsche"} `: true,
		whole + `,"length":{"value":31.5,"unit":"cm"},"welfare":[],"double_id":null}`:    true,
		whole + `,"length":null,"welfare":["dead","bleeding"],"rig_intact":false}`:       true,
		whole + `,"length":{"value":31,"unit":"cm"}}`:                                    true,
		whole + `,"length":{"value":031,"unit":"cm"}}`:                                   false, // RFC 8259, section 6: no leading zeros
		whole + `,"length":{"value":31.,"unit":"cm"}}`:                                   false,
		whole + `,"length":{"value":-,"unit":"cm"}}`:                                     false,
		whole + `,"length":{"value":+31,"unit":"cm"}}`:                                   false,
		whole + `,"length":{"value":3e1,"unit":"cm"}}`:                                   false, // allowed; the walk takes it
		whole + `,"note":"a \"fine\" fish"}`:                                             false, // allowed; the walk takes it
		whole + ",\"note\":\"a\tfine fish\"}":                                            false,
		whole + `,"note":"x","note":"y"}`:                                                false,
		whole + `,"Note":"x"}`:                                                           false,
		whole + `,"note":null}`:                                                          false,
		whole + `,"foul_hooked":"true"}`:                                                 false,
		whole + `,"welfare":["dead",]}`:                                                  false,
		whole + `,}`:                                                                     false,
		whole + `}{}`:                                                                    false,
		whole:                                                                            false,
		`{` + ids + `"species":"x"}`:                                                     false,
		`{}`:                                                                             false,
		`[]`:                                                                             false,
		``:                                                                               false,
	} {
		fits, faults := look(schema, []byte(text))
		if fits != want {
			t.Errorf("%s: fits %t; want %t", text, fits, want)
		}
		if fits && faults != nil {
			t.Errorf("%s fits, and yet: %v", text, faults)
		}
	}
}
