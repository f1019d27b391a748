package exchange

import (
	"archive/zip"
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"

	"evenrig/service/trial"
)

// What is no package is refused by name, before anything of it fills the memory.
func TestReadPackageRefuses(t *testing.T) {
	honest := written(t, play(t, smallTrial()).publish())
	changed := func(change func(map[string][]byte)) []byte { return rezip(t, honest, change) }
	table := func(name string, change func(string) string) []byte {
		return changed(func(files map[string][]byte) { files[name] = []byte(change(string(files[name]))) })
	}
	for _, c := range []struct {
		name    string
		archive []byte
		says    string
	}{
		{"nothing", nil, "is no zip archive"},
		{"a text", []byte(strings.Repeat("this is no package\n", 40)), "is no zip archive"},
		{"half of one", honest[:len(honest)/2], "is no zip archive"},
		{"something after its end", append(bytes.Clone(honest), "more"...), "something after its end"},
		{"another archive", zipOf(t, [2]string{"readme.md", "x"}), `"readme.md"`},
		{"a path that goes up", changed(func(f map[string][]byte) { f["../../etc/passwd"] = []byte("x") }), "is no file of a package"},
		{"a path with a folder", changed(func(f map[string][]byte) { f["data/catches.csv"] = []byte("x") }), "is no file of a package"},
		{"a file missing", changed(func(f map[string][]byte) { delete(f, "units.csv") }), "units.csv is missing"},
		{"a file twice", twice(t, honest, "words.csv"), "words.csv stands twice"},
		{"a file that unpacks to much more", changed(func(f map[string][]byte) { f["catches.csv"] = make([]byte, 64<<20) }), "catches.csv unpacks to"},
		{"a page too large", changed(func(f map[string][]byte) { f[fileReport] = noise(17 << 20) }), fileReport + " has"},
		{"a row too long", table("ledger.csv", func(s string) string { return s + `"` + string(noise(1<<21)) }), "ledger.csv has a row of more than"},
		{"no header", table("words.csv", func(string) string { return "" }), "words.csv does not begin with the columns"},
		{"another header", table("words.csv", func(s string) string { return strings.Replace(s, "n,word", "word,n", 1) }), "words.csv does not begin with the columns"},
		{"a row too short", table("words.csv", func(s string) string { return s + "3\r\n" }), "words.csv cannot be read"},
		{"a number that is none", table("words.csv", func(s string) string { return strings.Replace(s, "1,alder", "one,alder", 1) }), `words.csv line 2, n "one"`},
		{"a number with more than one form", table("words.csv", func(s string) string { return strings.Replace(s, "1,alder", "01,alder", 1) }), `words.csv line 2, n "01"`},
		{"a needed value missing", table("anglers.csv", func(s string) string { return strings.Replace(s, ",publish_open,", ",,", 1) }), "consent: is empty"},
		{"a word that is none", table("anglers.csv", func(s string) string { return strings.Replace(s, ",publish_open,", ",publish,", 1) }), "accepted: publish_open"},
		{"two trials", table("trial.csv", func(s string) string { return s + strings.SplitAfter(s, "\r\n")[1] }), "trial.csv does not have one row"},
		{"text that is not UTF-8", table("words.csv", func(s string) string { return strings.Replace(s, "alder", "ald\xffr", 1) }), "is not UTF-8"},
		{"a rule sheet with an unknown rule", table(filePlan, func(s string) string { return strings.Replace(s, "{", `{"a_rule":1,`, 1) }), "is no rule sheet"},
		{"a rule sheet without groups", table(filePlan, func(s string) string { return strings.Replace(s, `"group_sizes":[2,4]`, `"group_sizes":[]`, 1) }), "group_sizes"},
		{"a fish of nobody", table("catches.csv", func(s string) string { return s + "ZZZZZZ" + strings.SplitAfter(s, "\r\n")[1][6:] }), "who is not in anglers.csv"},
		{"anglers out of order", table("anglers.csv", func(s string) string {
			lines := strings.SplitAfter(s, "\r\n")
			lines[1], lines[2] = lines[2], lines[1]
			return strings.Join(lines, "")
		}), "in order of pseudonym"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, err := ReadPackage(bytes.NewReader(c.archive), int64(len(c.archive)))
			if err == nil {
				_, err = Verify(p, VerifyOptions{ProgramVersion: "test"})
			}
			if err == nil || trial.KindOf(err) != trial.Invalid || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got %v, want a fault that says %q", err, c.says)
			}
		})
	}
	if _, err := ReadPackage(bytes.NewReader(honest), MaxPackageBytes+1); err == nil || !strings.Contains(err.Error(), "larger than") {
		t.Errorf("a package of more than the limit: %v", err)
	}
}

// noise is text that does not pack well.
func noise(n int) []byte {
	b, x := make([]byte, n), uint32(1)
	for i := range b {
		x ^= x << 13
		x ^= x >> 17
		x ^= x << 5
		b[i] = 'a' + byte(x%26)
	}
	return b
}

func zipOf(t testing.TB, files ...[2]string) []byte {
	t.Helper()
	var b bytes.Buffer
	out := zip.NewWriter(&b)
	for _, f := range files {
		w, err := out.Create(f[0])
		if err == nil {
			_, err = io.WriteString(w, f[1])
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// twice is the archive with one of its files a second time.
func twice(t testing.TB, archive []byte, name string) []byte {
	t.Helper()
	var all [][2]string
	for file, text := range filesOf(t, archive) {
		all = append(all, [2]string{file, text})
		if file == name {
			all = append(all, [2]string{file, text})
		}
	}
	return zipOf(t, all...)
}

// A damaged archive is told by the archive's own checksums wherever it is read.
func TestADamagedArchiveIsTold(t *testing.T) {
	honest := written(t, play(t, smallTrial()).publish())
	in, err := zip.NewReader(bytes.NewReader(honest), int64(len(honest)))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range in.File {
		at, err := f.DataOffset()
		if err != nil {
			t.Fatal(err)
		}
		damaged := bytes.Clone(honest)
		damaged[at+int64(f.CompressedSize64)/2] ^= 0x10
		p, err := ReadPackage(bytes.NewReader(damaged), int64(len(damaged)))
		if err == nil {
			var v Verdict
			if v, err = Verify(p, VerifyOptions{ProgramVersion: "test"}); err == nil && v.Agrees() {
				t.Errorf("%s damaged: everything agrees", f.Name)
			}
		}
	}
}

// Whatever bytes are given, reading and verifying end, with an error that is the file's or with a verdict.
func FuzzReadPackage(f *testing.F) {
	honest := written(f, play(f, playing{anglers: 3, outings: 1, blocks: 2}).publish())
	f.Add(honest)
	f.Add([]byte("PK\x05\x06" + strings.Repeat("\x00", 18)))
	f.Fuzz(func(t *testing.T, archive []byte) {
		p, err := ReadPackage(bytes.NewReader(archive), int64(len(archive)))
		if err == nil {
			_, err = Verify(p, VerifyOptions{ProgramVersion: "test"})
		}
		known, ok := errors.AsType[*trial.Error](err)
		if err != nil && (!ok || known.Kind != trial.Invalid) {
			t.Errorf("an error that is not the file's: %v", err)
		}
	})
}

// The same for the tables alone: rows that no archive's checksum guards.
func FuzzVerifyTables(f *testing.F) {
	honest := written(f, play(f, playing{anglers: 3, outings: 1, blocks: 2}).publish())
	files := filesOf(f, honest)
	for _, name := range []string{"catches.csv", "ledger.csv", "periods.csv", "units.csv", "heads.csv", "trial.csv", filePlan, fileResult} {
		f.Add(name, files[name])
	}
	f.Fuzz(func(t *testing.T, name, text string) {
		if files[name] == "" {
			return
		}
		archive := rezip(t, honest, func(files map[string][]byte) { files[name] = []byte(text) })
		p, err := ReadPackage(bytes.NewReader(archive), int64(len(archive)))
		if err == nil {
			_, err = Verify(p, VerifyOptions{ProgramVersion: "test"})
		}
		known, ok := errors.AsType[*trial.Error](err)
		if err != nil && (!ok || known.Kind != trial.Invalid) {
			t.Errorf("an error that is not the file's: %v", err)
		}
	})
}
