package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"slices"
	"sync/atomic"

	"evenrig/openapi"
)

// person is somebody with a token, who sends requests.
type person struct {
	api   *openapi.ClientWithResponses
	token string
}

// newPerson returns a client that sends the token (none when empty) and counts its requests.
func newPerson(url, token string, requests *atomic.Int64) (person, error) {
	api, err := openapi.NewClientWithResponses(url, openapi.WithRequestEditorFn(func(_ context.Context, r *http.Request) error {
		requests.Add(1)
		if token != "" {
			r.Header.Set("Authorization", "Bearer "+token)
		}
		return nil
	}))
	return person{api, token}, err
}

// answer is what every generated response is.
type answer interface {
	StatusCode() int
	GetBody() []byte
}

// expect returns an error that quotes the answer unless it has one of the wanted statuses.
func expect(a answer, err error, what string, wanted ...int) error {
	if err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	if slices.Contains(wanted, a.StatusCode()) {
		return nil
	}
	return fmt.Errorf("%s: answered %d, expected %v: %s", what, a.StatusCode(), wanted, a.GetBody())
}

// decode reads an answer's JSON body into v.
func decode(body []byte, v any) error {
	if err := json.Unmarshal(body, v); err != nil {
		return fmt.Errorf("read an answer: %w", err)
	}
	return nil
}

// lines writes values as NDJSON.
func lines[T any](w io.Writer, values []T) error {
	e := json.NewEncoder(w)
	for _, v := range values {
		if err := e.Encode(v); err != nil {
			return fmt.Errorf("write a batch: %w", err)
		}
	}
	return nil
}

func jsonOf(v any) ([]byte, error) {
	b, err := json.Marshal(v)
	if err != nil {
		return nil, fmt.Errorf("write JSON: %w", err)
	}
	return b, nil
}
