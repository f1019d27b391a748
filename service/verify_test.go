package main

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"evenrig/service/analysis"
	"evenrig/service/exchange"
	"evenrig/service/trial"
)

// inventedPackage is the package of an invented trial whose fish came from a table.
func inventedPackage(t *testing.T) []byte {
	t.Helper()
	p := trial.Template()
	p.Title, p.Question, p.Source = "Collar or none", "Does a collar change the share of grayling that take the nymph?", trial.Recorded
	p.Patterns = []trial.Pattern{{Code: "C", Name: "collared nymph", Part: trial.Test}, {Code: "N", Name: "plain nymph", Part: trial.Control}}
	p.Species = []string{"Thymallus thymallus"}
	day := time.Date(2026, 9, 1, 0, 0, 0, 0, time.UTC)
	id := func(n byte) trial.ID { return trial.ID{n, 6: 0x40, 8: 0x80} }
	src := exchange.Source{
		Trial:    trial.Trial{ID: id(200), State: trial.Locked, Source: trial.Recorded, Design: p.Design, ProtocolVersion: 1, RegisteredAt: &day, LockedAt: &day, Fingerprint: sha256.Sum256([]byte("rules"))},
		Protocol: p, Versions: []exchange.SourceVersion{{N: 1, At: day, Protocol: p, Canonical: []byte("rules")}},
	}
	in := analysis.InputOf(p)
	var anglers []exchange.SourceAngler
	for i := range byte(3) {
		r := trial.Records{
			Enrolment: trial.Enrolment{ID: id(i + 1), ChainID: src.Trial.ID, Pseudonym: trial.Pseudonym([6]byte{i, 7, 7, 7, 7, 7})},
			Outings:   []trial.Outing{{ID: id(i + 10), StartedAt: day}},
		}
		for half := 1; half <= 2; half++ {
			period := trial.Period{ID: id(i*2 + byte(half) + 20), OutingID: id(i + 10), Block: "1", Half: half, Fished: []trial.Arrangement{trial.TestLower, trial.ControlLower}[half-1], Confirmed: true, StartedAt: day}
			r.Periods = append(r.Periods, period)
			for n := range 5 {
				r.Catches = append(r.Catches, trial.Catch{
					ID: id(i*10 + byte(half*5+n) + 40), PeriodID: period.ID, TakenPattern: []string{"C", "N"}[(n+int(i))%2], Outcome: trial.Landed, RigIntact: true, Species: p.Species[0],
					Origin: trial.UnknownOrigin, CaughtAt: day, NotedAt: day,
				})
			}
		}
		tallies, effort := r.Count(p)
		in.Tallies, in.Effort = append(in.Tallies, tallies...), in.Effort.Add(effort)
		anglers = append(anglers, exchange.SourceAngler{Records: r})
	}
	src.Anglers = exchange.RowsOf(anglers)
	head := trial.Head{TrialID: src.Trial.ID, ChainID: src.Trial.ID}
	parts := trial.Parts{Public: []byte(`{"anglers":3,"rows":30}`)}
	entry := head.Next(trial.LedgerImport, src.Trial.ID, parts)
	src.Organisers = exchange.Chain{Entries: []trial.LedgerEntry{entry}, Parts: map[int64]trial.Parts{1: parts}}
	src.Checkpoints = []trial.Checkpoint{trial.NextCheckpoint(src.Trial.ID, nil, []trial.Head{entry.Head()}, day)}
	src.Moves = []trial.CheckpointMove{{Checkpoint: 1, ChainID: src.Trial.ID, N: 1}}
	input, err := analysis.Canonical(in)
	if err != nil {
		t.Fatal(err)
	}
	result, err := analysis.Run(in, analysis.Settings{ProgramVersion: programVersion()})
	if err != nil {
		t.Fatal(err)
	}
	src.Closing = trial.Analysis{State: trial.Done, Checkpoint: 1, Input: input}
	if src.Closing.Result, err = result.Encode(); err != nil {
		t.Fatal(err)
	}
	pkg, err := exchange.Publish(src, exchange.Publishing{Licence: exchange.CC0, Edition: 1, ProgramVersion: programVersion()})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := exchange.WritePackage(&b, pkg); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// repacked is the archive with one text of one file changed.
func repacked(t *testing.T, archive []byte, file, old, new string) []byte {
	t.Helper()
	in, err := zip.NewReader(bytes.NewReader(archive), int64(len(archive)))
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	out := zip.NewWriter(&b)
	for _, f := range in.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		if f.Name == file {
			if !bytes.Contains(text, []byte(old)) {
				t.Fatalf("%s has no %q", file, old)
			}
			text = bytes.Replace(text, []byte(old), []byte(new), 1)
		}
		w, err := out.Create(f.Name)
		if err == nil {
			_, err = w.Write(text)
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

func TestVerify(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	file := func(name string, content []byte) string {
		path := filepath.Join(folder, name)
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	archive := inventedPackage(t)
	honest := file("honest.zip", archive)
	forged := file("forged.zip", repacked(t, archive, "catches.csv", ",C,,landed", ",N,,landed"))
	for _, c := range []struct {
		name   string
		args   []string
		status int
		says   []string // on standard output, else on standard error
	}{
		{"an honest package", []string{honest}, 0, []string{"WHAT AGREES", "byte for byte", "WHAT CANNOT BE TOLD", "CHECK CODE", "Everything that can be worked out agrees"}},
		{"a forged one", []string{forged}, exitData, []string{"WHAT DOES NOT AGREE", "checksums.txt", "is not what a trial left behind"}},
		{"no package", []string{file("text.zip", []byte("this is a text and no package at all"))}, exitData, []string{"is no zip archive"}},
		{"a folder", []string{folder}, exitData, []string{"is no file"}},
		{"nothing there", []string{filepath.Join(folder, "none.zip")}, exitData, []string{"cannot be opened"}},
		{"a receipt that nobody has", []string{"--receipt", strings.Repeat("ab", 16), honest}, exitData, []string{"YOUR RECEIPTS", "is missing"}},
		{"a receipt that is none", []string{"--receipt", "hello", honest}, exitUsage, []string{"16 to 64 hexadecimal digits"}},
		{"another format", []string{"--format", "pdf", honest}, exitUsage, []string{"text"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var out, errors bytes.Buffer
			status := run(slices.Concat([]string{"verify"}, c.args), streams{strings.NewReader(""), &out, &errors}, func(int) {})
			if status != c.status {
				t.Errorf("exit status %d, want %d\n%s%s", status, c.status, &out, &errors)
			}
			for _, says := range c.says {
				if !strings.Contains(strings.Join(strings.Fields(out.String()+errors.String()), " "), says) {
					t.Errorf("does not say %q:\n%s%s", says, &out, &errors)
				}
			}
		})
	}
}

func TestVerifyAsJSON(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "package.zip")
	if err := os.WriteFile(path, inventedPackage(t), 0o600); err != nil {
		t.Fatal(err)
	}
	var out, errors bytes.Buffer
	if status := run([]string{"verify", "--format", "json", path}, streams{strings.NewReader(""), &out, &errors}, func(int) {}); status != 0 {
		t.Fatalf("exit status %d\n%s%s", status, &out, &errors)
	}
	var v struct {
		Agrees    bool
		CheckCode string `json:"check_code"`
		Findings  []struct{ Part, Outcome, Text string }
	}
	if err := json.Unmarshal(out.Bytes(), &v); err != nil || !v.Agrees || len(v.CheckCode) != 64 || len(v.Findings) < 8 {
		t.Errorf("%v: %s", err, &out)
	}
}
