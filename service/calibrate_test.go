package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// calibrateWith runs the command and returns the exit status and what it printed.
func calibrateWith(args ...string) (status int, out, err string) {
	var o, e bytes.Buffer
	status = run(append([]string{"calibrate"}, args...), streams{strings.NewReader(""), &o, &e}, func(int) {})
	return status, o.String(), e.String()
}

const calibrated = "K5_n5_u0_v6_low65_test5"

func TestCalibrateIsTheSameForAnyNumberOfWorkersAndOnceKept(t *testing.T) {
	t.Parallel()
	table := filepath.Join(t.TempDir(), "table.csv")
	status, first, progress := calibrateWith("--cells", calibrated, "--trials", "20", "--workers", "1", "--out", table)
	if status != 0 || !strings.Contains(progress, "1 of 1: "+calibrated+", 20 trials") {
		t.Fatalf("status %d: %s", status, progress)
	}
	if _, second, _ := calibrateWith("--cells", calibrated, "--trials", "20", "--workers", "3"); second != first {
		t.Error("3 workers print another table than 1")
	}
	kept, err := os.ReadFile(table)
	if err != nil {
		t.Fatal(err)
	}
	status, again, progress := calibrateWith("--cells", "K5_n5_u0_*", "--trials", "20", "--out", table)
	if status != 0 || progress != "" || !strings.Contains(again, "| "+calibrated+" |") {
		t.Errorf("with the kept table: status %d, progress %q", status, progress)
	}
	if now, err := os.ReadFile(table); err != nil || !bytes.Equal(now, kept) {
		t.Errorf("the kept table changed (%v)", err)
	}
	if _, other, _ := calibrateWith("--cells", calibrated, "--trials", "20", "--seed", "7"); other == first {
		t.Error("another seed prints the same table")
	}
}

func TestCalibrateSaysWhatItAccepts(t *testing.T) {
	t.Parallel()
	other := filepath.Join(t.TempDir(), "other.csv")
	if err := os.WriteFile(other, []byte("angler,fish\nA,3\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args   []string
		status int
		want   string
	}{
		{[]string{"--cells", "K99*"}, exitUsage, `--cells "K99*" names no cell; accepted are names such as K3_n5_`},
		{[]string{"--cells", "["}, exitUsage, `--cells "[": syntax error in pattern`},
		{[]string{"--trials", "1"}, exitUsage, "--trials is 1"},
		{[]string{"--workers=-1"}, exitUsage, "--workers -1"},
		{[]string{"--out", other}, exitData, "not a calibration table"},
	} {
		status, out, err := calibrateWith(append([]string{"--cells", calibrated, "--trials", "9"}, c.args...)...)
		if status != c.status || !strings.Contains(err, c.want) || out != "" {
			t.Errorf("%q: status %d, %q; want %d, %q", c.args, status, err, c.status, c.want)
		}
	}
}

func TestCalibrateRefusesATableOfOtherSettings(t *testing.T) {
	t.Parallel()
	table := filepath.Join(t.TempDir(), "table.csv")
	if status, _, err := calibrateWith("--cells", calibrated, "--trials", "5", "--out", table); status != 0 {
		t.Fatal(err)
	}
	status, _, err := calibrateWith("--cells", calibrated, "--trials", "6", "--out", table)
	if status != exitData || !strings.Contains(err, "holds 5 trials a cell from seed") {
		t.Errorf("status %d, %q", status, err)
	}
}
