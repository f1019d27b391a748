package trial

import (
	"errors"
	"fmt"
	"strings"
)

// Kind says what sort of failure an Error is; the HTTP edge alone turns it into a status.
type Kind int

// The kinds. The zero value is Internal, so that a forgotten kind never looks like the user's fault.
const (
	Internal Kind = iota
	Invalid
	NotFound
	Conflict
	Gone
	Stale
	Forbidden
	Unauthenticated
	TooMany
	Unavailable
)

// FieldError is one fault in one field: Field is its path in the record (`rig.spacing_cm`, `waters[2].name`), Detail says
// what was wrong and what is accepted.
type FieldError struct {
	Field  string `json:"field"`
	Detail string `json:"detail"`
}

// Error is a failure that a user can understand: Code is stable and documented in the contract, Detail is for people,
// Fields has one entry per fault, Err is for the log only.
type Error struct {
	Kind   Kind
	Code   string
	Detail string
	Fields []FieldError
	Err    error
}

func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.Code + ": " + e.Detail)
	for _, f := range e.Fields {
		b.WriteString("; " + f.Field + " " + f.Detail)
	}
	if e.Err != nil {
		b.WriteString(": " + e.Err.Error())
	}
	return b.String()
}

func (e *Error) Unwrap() error { return e.Err }

// KindOf returns the kind of the first *Error in err's chain, Internal when there is none.
func KindOf(err error) Kind {
	if e, ok := errors.AsType[*Error](err); ok {
		return e.Kind
	}
	return Internal
}

// Fail returns an *Error of the given kind, code and formatted detail, as an error.
func Fail(kind Kind, code, format string, args ...any) error {
	return &Error{Kind: kind, Code: code, Detail: fmt.Sprintf(format, args...)}
}

// Missing is the one answer to what does not exist and to what the actor may not see: the two must not be told apart.
func Missing(what string) error {
	return &Error{Kind: NotFound, Code: "not_found", Detail: "there is no such " + what + ", or it is not yours to see"}
}

// Unknown is Missing for a record that another one names in the given field: a phone that sends out of order learns what
// to send first.
func Unknown(field string) error {
	return &Error{
		Kind: NotFound, Code: "not_found", Detail: "there is no such " + field + ", or it is not yours to see",
		Fields: []FieldError{{field, "names none of yours; a record is sent after those that it names"}},
	}
}

// Faults collects every fault of a record, so that all are named at once.
type Faults struct{ list []FieldError }

// Add records a fault of a field.
func (f *Faults) Add(field, format string, args ...any) {
	f.list = append(f.list, FieldError{Field: field, Detail: fmt.Sprintf(format, args...)})
}

// Err returns nil when there is no fault, else one Invalid error that carries all of them.
func (f *Faults) Err(code, detail string) error {
	if len(f.list) == 0 {
		return nil
	}
	return &Error{Kind: Invalid, Code: code, Detail: detail, Fields: f.list}
}

// OneOf records a fault unless v is one of the accepted words.
func OneOf[T ~string](f *Faults, field string, v T, accepted ...T) {
	words := make([]string, len(accepted))
	for i, a := range accepted {
		if v == a {
			return
		}
		words[i] = string(a)
	}
	f.Add(field, "is %q; accepted: %s", string(v), strings.Join(words, ", "))
}
