package conduct

import (
	"bufio"
	"encoding/gob"
	"errors"
	"fmt"
	"io"
	"os"

	"evenrig/service/exchange"
)

// spool keeps the records of a trial's anglers in a temporary file, so that they are read from the database once, within one
// snapshot, and then as often as a package's tables want them, one angler in memory at a time. The file is gone when the process
// ends, however it does: it has no name any more. It is written in the Go library's binary form, since it is read some ten times:
// no pointer in the records is to a plain number, which that form would lose where it is 0.
type spool struct {
	file    *os.File
	out     *bufio.Writer
	records *gob.Encoder
}

func newSpool() (*spool, error) {
	file, err := unnamedFile()
	if err != nil {
		return nil, err
	}
	out := bufio.NewWriterSize(file, 1<<16)
	return &spool{file, out, gob.NewEncoder(out)}, nil
}

// unnamedFile makes a temporary file and takes its name away.
func unnamedFile() (*os.File, error) {
	file, err := os.CreateTemp("", "evenrig-")
	if err != nil {
		return nil, fmt.Errorf("make a temporary file: %w", err)
	}
	if err := os.Remove(file.Name()); err != nil {
		return nil, errors.Join(fmt.Errorf("make a temporary file: %w", err), file.Close())
	}
	return file, nil
}

func (s *spool) close() error { return s.file.Close() }

// add writes an angler's records behind those that are there.
func (s *spool) add(a exchange.SourceAngler) error {
	if err := s.records.Encode(a); err != nil {
		return fmt.Errorf("keep an angler's records: %w", err)
	}
	return nil
}

// anglers reads what was added, from the start each time it is run; nothing may be added any more.
func (s *spool) anglers() (exchange.Rows[exchange.SourceAngler], error) {
	if err := s.out.Flush(); err != nil {
		return nil, fmt.Errorf("keep the anglers' records: %w", err)
	}
	size, err := s.file.Seek(0, io.SeekEnd)
	if err != nil {
		return nil, fmt.Errorf("keep the anglers' records: %w", err)
	}
	return func(yield func(exchange.SourceAngler, error) bool) {
		records := gob.NewDecoder(bufio.NewReaderSize(io.NewSectionReader(s.file, 0, size), 1<<16))
		for {
			var a exchange.SourceAngler
			err := records.Decode(&a)
			if errors.Is(err, io.EOF) || !yield(a, err) || err != nil {
				return
			}
		}
	}, nil
}
