package dbtest

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// The test binary runs TestChild alone in another process, which says what it made and then waits to be killed.
const childEnv = "EVENRIG_DBTEST_CHILD"

func TestChild(t *testing.T) {
	if os.Getenv(childEnv) == "" {
		t.Skip("this is the other process of the tests beside it")
	}
	fmt.Println("CHILD", URL(t))
	select {}
}

// child starts the other process, on the given server or, when that is empty, on one of its own, and returns it and the
// address of its database.
func child(t *testing.T, server string) (*exec.Cmd, string) {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^TestChild$", "-test.v")
	cmd.Env = append(os.Environ(), childEnv+"=1", "EVENRIG_TEST_DATABASE_URL="+server)
	stdout, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill() }) // it may be gone already
	lines := bufio.NewScanner(stdout)
	said := ""
	for lines.Scan() {
		if address, ok := strings.CutPrefix(lines.Text(), "CHILD "); ok {
			go io.Copy(io.Discard, stdout) //nolint:errcheck // so that it never waits for us
			return cmd, address
		}
		said += lines.Text() + "\n"
	}
	t.Fatalf("the other process said\n%s", said)
	return nil, ""
}

// databases lists the tests' databases on the server, of all processes.
func (s *server) databases(t *testing.T) []string {
	t.Helper()
	s.mu.Lock()
	defer s.mu.Unlock()
	names, err := s.names(t.Context(), `SELECT datname FROM pg_database WHERE starts_with(datname, $1)`)
	if err != nil {
		t.Fatal(err)
	}
	return names
}

// TestKilledProcess kills a process with a cluster of its own: server and folder go too.
func TestKilledProcess(t *testing.T) {
	require(t)
	cmd, address := child(t, "")
	base, err := parse(address)
	if err != nil {
		t.Fatal(err)
	}
	folder := filepath.Dir(filepath.Dir(base.Query().Get("host"))) // of the cluster, which has the socket's
	if _, err := os.Stat(folder); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		if _, err := os.Stat(folder); os.IsNotExist(err) {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("%s is still there", folder)
		}
	}
}

// TestDeadProcess kills a process that shares a server: the next one drops its database, and not before.
func TestDeadProcess(t *testing.T) {
	s := require(t)
	cmd, address := child(t, s.base.String())
	base, err := parse(address)
	if err != nil {
		t.Fatal(err)
	}
	theirs := strings.TrimPrefix(base.Path, "/")
	if err := s.locked(t.Context(), s.clearDead); err != nil {
		t.Fatal(err)
	}
	if !slices.Contains(s.databases(t), theirs) {
		t.Fatal("the database of a living process was dropped")
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait() // it was killed
	for deadline := time.Now().Add(20 * time.Second); slices.Contains(s.databases(t), theirs); time.Sleep(50 * time.Millisecond) {
		// The server needs a moment to see that its client is gone.
		if err := s.locked(t.Context(), s.clearDead); err != nil {
			t.Fatal(err)
		}
		if time.Now().After(deadline) {
			t.Fatal("the database of a dead process is still there")
		}
	}
}

// TestOwnDatabase: two tests do not see each other's database, and each is dropped with its test.
func TestOwnDatabase(t *testing.T) {
	s := require(t)
	var one, two string
	t.Run("one", func(t *testing.T) {
		one, two = URL(t), Empty(t)
		if one == two {
			t.Errorf("both databases are %s", one)
		}
		if err := New(t).Ready(t.Context()); err != nil {
			t.Error(err)
		}
	})
	left := slices.DeleteFunc(s.databases(t), func(name string) bool { return !strings.Contains(name, s.session) })
	if len(left) > 0 {
		t.Errorf("after the test there are the databases %v", left)
	}
}

func TestParse(t *testing.T) {
	for _, bad := range []string{"", "localhost", "mysql://x/y", "http://x"} {
		if _, err := parse(bad); err == nil {
			t.Errorf("the address %q was taken", bad)
		}
	}
}
