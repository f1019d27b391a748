package analysis

import (
	"bytes"
	"encoding/json"
	"fmt"
)

// Encode returns the result as JSON, the one encoding that is stored, served and printed: fields in the order of the
// types, reasons of exclusion sorted, every float in its shortest form that reads back the same, a line end last. The same
// result gives the same bytes. A NaN or an infinity anywhere is an error.
func (r Result) Encode() ([]byte, error) {
	var b bytes.Buffer
	encoder := json.NewEncoder(&b)
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(r); err != nil {
		return nil, fmt.Errorf("encode analysis result: %w", err)
	}
	return b.Bytes(), nil
}

// Decode reads what Encode wrote.
func Decode(encoded []byte) (Result, error) {
	var r Result
	if err := json.Unmarshal(encoded, &r); err != nil {
		return Result{}, fmt.Errorf("decode analysis result: %w", err)
	}
	return r, nil
}
