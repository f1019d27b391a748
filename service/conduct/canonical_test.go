package conduct

import (
	"crypto/sha256"
	"encoding/json"
	"maps"
	"testing"

	"github.com/gowebpki/jcs"
	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// A record's parts and digest are those of the RFC 8785 form of its public and private fields and of both together, as
// the library for that standard writes it, whatever the fields hold.
func TestRecordIsCanonical(t *testing.T) {
	t.Parallel()
	value := rapid.Custom(func(rt *rapid.T) any {
		switch rapid.IntRange(0, 8).Draw(rt, "kind") {
		case 0:
			return nil
		case 1:
			return rapid.Bool().Draw(rt, "bool")
		case 2:
			return trial.ID(rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(rt, "id"))
		case 3:
			return rapid.IntRange(-1000, 1000).Draw(rt, "int")
		case 4:
			return trial.Outcome(rapid.String().Draw(rt, "word"))
		case 5:
			return &trial.Measure{Value: rapid.Float64Range(-1e9, 1e9).Draw(rt, "number"), Unit: rapid.String().Draw(rt, "unit")}
		case 6:
			return fields{"b": rapid.String().Draw(rt, "b"), "a": json.RawMessage(`{"z": 1.50, "y": [true, null]}`)}
		case 7:
			return rapid.SampledFrom([]string{`"`, `\`, "\x1f", "\x7f", "<&>", "\u2028", "é", "\U0001f41f", " ~"}).Draw(rt, "odd")
		}
		return rapid.String().Draw(rt, "text")
	})
	part := rapid.MapOf(rapid.StringMatching(`[a-z_]{1,12}`), value)
	rapid.Check(t, func(rt *rapid.T) {
		public, private := part.Draw(rt, "public"), part.Draw(rt, "private")
		for name := range public {
			delete(private, name) // a field stands in one part
		}
		got, err := recordOf(trial.Parts{}, public, private)
		if err != nil {
			rt.Fatal(err)
		}
		whole := maps.Clone(public)
		maps.Copy(whole, private)
		want := func(v map[string]any) []byte {
			text, err := json.Marshal(v)
			if err != nil {
				rt.Fatal(err)
			}
			if text, err = jcs.Transform(text); err != nil {
				rt.Fatal(err)
			}
			return text
		}
		if string(got.parts.Public) != string(withoutTimes(want(public))) || string(got.parts.Private) != string(want(private)) || got.digest != sha256.Sum256(want(whole)) {
			rt.Errorf("public %s, private %s, digest %s; want %s, %s, of %s", got.parts.Public, got.parts.Private, got.digest, want(public), want(private), want(whole))
		}
	})
}

// withoutTimes writes zeros for the first 48 bits of every version 7 UUID (RFC 9562, section 5.7) that is a text of its own.
func withoutTimes(text []byte) []byte {
	for i := range len(text) - 37 {
		id, err := trial.ParseID(string(text[i+1 : i+37]))
		if err == nil && id.String() == string(text[i+1:i+37]) && id[6]>>4 == 7 && text[i] == '"' && text[i+37] == '"' {
			copy(text[i+1:], "00000000-0000")
		}
	}
	return text
}

// A record's public part tells no time by the ids in it, also where they stand in a correction's values.
func TestPublicPartHidesTimesInIDs(t *testing.T) {
	t.Parallel()
	id, err := trial.ParseID("0190a2b4-7c1d-7e5f-8a3b-0123456789ab")
	if err != nil {
		t.Fatal(err)
	}
	got, err := recordOf(trial.Parts{}, fields{"catch": id, "old": fields{"period": json.RawMessage(`"` + id.String() + `"`)}}, fields{"note": "x"})
	const want = `{"catch":"00000000-0000-7e5f-8a3b-0123456789ab","old":{"period":"00000000-0000-7e5f-8a3b-0123456789ab"}}`
	if err != nil || string(got.parts.Public) != want {
		t.Errorf("public part %s, %v; want %s", got.parts.Public, err, want)
	}
}

// BenchmarkRecord is what making a catch's parts and digest costs.
func BenchmarkRecord(b *testing.B) {
	public, private := catchFields(trial.Catch{ID: trial.ID{1}, PeriodID: trial.ID{2}, TakenPattern: "C", Outcome: trial.Landed, Species: "Thymallus thymallus", Length: &trial.Measure{Value: 31.5, Unit: "cm"}})
	for b.Loop() {
		if _, err := recordOf(trial.Parts{}, public, private); err != nil {
			b.Fatal(err)
		}
	}
}
