package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"evenrig/db"
	"evenrig/db/private"
	"evenrig/service/conduct"
)

// restoreCommand puts a backup into an empty database.
type restoreCommand struct {
	storage
	Key    string `placeholder:"FILE" help:"The backup's seal.key, where it was moved elsewhere."`
	Folder string `arg:"" placeholder:"FOLDER" help:"The backup's folder."`
}

// Run restores, then proves what it can: the tables are the backup's row for row, every ledger chain, checkpoint and count
// agrees, and analyses give the stored bytes again. Nothing that exists is ever overwritten.
func (c *restoreCommand) Run(s streams) (err error) {
	if err := c.check(); err != nil {
		return usageError{err}
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	m, err := readManifest(c.Folder)
	if err != nil {
		return err
	}
	latest, err := db.LatestVersion()
	if err != nil {
		return err
	}
	if m.SchemaVersion > latest {
		return fmt.Errorf("the backup was made by a newer program (%s, schema version %d; this one knows %d): restore it with that program", m.ProgramVersion, m.SchemaVersion, latest)
	}
	key, place, err := c.findKey(m)
	if err != nil {
		return err
	}
	log := c.log(s)
	d, err := c.ownDatabase(ctx, log)
	if err != nil {
		return err
	}
	err = c.load(ctx, d.url, m)
	if err = errors.Join(err, d.close()); err != nil {
		return err
	}
	if place != "" {
		if err := writeSealKey(place, key); err != nil {
			return fmt.Errorf("the records are restored, the key is not; copy the backup's seal.key to %s by hand: %w", place, err)
		}
	}
	fmt.Fprintf(s.out, "restored %s and %s of %s, row for row\n", plural(m.Trials, "trial", "trials"), plural(int(m.rows()), "row", "rows"), m.MadeAt.Format(time.RFC3339))
	p, err := c.assemble(ctx, c.ownDatabase, log, time.Now)
	if err != nil {
		return fmt.Errorf("the records are restored, but cannot be worked with: %w", err)
	}
	return errors.Join(prove(ctx, p.service, s.out), p.close())
}

// findKey returns the backup's key and where it has to be written, "" when it is in its place already.
func (c *restoreCommand) findKey(m manifest) (key conduct.SealKey, place string, err error) {
	place = c.sealKeyPath()
	key, err = readSealKey(place)
	if err == nil {
		if key.Fingerprint() != m.SealKey.Fingerprint {
			return key, "", fmt.Errorf("%s is another key than the backup's, and is never overwritten: move it away, or name another file by EVENRIG_SEAL_KEY_FILE (--seal-key-file)", place)
		}
		return key, "", nil
	}
	if !errors.Is(err, os.ErrNotExist) {
		return key, "", err
	}
	from := c.Key
	switch {
	case from == "" && m.SealKey.Included:
		from = filepath.Join(c.Folder, sealKeyFile)
	case from == "":
		return key, "", usageError{fmt.Errorf("the key that seals draws is not in the backup: name its file with --key, or put it into %s", place)}
	}
	if key, err = readSealKey(from); err != nil {
		return key, "", fmt.Errorf("the backup's key: %w", err)
	}
	if key.Fingerprint() != m.SealKey.Fingerprint {
		return key, "", fmt.Errorf("%s is another key than the backup's", from)
	}
	return key, place, nil
}

// load fills the empty database and compares it with the manifest.
func (c *restoreCommand) load(ctx context.Context, url string, m manifest) error {
	major, err := db.Empty(ctx, url)
	if err != nil {
		return fmt.Errorf("a backup is restored only into an empty database: choose a new data folder (EVENRIG_DATA, --data) or make a new database; nothing was changed: %w", err)
	}
	if major < m.PostgreSQL {
		return fmt.Errorf("the backup was made from PostgreSQL %d, this server is version %d: restore into version %d or newer", m.PostgreSQL, major, m.PostgreSQL)
	}
	program, err := private.Program(ctx, "pg_restore", major)
	if err != nil {
		return err
	}
	if err := db.Load(ctx, program, url, filepath.Join(c.Folder, recordsFile)); err != nil {
		return fmt.Errorf("nothing was restored: %w", err)
	}
	got, err := db.ContentsOf(ctx, url)
	if err != nil {
		return err
	}
	if found := m.differences(got); len(found) > 0 {
		return fmt.Errorf("what was restored is not what was backed up: %s", strings.Join(found, "; "))
	}
	return nil
}

// prove checks the records and computes analyses once more, and fails when anything does not agree.
func prove(ctx context.Context, service *conduct.Service, out io.Writer) error {
	checked, err := service.Check(ctx)
	if err != nil {
		return err
	}
	err = printChecked(out, checked)
	again, recomputeErr := service.Recompute(ctx)
	if err = errors.Join(err, recomputeErr); err != nil {
		return err
	}
	for _, a := range again {
		switch {
		case a.Same:
			fmt.Fprintf(out, "trial %s: analysis %d computed again, equal byte for byte\n", a.TrialID, a.N)
		case a.Program != programVersion():
			fmt.Fprintf(out, "trial %s: analysis %d was computed by version %s; this one gives other bytes, which is allowed; the stored result is what counts\n", a.TrialID, a.N, a.Program)
		default:
			err = errors.Join(err, fmt.Errorf("trial %s: analysis %d gives another result than the stored one", a.TrialID, a.N))
		}
	}
	return err
}
