// Package stattest helps the tests of stats: it reads reference values with
// their provenance and compares numbers with a stated tolerance. Imported by
// tests only.
package stattest

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// Number is a reference value. In the files null stands for a value that does
// not exist (here NaN), and the strings "Inf" and "-Inf" for the infinities, which JSON cannot write.
type Number float64

// UnmarshalJSON reads a number, null, "Inf" or "-Inf".
func (n *Number) UnmarshalJSON(raw []byte) error {
	switch string(raw) {
	case "null":
		*n = Number(math.NaN())
	case `"Inf"`:
		*n = Number(math.Inf(1))
	case `"-Inf"`:
		*n = Number(math.Inf(-1))
	default:
		var f float64
		if err := json.Unmarshal(raw, &f); err != nil {
			return fmt.Errorf("reference value %s: %w", raw, err)
		}
		*n = Number(f)
	}
	return nil
}

// Exists reports whether the source gave a value at all.
func (n Number) Exists() bool { return !math.IsNaN(float64(n)) }

// Load reads testdata/reference/<name> of this module into v, and fails the
// test if the file is missing, is not JSON, or does not say where its values
// come from: "source" and "computed_with" must be there.
func Load(t testing.TB, name string, v any) {
	t.Helper()
	path := filepath.Join(moduleRoot(t), "testdata", "reference", filepath.FromSlash(name))
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var provenance struct {
		Source       string          `json:"source"`
		ComputedWith json.RawMessage `json:"computed_with"`
	}
	if err := json.Unmarshal(raw, &provenance); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if provenance.Source == "" || len(provenance.ComputedWith) == 0 {
		t.Fatalf("%s: a reference file must name its source and what its values were computed with", name)
	}
	if err := json.Unmarshal(raw, v); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

// moduleRoot returns the folder of go.mod, at or above the test's folder.
func moduleRoot(t testing.TB) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		parent := filepath.Dir(dir)
		if parent == dir {
			t.Fatal("no go.mod at or above the test's folder")
		}
		dir = parent
	}
}

// Relative fails the test unless got is within tol of want, relative to |want|;
// a want of 0 is compared absolutely. A NaN never passes; infinities must be equal.
func Relative(t testing.TB, name string, got, want, tol float64) {
	t.Helper()
	scale := math.Abs(want)
	if want == 0 || math.IsInf(want, 0) {
		scale = 1
	}
	within(t, name, got, want, tol*scale)
}

// Absolute fails the test unless |got - want| <= tol. A NaN never passes;
// infinities must be equal.
func Absolute(t testing.TB, name string, got, want, tol float64) {
	t.Helper()
	within(t, name, got, want, tol)
}

// Within fails the test unless got is within tol of want, relative where |want|
// is above 1 and absolute below: for values that may be near 0 by cancellation.
func Within(t testing.TB, name string, got, want, tol float64) {
	t.Helper()
	scale := 1.0
	if !math.IsInf(want, 0) {
		scale = math.Max(1, math.Abs(want))
	}
	within(t, name, got, want, tol*scale)
}

func within(t testing.TB, name string, got, want, allowed float64) {
	t.Helper()
	if got == want { // also equal infinities
		return
	}
	if !(math.Abs(got-want) <= allowed) {
		t.Errorf("%s = %.15g, want %.15g within %.2g (off by %.2g)", name, got, want, allowed, math.Abs(got-want))
	}
}
