package trial

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/json"
	"maps"
)

// Masked replaces what tells the patterns apart by A and B, so that who checks a trial's records need not know which is the
// changed fly. Which is called A is a coin of the trial's own, of its seed where there was a draw, else of its protocol's
// fingerprint: anybody can toss it again who wants to know in the end.
type Masked struct {
	test, control string // what the patterns are called
	codes         map[string]string
}

// Mask returns the trial's mask. It is for a trial whose running effect is not hidden.
func (t Trial) Mask(p Protocol) Masked {
	key := t.Fingerprint[:]
	if t.Seed != nil {
		key = t.Seed[:]
	}
	h := hmac.New(sha256.New, key)
	h.Write([]byte("masked-log"))
	m := Masked{test: "A", control: "B"}
	if h.Sum(nil)[0]&1 == 1 {
		m.test, m.control = "B", "A"
	}
	m.codes = map[string]string{
		p.Code(Test): m.test, p.Code(Control): m.control,
		string(TestLower): m.test + "_lower", string(ControlLower): m.control + "_lower",
	}
	return m
}

// unmasking are the fields of a record's public part that are left out: words that people wrote may name a fly.
var unmasking = map[string]bool{"reason": true, "note": true, "words": true, "remarks": true}

// sameFly is what a fish of a block with two control flies took: to say which would name the control.
const sameFly = "same_fly_check"

// Record returns a record's public part, canonical JSON, behind the mask; check says that it belongs to a block with two
// control flies.
func (m Masked) Record(public []byte, check bool) (map[string]any, error) {
	var record map[string]any
	if err := json.Unmarshal(public, &record); err != nil {
		return nil, err
	}
	maps.DeleteFunc(record, func(name string, _ any) bool { return unmasking[name] })
	for name, value := range record {
		record[name] = m.value(value, check)
	}
	return record, nil
}

func (m Masked) value(v any, check bool) any {
	switch v := v.(type) {
	case string:
		masked, known := m.codes[v]
		switch {
		case known && check:
			return sameFly
		case known:
			return masked
		}
	case []any:
		for i := range v {
			v[i] = m.value(v[i], check)
		}
	case map[string]any:
		maps.DeleteFunc(v, func(name string, _ any) bool { return unmasking[name] })
		for name := range v {
			v[name] = m.value(v[name], check)
		}
	}
	return v
}
