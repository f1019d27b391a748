package exchange

import (
	"bytes"
	"testing"
)

func written(t testing.TB, p Package) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WritePackage(&b, p); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func readBack(t testing.TB, zip []byte) Package {
	t.Helper()
	p, err := ReadPackage(bytes.NewReader(zip), int64(len(zip)))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func verified(t testing.TB, p Package, receipts ...Receipt) Verdict {
	t.Helper()
	v, err := Verify(p, VerifyOptions{ProgramVersion: "test", Receipts: receipts})
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestAnHonestPackageAgrees(t *testing.T) {
	p := readBack(t, written(t, play(t, usualTrial()).publish()))
	v := verified(t, p)
	if !v.Agrees() {
		t.Fatalf("an honest package disagrees:\n%s", told(v))
	}
	t.Log("\n" + told(v))
}
