package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"

	"github.com/labstack/echo/v4"

	"evenrig/service/trial"
)

// binder decodes bodies for generated code: strictly, and nothing but the body.
type binder struct{}

// Bind decodes the body, which check has read already, into v.
func (binder) Bind(v any, c echo.Context) error {
	text, err := io.ReadAll(c.Request().Body)
	if err != nil {
		return unreadable(err)
	}
	if len(text) == 0 {
		return io.EOF // generated code takes it for the body left out, where that is allowed
	}
	return decode(text, v)
}

// decode reads one JSON value that was checked against its schema. What the schema lets through and the type does not, a
// number that is out of range, is a fault of its field.
func decode(text []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	err := d.Decode(v)
	if err == nil {
		return nil
	}
	var f trial.Faults
	if wrong, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
		field := wrong.Field
		if field == "" {
			field = "body"
		}
		f.Add(field, "is %s; accepted: a whole number that fits 64 bits, written without point or exponent", wrong.Value)
	} else {
		f.Add("body", "%s", err)
	}
	return f.Err("request.invalid", "the request has faults")
}
