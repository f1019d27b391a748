package openapi

import "encoding/json"

// Change is a field of a correction that may be left alone, set, or taken away, which a JSON merge patch (RFC 7396) tells
// apart as absent, a value and null. The zero Change leaves the field alone.
type Change[T any] struct {
	given bool
	value *T
}

// Set returns the change to v.
func Set[T any](v T) Change[T] { return Change[T]{given: true, value: &v} }

// TakeAway returns the change that empties the field.
func TakeAway[T any]() Change[T] { return Change[T]{given: true} }

// IsZero reports whether the field is left alone; encoding/json then leaves it out.
func (c Change[T]) IsZero() bool { return !c.given }

// MarshalJSON writes the value, or null when the field is taken away.
func (c Change[T]) MarshalJSON() ([]byte, error) { return json.Marshal(c.value) }

// UnmarshalJSON reads a value or null.
func (c *Change[T]) UnmarshalJSON(b []byte) error {
	c.given = true
	return json.Unmarshal(b, &c.value)
}
