package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// shell runs one of the scripts in deploy.
func shell(t *testing.T, script string, env []string, args ...string) (status int, said string) {
	t.Helper()
	if runtime.GOOS == "windows" {
		t.Skip("a script for Unix's shell")
	}
	path, err := filepath.Abs(filepath.Join("..", "deploy", script))
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), "/bin/sh", append([]string{path}, args...)...)
	cmd.Env = append(os.Environ(), env...)
	out, err := cmd.CombinedOutput()
	if err != nil && cmd.ProcessState == nil {
		t.Fatal(err)
	}
	return cmd.ProcessState.ExitCode(), string(out)
}

// TestBackupScript: old backups are cleared away by number, oldest first, nothing else is touched, and nothing at all when
// the backup fails.
func TestBackupScript(t *testing.T) {
	t.Parallel()
	backups, program := t.TempDir(), filepath.Join(t.TempDir(), "evenrig")
	fake := "#!/bin/sh\n[ \"$1\" = backup ] || exit 9\nshift\n[ \"$1\" != --without-key ] || shift\nmkdir \"$1\" && : >\"$1/manifest.json\"\n"
	if err := os.WriteFile(program, []byte(fake), 0o755); err != nil {
		t.Fatal(err)
	}
	made := func(name string, whole bool) {
		if err := os.Mkdir(filepath.Join(backups, name), 0o700); err != nil {
			t.Fatal(err)
		}
		if whole {
			if err := os.WriteFile(filepath.Join(backups, name, "manifest.json"), nil, 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	for _, name := range []string{"evenrig-20200101T000000Z", "evenrig-20200102T000000Z", "evenrig-20200103T000000Z", "before-the-upgrade", "evenrig-20190101T000000Z.kept"} {
		made(name, true)
	}
	made("evenrig-20180101T000000Z", false)
	names := func() string {
		entries, err := os.ReadDir(backups)
		if err != nil {
			t.Fatal(err)
		}
		var list []string
		for _, e := range entries {
			list = append(list, e.Name())
		}
		return strings.Join(list, " ")
	}
	before := names()
	env := []string{"EVENRIG_BACKUPS=" + backups, "EVENRIG_PROGRAM=" + program, "EVENRIG_BACKUPS_KEPT=2"}
	if status, said := shell(t, "backup.sh", append(env, "EVENRIG_PROGRAM=/bin/false")); status == 0 || names() != before {
		t.Errorf("a backup that failed: status %d, %s; left %s", status, said, names())
	}
	for _, wrong := range []string{"0", "many", "-1", ""} {
		status, said := shell(t, "backup.sh", append(env, "EVENRIG_BACKUPS_KEPT="+wrong))
		if wrong != "" && (status != 2 || !strings.Contains(said, "accepted") || names() != before) {
			t.Errorf("to keep %q: status %d: %s", wrong, status, said)
		}
		if wrong == "" && status != 0 { // not set: 14
			t.Errorf("without a number: status %d: %s", status, said)
		}
	}
	for _, entry := range strings.Fields(names()) {
		if strings.HasPrefix(entry, "evenrig-202") && !strings.Contains(before, entry) {
			if err := os.RemoveAll(filepath.Join(backups, entry)); err != nil { // the one just made, so that times cannot meet
				t.Fatal(err)
			}
		}
	}
	if status, said := shell(t, "backup.sh", env, "--without-key"); status != 0 {
		t.Fatalf("status %d: %s", status, said)
	}
	left := names()
	for name, stays := range map[string]bool{
		"evenrig-20200101T000000Z": false, "evenrig-20200102T000000Z": false, "evenrig-20200103T000000Z": true,
		"before-the-upgrade": true, "evenrig-20190101T000000Z.kept": true, "evenrig-20180101T000000Z ": true,
	} {
		if strings.Contains(left+" ", name) != stays {
			t.Errorf("%q stays %t, want %t; there are %s", name, !stays, stays, left)
		}
	}
}

// TestReproducible builds one release twice, in two checkouts at different places with nothing of either's caches shared,
// and compares every byte. It builds everything anew, so it runs only when EVENRIG_TEST_REPRODUCIBLE is 1.
func TestReproducible(t *testing.T) {
	if os.Getenv("EVENRIG_TEST_REPRODUCIBLE") != "1" {
		t.Skip("set EVENRIG_TEST_REPRODUCIBLE=1 to build a release twice")
	}
	var built [2][]byte
	for i, place := range []string{"a", "another/place"} {
		checkout := filepath.Join(t.TempDir(), place)
		top, err := filepath.Abs("..")
		if err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command("git", "clone", "-q", top, checkout).CombinedOutput(); err != nil {
			t.Fatalf("clone: %v\n%s", err, out)
		}
		out := filepath.Join(t.TempDir(), "release")
		cmd := exec.Command("/bin/sh", filepath.Join(checkout, "deploy", "release.sh"), out, "linux/arm64")
		cmd.Env = append(os.Environ(), "GOCACHE="+t.TempDir())
		if said, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, said)
		}
		if built[i], err = os.ReadFile(filepath.Join(out, "evenrig-linux-arm64")); err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(built[i], []byte(checkout)) {
			t.Errorf("the program holds the path that it was built in")
		}
	}
	if !bytes.Equal(built[0], built[1]) {
		t.Error("two builds of one commit differ")
	}
}
