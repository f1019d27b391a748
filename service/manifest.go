package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"evenrig/db"
	"evenrig/service/trial"
)

// The files of a backup.
const (
	manifestFile = "manifest.json"
	recordsFile  = "records.dump"
	sealKeyFile  = "seal.key"
	readMeFile   = "READ-ME-FIRST.txt"
)

// backupFormat is the version of a backup's layout. A program reads the layouts that it knows and refuses others.
const backupFormat = 1

// manifest says what a backup holds, so that it can be told whether a copy, or what was restored from it, is whole.
type manifest struct {
	Format         int                         `json:"format"`
	MadeAt         time.Time                   `json:"made_at"`
	ProgramVersion string                      `json:"program_version"`
	SchemaVersion  uint                        `json:"schema_version"`
	PostgreSQL     int                         `json:"postgresql"` // major version of the server
	Trials         int                         `json:"trials"`
	Tables         map[string]db.TableContents `json:"tables"`
	// Checkpoints has the last one of each trial: what a clubhouse pins up can be compared with it.
	Checkpoints []lastCheckpoint `json:"checkpoints"`
	SealKey     keyInBackup      `json:"seal_key"`
	Files       []fileInBackup   `json:"files"`
}

type lastCheckpoint struct {
	Trial trial.ID     `json:"trial"`
	N     int          `json:"n"`
	Hash  trial.Digest `json:"hash"`
}

// keyInBackup says which key opens the sealed draws, and whether it is in the backup.
type keyInBackup struct {
	Fingerprint string `json:"fingerprint"`
	Included    bool   `json:"included"`
}

type fileInBackup struct {
	Name   string `json:"name"`
	Size   int64  `json:"size"`
	SHA256 string `json:"sha256"`
}

// rows adds up the rows of all tables.
func (m manifest) rows() (n int64) {
	for _, t := range m.Tables {
		n += t.Rows
	}
	return n
}

// describe fills in what a database holds.
func (m *manifest) describe(c db.Contents) {
	m.SchemaVersion, m.PostgreSQL, m.Trials, m.Tables = c.SchemaVersion, c.ServerMajor, c.Trials, c.Tables
	m.Checkpoints = []lastCheckpoint{}
	for _, last := range c.Last {
		m.Checkpoints = append(m.Checkpoints, lastCheckpoint{last.TrialID, int(last.N), last.Hash})
	}
}

// differences says where a database holds something else than the manifest says, in words.
func (m manifest) differences(c db.Contents) []string {
	var got manifest
	got.describe(c)
	var found []string
	if got.SchemaVersion != m.SchemaVersion {
		found = append(found, fmt.Sprintf("the schema is at step %d, the backup's was at step %d", got.SchemaVersion, m.SchemaVersion))
	}
	names := map[string]bool{}
	for name := range m.Tables {
		names[name] = true
	}
	for name := range got.Tables {
		names[name] = true
	}
	for _, name := range slices.Sorted(maps.Keys(names)) {
		switch want, have := m.Tables[name], got.Tables[name]; {
		case want.Rows != have.Rows:
			found = append(found, fmt.Sprintf("table %s has %d rows, the backup's had %d", name, have.Rows, want.Rows))
		case want != have:
			found = append(found, fmt.Sprintf("table %s has as many rows as the backup's, but not the same", name))
		}
	}
	if !slices.Equal(m.Checkpoints, got.Checkpoints) {
		found = append(found, "the last checkpoints are not the backup's")
	}
	return found
}

// addFile notes a file of the folder with its checksum.
func (m *manifest) addFile(folder, name string) error {
	size, sum, err := checksum(filepath.Join(folder, name))
	if err != nil {
		return err
	}
	m.Files = append(m.Files, fileInBackup{name, size, sum})
	return nil
}

func checksum(path string) (size int64, sum string, err error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, "", fmt.Errorf("read a backup: %w", err)
	}
	defer f.Close()
	h := sha256.New()
	if size, err = io.Copy(h, f); err != nil {
		return 0, "", fmt.Errorf("read %s: %w", path, err)
	}
	return size, hex.EncodeToString(h.Sum(nil)), nil
}

// readManifest reads a backup's manifest and compares its files with it: every one must be there unchanged, but for the
// key, which may have been moved elsewhere.
func readManifest(folder string) (m manifest, err error) {
	text, err := os.ReadFile(filepath.Join(folder, manifestFile))
	if errors.Is(err, os.ErrNotExist) {
		return m, fmt.Errorf("%s is no backup: it has no file %s", folder, manifestFile)
	}
	if err != nil {
		return m, fmt.Errorf("read a backup: %w", err)
	}
	var layout struct {
		Format int `json:"format"`
	}
	if err := json.Unmarshal(text, &layout); err != nil {
		return m, fmt.Errorf("%s in %s cannot be read; take another copy of the backup: %w", manifestFile, folder, err)
	}
	if layout.Format != backupFormat {
		return m, fmt.Errorf("the backup in %s has layout %d; this program reads layout %d: use the program that made it or a newer one", folder, layout.Format, backupFormat)
	}
	in := json.NewDecoder(bytes.NewReader(text))
	in.DisallowUnknownFields()
	if err := in.Decode(&m); err != nil {
		return m, fmt.Errorf("%s in %s cannot be read; take another copy of the backup: %w", manifestFile, folder, err)
	}
	hasRecords := false
	for _, f := range m.Files {
		if f.Name != recordsFile && f.Name != sealKeyFile {
			return m, fmt.Errorf("%s in %s names a file %q, which is no part of a backup", manifestFile, folder, f.Name)
		}
		hasRecords = hasRecords || f.Name == recordsFile
		size, sum, err := checksum(filepath.Join(folder, f.Name))
		if f.Name == sealKeyFile && errors.Is(err, os.ErrNotExist) {
			m.SealKey.Included = false
			continue
		}
		if err != nil {
			return m, err
		}
		if size != f.Size || sum != f.SHA256 {
			return m, fmt.Errorf("%s in %s is not the file that was written (%d bytes, SHA-256 %s; it was %d bytes, %s): take another copy of the backup", f.Name, folder, size, sum, f.Size, f.SHA256)
		}
	}
	if !hasRecords {
		return m, fmt.Errorf("%s in %s names no file %s: take another copy of the backup", manifestFile, folder, recordsFile)
	}
	return m, nil
}
