package private

import (
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// TestProgram: of several installations the one that fits the server is taken, never an older one.
func TestProgram(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("the programs made here are shell scripts")
	}
	path := ""
	for _, version := range []string{"901.2", "903.1", "902beta1"} {
		dir := t.TempDir()
		script := "#!/bin/sh\necho 'pg_invented (PostgreSQL) " + version + "'\n"
		if err := os.WriteFile(filepath.Join(dir, "pg_invented"), []byte(script), 0o755); err != nil {
			t.Fatal(err)
		}
		path += dir + string(filepath.ListSeparator)
	}
	broken := t.TempDir()
	if err := os.WriteFile(filepath.Join(broken, "pg_invented"), []byte("#!/bin/sh\nexit 3\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	t.Setenv("PATH", path+broken)
	dirs := strings.Split(path, string(filepath.ListSeparator))
	for major, want := range map[int]string{901: dirs[0], 902: dirs[2], 903: dirs[1], 15: dirs[0]} {
		got, err := Program(t.Context(), "pg_invented", major)
		if err != nil || filepath.Dir(got) != want {
			t.Errorf("for a server of version %d: %s, %v; want the one in %s", major, got, err, want)
		}
	}
	_, err := Program(t.Context(), "pg_invented", 904)
	for _, says := range []string{"904 or newer", "is version 903.1", "apt-get install postgresql-client-904"} {
		if err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("for a newer server than any program: %v; want it to say %q", err, says)
		}
	}
}
