package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"

	"evenrig/db"
	"evenrig/db/private"
	"evenrig/service/conduct"
)

// backupCommand copies everything that must not be lost into a new folder.
type backupCommand struct {
	storage
	WithoutKey bool   `name:"without-key" help:"Leave the key that seals draws out; for copies that go where a copy of the database must not lie beside it."`
	Folder     string `arg:"" placeholder:"FOLDER" help:"Folder to make; it must not exist yet."`
}

const readMe = `This is a backup of evenrig's records: people's names, e-mail addresses and password digests,
notes and places, and every fish. Treat it as you treat the members' list.

  records.dump   the database, in pg_dump's own format
  manifest.json  what the database held, and checksums
  seal.key       the key that opens the sealed draws (unless it was left out)

MOVE seal.key ELSEWHERE, to a place that other people keep, before this folder leaves your hands.
Whoever holds both files can work out arrangements that nobody has fished yet; with records.dump
alone that cannot be done. But do not lose it: without it a running trial cannot go on, and its
draw can never be shown to have been fair. Print it on paper if you like: it is one line.

To put it back, on a machine with an empty database:

  evenrig restore THIS-FOLDER
  evenrig restore --key FILE THIS-FOLDER      where seal.key was moved elsewhere

Forgetting a person in the database does not reach into backups: delete old ones when their time is over.
`

// Run makes the backup beside its place and moves it there when it is whole. The service may go on running.
func (c *backupCommand) Run(s streams) (err error) {
	if err := c.check(); err != nil {
		return usageError{err}
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	folder := filepath.Clean(c.Folder)
	if _, err := os.Lstat(folder); !errors.Is(err, os.ErrNotExist) {
		return usageError{fmt.Errorf("%s is there already, and a backup never overwrites anything; accepted: a folder that does not exist", folder)}
	}
	key, err := readSealKey(c.sealKeyPath())
	if errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("there is no key that seals draws, so either the settings name the wrong data folder or the service has never run: %w", err)
	}
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(folder), 0o700); err != nil {
		return fmt.Errorf("make the folder above the backup: %w", err)
	}
	making, err := os.MkdirTemp(filepath.Dir(folder), filepath.Base(folder)+".unfinished-*") // mode 0700
	if err != nil {
		return fmt.Errorf("make the backup's folder: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(making))
		}
	}()
	m, err := c.fill(ctx, s, making, key)
	if err != nil {
		return err
	}
	// Both renames of one process and of two: an existing empty folder would be replaced, one with files is not.
	if _, err := os.Lstat(folder); !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("%s was made by somebody else meanwhile; nothing was overwritten", folder)
	}
	if err := os.Rename(making, folder); err != nil {
		return fmt.Errorf("put the backup in its place: %w", err)
	}
	if err := syncPath(filepath.Dir(folder)); err != nil {
		return fmt.Errorf("put the backup in its place: %w", err)
	}
	fmt.Fprintf(s.out, "%s holds %s and %s, schema version %d\n", folder, plural(m.Trials, "trial", "trials"), plural(int(m.rows()), "row", "rows"), m.SchemaVersion)
	if m.SealKey.Included {
		fmt.Fprintf(s.out, "Move %s elsewhere: who holds it beside the records can work out what is still to be drawn. %s says more.\n", filepath.Join(folder, sealKeyFile), readMeFile)
	} else {
		fmt.Fprintf(s.out, "The key that seals draws is not in it: keep a copy of %s elsewhere.\n", c.sealKeyPath())
	}
	return nil
}

// fill writes the backup's files into the folder and proves that they can be read.
func (c *backupCommand) fill(ctx context.Context, s streams, folder string, key conduct.SealKey) (m manifest, err error) {
	d, err := c.anyDatabase(ctx, c.log(s))
	if err != nil {
		return m, err
	}
	defer func() { err = errors.Join(err, d.close()) }()
	snapshot, err := db.OpenSnapshot(ctx, d.url)
	if err != nil {
		return m, err
	}
	defer func() { err = errors.Join(err, snapshot.Close(ctx)) }()
	contents, err := snapshot.Contents(ctx)
	if err != nil {
		return m, err
	}
	if contents.SchemaVersion == 0 {
		return m, errors.New("the database holds nothing of evenrig's yet; start the service once, or look whether the settings name the right database")
	}
	seeds, err := snapshot.Seeds(ctx)
	if err != nil {
		return m, err
	}
	if strange := unopened(key, seeds); strange > 0 {
		return m, fmt.Errorf("%s is not the key of %s: with it the backup would be of no use to those trials. Name the right key by EVENRIG_SEAL_KEY_FILE (--seal-key-file)",
			c.sealKeyPath(), plural(strange, "running draw", "running draws"))
	}
	m = manifest{Format: backupFormat, MadeAt: time.Now().UTC().Truncate(time.Second), ProgramVersion: programVersion()}
	m.describe(contents)
	m.SealKey = keyInBackup{Fingerprint: key.Fingerprint(), Included: !c.WithoutKey}
	if err := dump(ctx, snapshot, contents.ServerMajor, d.url, filepath.Join(folder, recordsFile)); err != nil {
		return m, err
	}
	if err := m.addFile(folder, recordsFile); err != nil {
		return m, err
	}
	if m.SealKey.Included {
		if err := writeSealKey(filepath.Join(folder, sealKeyFile), key); err != nil {
			return m, err
		}
		if err := m.addFile(folder, sealKeyFile); err != nil {
			return m, err
		}
	}
	text, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return m, err
	}
	return m, errors.Join(writeOnce(filepath.Join(folder, readMeFile), []byte(readMe)), writeOnce(filepath.Join(folder, manifestFile), append(text, '\n')), syncPath(folder))
}

// dump copies the snapshot into a file and reads it once from end to end.
func dump(ctx context.Context, snapshot *db.Snapshot, major int, url, file string) error {
	program, err := private.Program(ctx, "pg_dump", major)
	if err != nil {
		return err
	}
	reader, err := private.Program(ctx, "pg_restore", major)
	if err != nil {
		return err
	}
	if err := writeOnce(file, nil); err != nil { // so that only its owner may read it
		return err
	}
	if err := snapshot.Dump(ctx, program, url, file); err != nil {
		return fmt.Errorf("copy the database: %w", err)
	}
	if err := syncPath(file); err != nil {
		return fmt.Errorf("copy the database: %w", err)
	}
	if err := db.CheckDump(ctx, reader, file); err != nil {
		return fmt.Errorf("the copy of the database cannot be read: %w", err)
	}
	return nil
}
