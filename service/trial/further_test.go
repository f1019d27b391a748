package trial_test

import (
	"encoding/json"
	"maps"
	"testing"

	"github.com/gowebpki/jcs"
	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// RFC 8785, section 3.2.3, sorts these names so; section 3.2.2.2 writes this string so.
func TestFurtherByTheStandard(t *testing.T) {
	names := map[string]string{
		"\u20ac": "Euro Sign", "\r": "Carriage Return", "\ufb33": "Hebrew Letter Dalet With Dagesh", "1": "One",
		"\U0001f600": "Emoji: Grinning Face", "\u0080": "Control", "\u00f6": "Latin Small Letter O With Diaeresis",
	}
	const sorted = "{\"\\r\":\"Carriage Return\",\"1\":\"One\",\"\u0080\":\"Control\",\"\u00f6\":\"Latin Small Letter O With Diaeresis\"," +
		"\"\u20ac\":\"Euro Sign\",\"\U0001f600\":\"Emoji: Grinning Face\",\"\ufb33\":\"Hebrew Letter Dalet With Dagesh\"}"
	if got := trial.NewFurther(names); got != sorted {
		t.Errorf("got  %s\nwant %s", got, sorted)
	}
	if got, want := trial.NewFurther(map[string]string{"string": "\u20ac$\u000f\nA'B\"\\\\\"/"}), trial.Further(`{"string":"€$\u000f\nA'B\"\\\\\"/"}`); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

// Against a general-purpose implementation of the standard; what is written reads back.
func TestFurtherIsCanonical(t *testing.T) {
	text := rapid.String()
	rapid.Check(t, func(rt *rapid.T) {
		values := rapid.MapOfN(text, rapid.StringN(1, -1, -1), 1, 5).Draw(rt, "values")
		plain, err := json.Marshal(values)
		if err != nil {
			rt.Fatal(err)
		}
		want, err := jcs.Transform(plain)
		if err != nil {
			rt.Fatal(err)
		}
		got := trial.NewFurther(values)
		if string(got) != string(want) {
			rt.Errorf("got  %q\nwant %q", got, want)
		}
		if !maps.Equal(got.Values(), values) {
			rt.Errorf("%q reads back as %q, was %q", got, got.Values(), values)
		}
		some := text.Draw(rt, "column")
		if only := got.Only([]string{some}).Values(); only[some] != values[some] || len(only) > 1 {
			rt.Errorf("only %q is %q", some, only)
		}
	})
}

func TestFurtherOfNothing(t *testing.T) {
	for _, f := range []trial.Further{trial.NewFurther(nil), trial.NewFurther(map[string]string{"hatch": ""}), trial.Further(`{"a":"b"}`).Only(nil)} {
		if f != "" || f.Values() != nil {
			t.Errorf("%q, %v", f, f.Values())
		}
	}
	if got := trial.Further("no object").Values(); got != nil {
		t.Errorf("read %v", got)
	}
}
