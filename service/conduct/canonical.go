package conduct

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gowebpki/jcs"

	"evenrig/service/trial"
)

// fields is a record, or a part of one, on its way to canonical JSON.
type fields map[string]any

// canonical returns v as canonical JSON (RFC 8785).
func canonical(v any) ([]byte, error) { return appendCanonical(nil, v) }

// wholeMost is up to where a whole number stands in canonical JSON as it is: beyond, not every one is a number of JSON's.
const wholeMost = 1 << 53

// appendCanonical appends v as canonical JSON. What most fields hold needs no encoder: it stands there as it is.
func appendCanonical(b []byte, v any) ([]byte, error) {
	switch v := v.(type) {
	case nil:
		return append(b, "null"...), nil
	case bool:
		return strconv.AppendBool(b, v), nil
	case int:
		if -wholeMost <= int64(v) && int64(v) <= wholeMost {
			return strconv.AppendInt(b, int64(v), 10), nil
		}
	case trial.ID:
		return append(append(append(b, '"'), v.String()...), '"'), nil
	case string:
		if isPlain(v) {
			return append(append(append(b, '"'), v...), '"'), nil
		}
	}
	text, err := json.Marshal(v)
	if err != nil {
		return nil, fmt.Errorf("encode record: %w", err)
	}
	text, err = jcs.Transform(text)
	if err != nil {
		return nil, fmt.Errorf("canonicalise record: %w", err)
	}
	return append(b, text...), nil
}

// isPlain reports whether a text stands in canonical JSON as it is, between quotation marks.
func isPlain(text string) bool {
	for _, c := range []byte(text) {
		if c < ' ' || c > '~' || c == '"' || c == '\\' {
			return false
		}
	}
	return true
}

// at writes a time as every canonical record does: UTC, to the millisecond.
func at(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000Z07:00") }

func atOrNil(t *time.Time) any {
	if t == nil {
		return nil
	}
	return at(*t)
}

// week is the ISO 8601 week of a time by the phone's own clock, the finest time that is published.
func week(t time.Time) string { return trial.WeekOf(t) }

func idOrNil(id trial.ID) any {
	if id.IsZero() {
		return nil
	}
	return id
}

// wholeCM is a length as it is published: whole centimetres, rounded down.
func wholeCM(m *trial.Measure) any {
	if m == nil {
		return nil
	}
	mm, err := m.Millimetres()
	if err != nil {
		return nil
	}
	return mm / 10
}

func measureOrNil(m *trial.Measure) any {
	if m == nil {
		return nil
	}
	return m.String()
}

// record is something about to be saved: its ledger parts and the digest that recognises the same record sent again.
type record struct {
	parts  trial.Parts
	digest trial.Digest
}

// newRecord makes a record from its public and its private fields, with fresh salts.
func (s *Service) newRecord(public, private fields) (record, error) {
	return recordOf(s.salts(), public, private)
}

// salts returns parts with fresh salts and nothing else yet, drawn before a transaction that may run twice.
func (s *Service) salts() trial.Parts {
	return trial.Parts{PublicSalt: s.bytes32(), PrivateSalt: s.bytes32()}
}

// recordOf makes the ledger parts of a record from its public and its private fields, and its sent digest from both
// together. A canonical object is its members in order of their names, so each field is written once and the three
// objects are put together from the same members; names are plain ASCII, whose order is that of RFC 8785, section 3.2.3.
// In the public part ids stand as they may be published.
func recordOf(salts trial.Parts, public, private fields) (record, error) {
	r := record{parts: salts}
	members := make([]member, 0, len(public)+len(private))
	texts := make([]byte, 0, 1024) // those of all members one after the other
	for _, part := range []struct {
		fields fields
		public bool
	}{{public, true}, {private, false}} {
		for name, value := range part.fields {
			begin, err := len(texts), error(nil)
			if texts, err = appendCanonical(texts, value); err != nil {
				return r, err
			}
			members = append(members, member{name, texts[begin:len(texts):len(texts)], part.public})
		}
	}
	slices.SortFunc(members, func(a, b member) int { return strings.Compare(a.name, b.name) })
	r.digest = sha256.Sum256(object(members, func(member) bool { return true }))
	r.parts.Private = object(members, func(m member) bool { return !m.public })
	for i, m := range members {
		if m.public {
			members[i].text = publicIDs(m.text)
		}
	}
	r.parts.Public = object(members, func(m member) bool { return m.public })
	return r, nil
}

// publicIDs puts every version 7 id that stands as a text of its own in canonical JSON into its public form, see
// trial.ID.Public. Whether a quotation mark begins a text or ends one makes no difference: between two texts stands no id.
func publicIDs(text []byte) []byte {
	const length = 38 // with its quotation marks
	changed := false
	for i := 0; i+length <= len(text); i++ {
		if text[i] != '"' || text[i+length-1] != '"' || text[i+15] != '7' || !isLowerID(text[i+1:i+length-1]) {
			continue
		}
		if !changed {
			text, changed = bytes.Clone(text), true
		}
		copy(text[i+1:], "00000000-0000")
		i += length - 1
	}
	return text
}

// isLowerID reports whether 36 bytes are an id as canonical JSON writes it.
func isLowerID(text []byte) bool {
	for i, c := range text {
		switch i {
		case 8, 13, 18, 23:
			if c != '-' {
				return false
			}
		default:
			if !(c >= '0' && c <= '9' || c >= 'a' && c <= 'f') {
				return false
			}
		}
	}
	return true
}

// member is a field of a record with its value in canonical JSON.
type member struct {
	name   string
	text   []byte
	public bool
}

// object writes those members that are wanted as a canonical JSON object.
func object(members []member, wanted func(member) bool) []byte {
	size := 2
	for _, m := range members {
		size += len(m.name) + len(m.text) + 4
	}
	b := append(make([]byte, 0, size), '{')
	for _, m := range members {
		if !wanted(m) {
			continue
		}
		if len(b) > 1 {
			b = append(b, ',')
		}
		b = append(append(append(append(b, '"'), m.name...), '"', ':'), m.text...)
	}
	return append(b, '}')
}
