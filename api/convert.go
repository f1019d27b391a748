package api

import (
	"encoding/json"
	"fmt"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/trial"
)

// Small conversions that several resources share. Ids need none: both sides are 16 bytes.

// or returns what v points to, usual when it was left out.
func or[T any](v *T, usual T) T {
	if v == nil {
		return usual
	}
	return *v
}

// orNil returns a pointer to v, nil for the zero value.
func orNil[T comparable](v T) *T {
	var none T
	if v == none {
		return nil
	}
	return &v
}

func idOrNil(id trial.ID) *openapi_types.UUID {
	if id.IsZero() {
		return nil
	}
	u := openapi_types.UUID(id)
	return &u
}

func digestOrNil(d trial.Digest) *string {
	if d.IsZero() {
		return nil
	}
	text := d.String()
	return &text
}

func measureTo(m *openapi.Measure) *trial.Measure {
	if m == nil {
		return nil
	}
	return &trial.Measure{Value: m.Value, Unit: m.Unit}
}

func measureFrom(m *trial.Measure) *openapi.Measure {
	if m == nil {
		return nil
	}
	return &openapi.Measure{Value: m.Value, Unit: m.Unit}
}

func receiptFrom(r *trial.Receipt) *openapi.Receipt {
	if r == nil {
		return nil
	}
	return &openapi.Receipt{Chain: openapi_types.UUID(r.ChainID), N: r.N, Hash: r.Hash.String()}
}

// recode carries a value over to the other side's type by its JSON, for types whose JSON names the contract fixes to be
// the same.
func recode[T any](v any) (T, error) {
	var out T
	text, err := json.Marshal(v)
	if err != nil {
		return out, fmt.Errorf("encode %T: %w", v, err)
	}
	if err := json.Unmarshal(text, &out); err != nil {
		return out, fmt.Errorf("decode %T: %w", out, err)
	}
	return out, nil
}
