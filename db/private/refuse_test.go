//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package private

import (
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// TestNothingIsEverDeleted puts something of a person's into the folder, in every place where a start might want
// room, and expects a refusal that leaves each byte where it was.
func TestNothingIsEverDeleted(t *testing.T) {
	t.Parallel()
	requireServer(t)
	cases := []struct {
		name  string
		files map[string]string
		want  []string
	}{
		{
			"a folder that is no database",
			map[string]string{"data/holiday.txt": "photos"},
			[]string{"data is there but has no file PG_VERSION", "nothing was changed", "move it away"},
		},
		{
			"data of another version",
			map[string]string{"data/PG_VERSION": "9999\n", "password": "secret\n"},
			[]string{"made by PostgreSQL 9999", "untouched", "apt-get install postgresql-9999"},
		},
		{
			"data of a very old version",
			map[string]string{"data/PG_VERSION": "9.6\n", "password": "secret\n"},
			[]string{`PG_VERSION says "9.6\n"`, "older than 10", "nothing was changed"},
		},
		{
			"an empty password",
			map[string]string{"password": "\n"},
			[]string{"password is empty", "remove the file"},
		},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			dir := folder(t)
			for name, text := range c.files {
				write(t, filepath.Join(dir, name), text)
			}
			giveToServer(t, filepath.Join(dir, "data"))
			_, err := Start(t.Context(), dir, testLog(t))
			wantError(t, err, c.want...)
			wantFiles(t, dir, c.files)
		})
	}

	t.Run("a leftover", func(t *testing.T) {
		dir := folder(t)
		files := map[string]string{"data.new/base/1/x": "half", "data.new-7/PG_VERSION": "15\n", "notes.txt": "mine"}
		for name, text := range files {
			write(t, filepath.Join(dir, name), text)
		}
		c := start(t, dir, Ephemeral())
		stop(t, c)
		wantFiles(t, dir, files)
	})

	t.Run("the password is lost", func(t *testing.T) {
		dir := made(t)
		c := start(t, dir, Ephemeral())
		put(t, c, "barbel")
		stop(t, c)
		kept := filepath.Join(dir, "kept")
		if err := os.Rename(filepath.Join(dir, "password"), kept); err != nil {
			t.Fatal(err)
		}
		_, err := Start(t.Context(), dir, testLog(t))
		wantError(t, err, "password is missing", "backup")

		write(t, filepath.Join(dir, "password"), "another\n")
		_, err = Start(t.Context(), dir, testLog(t))
		wantError(t, err, "log in", "put back the one that belongs")

		if err := os.Rename(kept, filepath.Join(dir, "password")); err != nil {
			t.Fatal(err)
		}
		want(t, start(t, dir, Ephemeral()), "barbel")
	})
}

func TestDamagedClusterIsRefusedWithTheServersWords(t *testing.T) {
	t.Parallel()
	dir := made(t)
	c := start(t, dir, Ephemeral())
	stop(t, c)
	control := filepath.Join(dir, "data", "global", "pg_control")
	aside := filepath.Join(dir, "pg_control")
	if err := os.Rename(control, aside); err != nil {
		t.Fatal(err)
	}
	_, err := Start(t.Context(), dir, testLog(t))
	wantError(t, err, "would not start", "exit status", "pg_control")
	if err := os.Rename(aside, control); err != nil {
		t.Fatal(err)
	}
	start(t, dir, Ephemeral()) // and the refusal did not keep the folder
}

func TestNoServerPrograms(t *testing.T) {
	places := usualPlaces
	usualPlaces = nil
	t.Cleanup(func() { usualPlaces = places })
	t.Setenv("PATH", t.TempDir())
	_, err := Start(t.Context(), folder(t), testLog(t))
	wantError(t, err, "no PostgreSQL server", "apt-get install postgresql", "dnf install", "database of your own")
}

func TestFoldersOfOthers(t *testing.T) {
	t.Parallel()
	requireServer(t)
	if os.Geteuid() != 0 {
		_, err := Start(t.Context(), "/evenrig-of-root", testLog(t))
		wantError(t, err, "/evenrig-of-root", "permission denied", "may write in")
		return
	}

	above := filepath.Join(folder(t), "closed")
	if err := os.Mkdir(above, 0o700); err != nil {
		t.Fatal(err)
	}
	_, err := Start(t.Context(), filepath.Join(above, "club"), testLog(t))
	wantError(t, err, "may not enter "+above, "chmod o+x "+above)

	dir := folder(t)
	write(t, filepath.Join(dir, "data", "PG_VERSION"), "15\n")
	_, err = Start(t.Context(), dir, testLog(t))
	wantError(t, err, "belongs to root", "chown -R")
}

// Data belong to one user, and root serves them as that one; a folder only root may enter is opened to him alone.
func TestRootServesDataAsTheirOwner(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		t.Skip("needs root")
	}
	dir := made(t)
	if err := os.Chmod(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	c := start(t, dir, Ephemeral())
	put(t, c, "gudgeon")
	stop(t, c)
	info, err := os.Stat(dir)
	if err != nil {
		t.Fatal(err)
	}
	if got := info.Mode().Perm(); got != 0o710 {
		t.Errorf("the folder has mode %o, want 710", got)
	}

	another := account{uid: 64999, gid: 64999, switched: true}
	err = filepath.WalkDir(filepath.Join(dir, "data"), func(path string, _ fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return another.give(path)
	})
	if err != nil {
		t.Fatal(err)
	}
	c = start(t, dir, Ephemeral())
	want(t, c, "gudgeon")
	process, err := os.Stat("/proc/" + strconv.Itoa(serverPid(t, dir)))
	if err != nil {
		t.Skip("no /proc to see whose process the server is")
	}
	if uid, _ := ids(process); uid != another.uid {
		t.Errorf("the server runs as user number %d, want %d", uid, another.uid)
	}
}

// A plain user meets the folder that root made.
func TestPlainUserMeetsRootsFolder(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		t.Skip("needs root, to be two users")
	}
	dir := made(t)
	stop(t, start(t, dir, Ephemeral()))
	cmd := helper(dir)
	nobody := account{uid: 65534, gid: 65534, switched: true}
	cmd.SysProcAttr = nobody.sysProcAttr()
	out, err := cmd.CombinedOutput()
	if err == nil || !strings.Contains(string(out), "belongs to user root") {
		t.Errorf("got %v, %s; want a refusal that names the owner", err, out)
	}

	// Nor is the password for him to read while root's service runs.
	start(t, dir, Ephemeral())
	cmd = helper(dir)
	cmd.Env = append(cmd.Env, attachEnv+"=1")
	cmd.SysProcAttr = nobody.sysProcAttr()
	out, err = cmd.CombinedOutput()
	if err == nil || !strings.Contains(string(out), "for another user") {
		t.Errorf("got %v, %s; want a refusal to attach", err, out)
	}
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// giveToServer hands a folder to the user the server runs as, as if it had made it.
func giveToServer(t *testing.T, path string) {
	t.Helper()
	if _, err := os.Stat(path); err != nil {
		return
	}
	a, err := serverAccount("/nowhere")
	if err != nil {
		t.Fatal(err)
	}
	err = filepath.WalkDir(path, func(path string, _ fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return a.give(path)
	})
	if err != nil {
		t.Fatal(err)
	}
}

func wantFiles(t *testing.T, dir string, files map[string]string) {
	t.Helper()
	for name, text := range files {
		if got, err := os.ReadFile(filepath.Join(dir, name)); err != nil || string(got) != text {
			t.Errorf("%s holds %q (%v), want %q as before", name, got, err, text)
		}
	}
}
