package main

import (
	"errors"
	"fmt"
	"os"
)

// writeOnce writes a file that must not exist yet, for its owner's eyes only, and waits for the disk.
func writeOnce(path string, content []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return fmt.Errorf("make a new file: %w", err)
	}
	_, err = f.Write(content)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return errors.Join(fmt.Errorf("write %s: %w", path, err), os.Remove(path))
	}
	return nil
}

// syncPath waits until a file or the names in a folder are on disk. Systems that cannot do so for folders say so, which
// is no failure.
func syncPath(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	err = f.Sync()
	if info, statErr := f.Stat(); statErr == nil && info.IsDir() {
		err = nil
	}
	return errors.Join(err, f.Close())
}
