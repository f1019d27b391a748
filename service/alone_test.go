package main

import (
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
)

// TestAloneWithoutDatabase runs the built program's tools for one angler where there is no PostgreSQL to be found, no home and no data
// folder, with settings left over that name a database: they work, ask no database, and leave nothing behind but what they were told to write.
func TestAloneWithoutDatabase(t *testing.T) {
	t.Parallel()
	program, place := builtProgram(t), t.TempDir()
	var asked atomic.Int64
	database, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer database.Close()
	go func() {
		for {
			conn, err := database.Accept()
			if err != nil {
				return
			}
			asked.Add(1)
			_ = conn.Close() // nobody should be there
		}
	}()
	table, err := filepath.Abs("../testdata/scenario/d1.csv")
	if err != nil {
		t.Fatal(err)
	}
	pack := filepath.Join(place, "package.zip")
	if err := os.WriteFile(pack, inventedPackage(t), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		says string
		args []string
	}{
		{"", []string{"version"}},
		{"How large must the trial be?", []string{"plan", "--anglers", "3", "--fish", "40", "--seasons", "0"}},
		{"Do fish take pattern A or pattern B?", []string{"analyse", "--test", "A", table}},
		{"check-code.txt", append(append([]string{"kit"}, kitFlagsOf...), filepath.Join(place, "kit"))},
		{"agree", []string{"verify", pack}},
	} {
		command := exec.Command(program, c.args...)
		command.Dir = place
		command.Env = []string{
			"PATH=" + filepath.Join(place, "none"), "HOME=" + filepath.Join(place, "home"), "TMPDIR=" + filepath.Join(place, "tmp"),
			"EVENRIG_DATA=" + filepath.Join(place, "data"), "EVENRIG_DATABASE_URL=postgres://nobody@" + database.Addr().String() + "/none",
		}
		said, err := command.CombinedOutput()
		if err != nil || !strings.Contains(string(said), c.says) {
			t.Errorf("%s: %v, want %q in\n%s", c.args[0], err, c.says, said)
		}
	}
	if n := asked.Load(); n > 0 {
		t.Errorf("the database was asked %d times", n)
	}
	left, err := filepath.Glob(filepath.Join(place, "*"))
	if err != nil {
		t.Fatal(err)
	}
	if len(left) != 2 { // the package and the kit
		t.Errorf("the program left %v", left)
	}
}
