package main

import (
	"bytes"
	"encoding/json"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"evenrig/db"
	"evenrig/service/trial"
)

// command runs one command line and returns its status and what it said, on both streams.
func command(args ...string) (status int, said string) {
	var out bytes.Buffer
	status = run(args, streams{strings.NewReader(""), &out, &out}, func(int) {})
	return status, out.String()
}

// copyFolder copies a folder's files.
func copyFolder(t *testing.T, from string) string {
	t.Helper()
	to := filepath.Join(t.TempDir(), "copy")
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	return to
}

// TestBackupAndRestore plays a season, backs it up while the service runs, restores it elsewhere and asks the restored
// service for what the first one answered.
func TestBackupAndRestore(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("plays a season")
	}
	clock := &storyClock{}
	clock.set(demoStart)
	log := slog.New(slog.DiscardHandler)
	where := storage{Data: dataFolder(t), LogLevel: "error"}
	p, err := where.assemble(t.Context(), where.ownDatabase, log, clock.now)
	if err != nil {
		needServer(t, err)
	}
	defer p.close()
	r, err := p.start(t.Context(), listening{Listen: "127.0.0.1:0"}, log)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := p.service.FirstAdmin(t.Context(), "Secretary")
	if err != nil {
		t.Fatal(err)
	}
	s := newStory(r.url, clock, io.Discard)
	done, err := s.play(t.Context(), secret)
	if err != nil {
		t.Fatal(err)
	}
	table := download(t, s.organiser, r.url+done.trial+"/catches.csv")

	folder := filepath.Join(t.TempDir(), "new", "backup")
	if status, said := command("backup", "--data", where.Data, "--log-level", "error", folder); status != 0 || !strings.Contains(said, "Move ") {
		t.Fatalf("backup: status %d: %s", status, said)
	}
	if err := r.stop(); err != nil {
		t.Error(err)
	}
	for name, mode := range map[string]os.FileMode{"": 0o700, recordsFile: 0o600, sealKeyFile: 0o600, manifestFile: 0o600, readMeFile: 0o600} {
		if info, err := os.Stat(filepath.Join(folder, name)); err != nil || info.Mode().Perm() != mode {
			t.Errorf("%q in the backup: %v, %v; want mode %o", name, info.Mode(), err, mode)
		}
	}
	left, err := filepath.Glob(filepath.Join(filepath.Dir(folder), "*unfinished*"))
	if err != nil || len(left) > 0 {
		t.Errorf("the backup left %v beside it, %v", left, err)
	}
	records, err := os.ReadFile(filepath.Join(folder, recordsFile))
	if err != nil {
		t.Fatal(err)
	}
	key, err := os.ReadFile(filepath.Join(folder, sealKeyFile))
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(folder, manifestFile))
	if err != nil {
		t.Fatal(err)
	}
	if k := bytes.TrimSpace(key); bytes.Contains(records, k) || bytes.Contains(text, k) {
		t.Error("the key stands in another file of the backup too")
	}

	t.Run("never over anything", func(t *testing.T) {
		if status, said := command("backup", "--data", where.Data, folder); status != exitUsage || !strings.Contains(said, "never overwrites") {
			t.Errorf("status %d: %s", status, said)
		}
		if status, said := command("restore", "--data", where.Data, "--log-level", "error", folder); status != exitData || !strings.Contains(said, "in use by") {
			t.Errorf("restore into the running service: status %d: %s", status, said)
		}
	})
	t.Run("damaged", func(t *testing.T) { testDamaged(t, folder) })
	t.Run("restored", func(t *testing.T) {
		to := storage{Data: dataFolder(t), LogLevel: "error"}
		status, said := command("restore", "--data", to.Data, "--log-level", "error", folder)
		for _, want := range []string{"row for row", "all agrees", "equal byte for byte"} {
			if status != 0 || !strings.Contains(said, want) {
				t.Fatalf("restore: status %d: %s; want it to say %q", status, said, want)
			}
		}
		if made, err := readSealKey(to.sealKeyPath()); err != nil || made.Fingerprint() == "" {
			t.Error(err)
		}
		if status, said := command("restore", "--data", to.Data, "--log-level", "error", folder); status != exitData || !strings.Contains(said, "only into an empty database") {
			t.Errorf("restore on top of a restored one: status %d: %s", status, said)
		}
		again, err := to.assemble(t.Context(), to.ownDatabase, log, clock.now)
		if err != nil {
			t.Fatal(err)
		}
		defer again.close()
		running, err := again.start(t.Context(), listening{Listen: "127.0.0.1:0"}, log)
		if err != nil {
			t.Fatal(err)
		}
		defer running.stop()
		if got := download(t, s.organiser, running.url+done.trial+"/catches.csv"); got != table {
			t.Error("the restored service gives another catch table")
		}
		if got := download(t, s.organiser, running.url+done.analysis); got != string(done.result) && !strings.Contains(got, string(bytes.TrimSpace(done.result))) {
			t.Errorf("the restored service gives another result:\n%s\n%s", got, done.result)
		}

		// Were one byte of the stored result another, restoring would have failed.
		conn, err := pgx.Connect(t.Context(), again.database.url)
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close(t.Context())
		if _, err := conn.Exec(t.Context(), `UPDATE analyses SET result = set_byte(result, length(result) / 2, get_byte(result, length(result) / 2) # 1) WHERE state = 'done'`); err != nil {
			t.Fatal(err)
		}
		if err := prove(t.Context(), again.service, io.Discard); err == nil || !strings.Contains(err.Error(), "gives another result") {
			t.Errorf("a stored result with a byte changed is proven: %v", err)
		}
	})
}

// testDamaged: a backup that is not the one that was written is refused before any database is touched.
func testDamaged(t *testing.T, folder string) {
	change := func(name string, how func([]byte) []byte) func(t *testing.T, folder string) {
		return func(t *testing.T, folder string) {
			path := filepath.Join(folder, name)
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, how(text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	edit := func(how func(m map[string]any)) func([]byte) []byte {
		return func(text []byte) []byte {
			var m map[string]any
			if err := json.Unmarshal(text, &m); err != nil {
				t.Fatal(err)
			}
			how(m)
			out, err := json.Marshal(m)
			if err != nil {
				t.Fatal(err)
			}
			return out
		}
	}
	remove := func(name string) func(t *testing.T, folder string) {
		return func(t *testing.T, folder string) {
			if err := os.Remove(filepath.Join(folder, name)); err != nil {
				t.Fatal(err)
			}
		}
	}
	for name, c := range map[string]struct {
		damage func(t *testing.T, folder string)
		args   []string
		says   string
	}{
		"a flipped bit": {damage: change(recordsFile, func(b []byte) []byte { b[len(b)/2] ^= 1; return b }), says: "not the file that was written"},
		"cut short":     {damage: change(recordsFile, func(b []byte) []byte { return b[:len(b)-1] }), says: "not the file that was written"},
		"no records":    {damage: remove(recordsFile), says: "no such file"},
		"no manifest":   {damage: remove(manifestFile), says: "is no backup"},
		"no key":        {damage: remove(sealKeyFile), says: "--key"},
		"another key": {
			damage: remove(sealKeyFile), args: []string{"--key", keyFile(t, strings.Repeat("ab", 32))}, says: "another key than the backup's",
		},
		"later layout":  {damage: change(manifestFile, edit(func(m map[string]any) { m["format"] = 2 })), says: "layout 2"},
		"newer program": {damage: change(manifestFile, edit(func(m map[string]any) { m["schema_version"] = 9999 })), says: "newer program"},
		"a file's path": {
			damage: change(manifestFile, edit(func(m map[string]any) { m["files"].([]any)[0].(map[string]any)["name"] = "../x" })), says: "no part of a backup",
		},
		"no JSON": {damage: change(manifestFile, func([]byte) []byte { return []byte("{") }), says: "cannot be read"},
		"other rows": {damage: change(manifestFile, edit(func(m map[string]any) {
			m["tables"].(map[string]any)["public.catches"].(map[string]any)["digest"] = "1"
		})), says: "but not the same"},
	} {
		t.Run(name, func(t *testing.T) {
			damaged, to := copyFolder(t, folder), dataFolder(t)
			c.damage(t, damaged)
			status, said := command(append([]string{"restore", "--data", to, "--log-level", "error", damaged}, c.args...)...)
			if status == 0 || !strings.Contains(said, c.says) {
				t.Errorf("status %d: %s; want it to say %q", status, said, c.says)
			}
			if _, err := os.Stat(filepath.Join(to, "seal.key")); !os.IsNotExist(err) {
				t.Errorf("a key was put beside records that were not restored: %v", err)
			}
		})
	}
}

// TestDifferences: whatever a database holds more, less or otherwise than the manifest says is named.
func TestDifferences(t *testing.T) {
	held := func() db.Contents {
		return db.Contents{
			SchemaVersion: 3, ServerMajor: 15, Trials: 1,
			Tables: map[string]db.TableContents{"public.catches": {Rows: 7, Digest: "a"}, "public.trials": {Rows: 1, Digest: "b"}},
			Last:   []trial.Checkpoint{{TrialID: trial.ID{1}, N: 4, Hash: trial.Digest{5}}},
		}
	}
	var m manifest
	m.describe(held())
	if found := m.differences(held()); len(found) > 0 {
		t.Errorf("the same database: %v", found)
	}
	for says, change := range map[string]func(c *db.Contents){
		"schema is at step 2":               func(c *db.Contents) { c.SchemaVersion = 2 },
		"public.catches has 6 rows":         func(c *db.Contents) { c.Tables["public.catches"] = db.TableContents{Rows: 6, Digest: "a"} },
		"but not the same":                  func(c *db.Contents) { c.Tables["public.catches"] = db.TableContents{Rows: 7, Digest: "c"} },
		"public.trials has 0 rows":          func(c *db.Contents) { delete(c.Tables, "public.trials") },
		"public.more has 1 rows, the backu": func(c *db.Contents) { c.Tables["public.more"] = db.TableContents{Rows: 1, Digest: "d"} },
		"last checkpoints":                  func(c *db.Contents) { c.Last[0].Hash[0] = 6 },
	} {
		c := held()
		change(&c)
		if found := m.differences(c); len(found) != 1 || !strings.Contains(found[0], says) {
			t.Errorf("differences %q; want one that says %q", found, says)
		}
	}
}

func keyFile(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "a.key")
	if err := os.WriteFile(path, []byte(text+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestBackupWithoutKey: a backup for a place that must not have the key goes without, and comes back with the key from
// elsewhere. A running draw needs its key: neither backup nor start goes on with a new one in its place.
func TestBackupWithoutKey(t *testing.T) {
	t.Parallel()
	log := slog.New(slog.DiscardHandler)
	where := storage{Data: dataFolder(t), LogLevel: "error"}
	clock := &storyClock{}
	clock.goReal()
	p, err := where.assemble(t.Context(), where.ownDatabase, log, clock.now)
	if err != nil {
		needServer(t, err)
	}
	r, err := p.start(t.Context(), listening{Listen: "127.0.0.1:0"}, log)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := p.service.FirstAdmin(t.Context(), "Secretary")
	if err != nil {
		t.Fatal(err)
	}
	openTrial(t, r.url, secret)
	if err := r.stop(); err != nil {
		t.Error(err)
	}
	if err := p.close(); err != nil {
		t.Fatal(err)
	}

	folder := filepath.Join(t.TempDir(), "backup") // by a cluster that the command starts itself
	if status, said := command("backup", "--without-key", "--data", where.Data, "--log-level", "error", folder); status != 0 {
		t.Fatalf("backup: status %d: %s", status, said)
	}
	if _, err := os.Stat(filepath.Join(folder, sealKeyFile)); !os.IsNotExist(err) {
		t.Errorf("the key is in the backup: %v", err)
	}
	elsewhere := filepath.Join(t.TempDir(), "kept.key")
	if err := os.Rename(where.sealKeyPath(), elsewhere); err != nil {
		t.Fatal(err)
	}
	to := dataFolder(t)
	if status, said := command("restore", "--data", to, "--log-level", "error", folder); status != exitUsage || !strings.Contains(said, "--key") {
		t.Errorf("restore without the key: status %d: %s", status, said)
	}
	if status, said := command("restore", "--key", elsewhere, "--data", to, "--log-level", "error", folder); status != 0 || !strings.Contains(said, "all agrees") {
		t.Errorf("restore: status %d: %s", status, said)
	}

	// A new key takes the old one's place, which opens nothing any more.
	there := storage{Data: to}
	before, err := readSealKey(there.sealKeyPath())
	if err != nil {
		t.Fatal(err)
	}
	if status, said := command("rekey", "--data", to, "--log-level", "error"); status != 0 || !strings.Contains(said, "1 draw is sealed under a new key") {
		t.Errorf("rekey: status %d: %s", status, said)
	}
	if status, said := command("check", "--data", to, "--log-level", "error"); status != 0 || strings.Contains(said, "draws=") {
		t.Errorf("check with the new key: status %d: %s", status, said)
	}
	kept, err := filepath.Glob(there.sealKeyPath() + ".before-*")
	if err != nil || len(kept) != 1 {
		t.Fatalf("the old key is kept as %v, %v", kept, err)
	}
	if old, err := readSealKey(kept[0]); err != nil || old != before {
		t.Errorf("the old key is not the one that is kept: %v", err)
	}
	if status, said := command("rekey", "--data", to, "--seal-key-file", kept[0], "--log-level", "error"); status != exitData || !strings.Contains(said, "nothing was changed") {
		t.Errorf("rekey with the old key: status %d: %s", status, said)
	}
	if status, said := command("check", "--data", to, "--log-level", "error"); status != 0 || strings.Contains(said, "draws=") {
		t.Errorf("check after a refused rekey: status %d: %s", status, said)
	}

	// The first server has lost its key.
	if status, said := command("check", "--data", where.Data, "--log-level", "error"); status != exitData || !strings.Contains(said, "1 running draw is sealed under it") {
		t.Errorf("start without the key: status %d: %s", status, said)
	}
	if _, err := os.Stat(where.sealKeyPath()); !os.IsNotExist(err) {
		t.Errorf("a new key was made: %v", err)
	}
	wrong := keyFile(t, strings.Repeat("cd", 32))
	if status, said := command("backup", "--seal-key-file", wrong, "--data", where.Data, "--log-level", "error", filepath.Join(t.TempDir(), "b")); status != exitData || !strings.Contains(said, "is not the key of 1 running draw") {
		t.Errorf("backup with another key: status %d: %s", status, said)
	}
	if status, said := command("check", "--seal-key-file", wrong, "--data", where.Data, "--log-level", "error"); status != 0 || !strings.Contains(said, "draws=1") {
		t.Errorf("start with another key: status %d: %s; want it said in the log", status, said)
	}
}
