package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"evenrig/service/exchange"
)

// tableFile is a catch table that is read as often as wanted until it is closed.
type tableFile struct {
	exchange.File
	close func() error
}

// openTable opens the table at a path. What cannot be read twice, like a pipe, is kept first.
func openTable(path string) (tableFile, error) {
	file, err := os.Open(path)
	if err != nil {
		return tableFile{}, fmt.Errorf("the catch table cannot be opened: %w", err)
	}
	about, err := file.Stat()
	switch {
	case err != nil:
		return tableFile{}, errors.Join(fmt.Errorf("the catch table cannot be opened: %w", err), file.Close())
	case about.Mode().IsRegular() || about.IsDir():
		return tableFile{io.NewSectionReader(file, 0, about.Size()), file.Close}, nil
	}
	kept, err := keepTable(file)
	if closeErr := file.Close(); err == nil && closeErr != nil {
		return tableFile{}, errors.Join(closeErr, kept.close())
	}
	return kept, err
}

// keepTable keeps a table that comes in a stream in a temporary file, which goes when it is closed.
func keepTable(stream io.Reader) (tableFile, error) {
	file, err := os.CreateTemp("", "evenrig-")
	if err != nil {
		return tableFile{}, fmt.Errorf("the catch table cannot be kept: %w", err)
	}
	remove := func() error { return errors.Join(file.Close(), os.Remove(file.Name())) }
	size, err := io.Copy(file, stream)
	if err != nil {
		return tableFile{}, errors.Join(fmt.Errorf("the catch table cannot be kept: %w", err), remove())
	}
	return tableFile{io.NewSectionReader(file, 0, size), remove}, nil
}
