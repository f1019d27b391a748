package trial_test

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// The text of an id is that of RFC 9562, section 4; google/uuid reads and writes the same.
func TestIDReadsWhatItWrites(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		id := trial.ID(rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(rt, "bytes"))
		text := id.String()
		if other := uuid.UUID(id).String(); text != other {
			rt.Errorf("wrote %s, google/uuid %s", text, other)
		}
		for _, form := range []string{text, strings.ToUpper(text)} {
			if back, err := trial.ParseID(form); err != nil || back != id {
				rt.Errorf("%s read as %s, %v", form, back, err)
			}
		}
		encoded, err := json.Marshal(id)
		if err != nil || string(encoded) != `"`+text+`"` {
			rt.Errorf("JSON %s, %v", encoded, err)
		}
		var back trial.ID
		if err := json.Unmarshal(encoded, &back); err != nil || back != id {
			rt.Errorf("JSON read as %s, %v", back, err)
		}
		if id.Version() != int(uuid.UUID(id).Version()) {
			rt.Errorf("version %d, google/uuid %d", id.Version(), uuid.UUID(id).Version())
		}
	})
}

// The example of RFC 9562, appendix A.6, is a UUID of version 7.
func TestIDOfTheStandard(t *testing.T) {
	id, err := trial.ParseID("017F22E2-79B0-7CC3-98C4-DC0C0C07398F")
	if err != nil || id.Version() != 7 || id.String() != "017f22e2-79b0-7cc3-98c4-dc0c0c07398f" || id.IsZero() {
		t.Errorf("%s, version %d, %v", id, id.Version(), err)
	}
	if zero, err := trial.ParseID("00000000-0000-0000-0000-000000000000"); err != nil || !zero.IsZero() {
		t.Errorf("the nil UUID: %s, %v", zero, err)
	}
	for _, bad := range []string{
		"", "017f22e279b07cc398c4dc0c0c07398f", "{017f22e2-79b0-7cc3-98c4-dc0c0c07398f}", "urn:uuid:017f22e2-79b0-7cc3-98c4-dc0c0c07398f",
		"017f22e2-79b0-7cc3-98c4-dc0c0c07398", "017f22e2-79b0-7cc3-98c4-dc0c0c07398ff", "017f22e2-79b0-7cc3-98c4-dc0c0c07398g",
		"017f22e2+79b0-7cc3-98c4-dc0c0c07398f", " 17f22e2-79b0-7cc3-98c4-dc0c0c07398f", "017f22e2-79b0-7cc3-98c4-dc0c0c0739８", "-----------------------------------",
	} {
		if id, err := trial.ParseID(bad); err == nil {
			t.Errorf("%q read as %s", bad, id)
		}
		var into trial.ID
		if into.UnmarshalText([]byte(bad)) == nil {
			t.Errorf("%q unmarshalled as %s", bad, into)
		}
	}
}

func TestDigestReadsWhatItWrites(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		d := trial.Digest(rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(rt, "bytes"))
		text, err := d.MarshalText()
		var back trial.Digest
		if err != nil || back.UnmarshalText(text) != nil || back != d || string(text) != d.String() || len(text) != 64 {
			rt.Errorf("%x written as %s, read as %x (%v)", d[:], text, back[:], err)
		}
	})
	if !(trial.Digest{}).IsZero() || (trial.Digest{31: 1}).IsZero() {
		t.Error("a digest is zero when all its bytes are")
	}
	for _, bad := range []string{"", strings.Repeat("0", 63), strings.Repeat("0", 65), strings.Repeat("g", 64)} {
		if (&trial.Digest{}).UnmarshalText([]byte(bad)) == nil {
			t.Errorf("%q was read", bad)
		}
	}
}

// Crockford's base 32 has the ten digits and the letters without I, L, O, U (Crockford, Base 32 Encoding). Of each byte
// every character comes from 8 of the 256 values, so all are equally likely.
func TestPseudonyms(t *testing.T) {
	if trial.PseudonymAlphabet != "0123456789ABCDEFGHJKMNPQRSTVWXYZ" {
		t.Errorf("alphabet %s", trial.PseudonymAlphabet)
	}
	for place := range 6 {
		seen := map[byte]int{}
		for b := range 256 {
			var random [6]byte
			random[place] = byte(b)
			name := trial.Pseudonym(random)
			if len(name) != 6 || strings.Trim(name, trial.PseudonymAlphabet) != "" {
				t.Fatalf("pseudonym %q", name)
			}
			seen[name[place]]++
		}
		for _, letter := range []byte(trial.PseudonymAlphabet) {
			if seen[letter] != 8 {
				t.Errorf("place %d: %c comes of %d values of a byte, want 8", place, letter, seen[letter])
			}
		}
	}
}
