package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"evenrig/service/exchange"
	"evenrig/service/report"
)

// openKit returns the kit in the folder at path; nil where path is no folder.
func openKit(path string) (*exchange.Kit, error) {
	info, err := os.Stat(path)
	if err != nil || !info.IsDir() {
		return nil, nil // whoever opens the file says what is wrong with it
	}
	kit, err := exchange.ReadKit(os.DirFS(path))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%s is a folder without %s; accepted: a catch table, or a folder that `evenrig kit` made", path, exchange.KitRules)
	case err != nil:
		return nil, fmt.Errorf("%s: %w", path, plain(err))
	}
	return &kit, nil
}

// useKit takes the place of the flags that a kit's rule sheet answers, and refuses those that were given all the same.
func (c *analyseCommand) useKit() error {
	for flag, given := range map[string]string{"--test": c.Test, "--control": c.Control, "--lower-word": c.LowerWord, "--upper-word": c.UpperWord} {
		if given != "" {
			return usageError{fmt.Errorf("%s is given, but %s is a kit, whose rule sheet says it; accepted: without it", flag, c.File)}
		}
	}
	if out, err := filepath.Abs(c.Out); c.Out != "" && err == nil {
		if folder, err := filepath.Abs(c.File); err == nil && out == folder {
			return usageError{fmt.Errorf("--out is the kit's own folder, whose %s it would write over; accepted: another folder", exchange.KitCatches)}
		}
	}
	return nil
}

// aboutKit is what the report says of a kit beside its fish.
func aboutKit(k exchange.Kit, slips int) report.About {
	about := report.About{Protocol: &k.Protocol}
	if fingerprint, err := k.Fingerprint(); err == nil {
		about.ProtocolFingerprint = fingerprint.String()
	}
	if k.Draw != nil {
		about.Draw = report.Draw{Commitment: k.Commitment.String(), Seed: fmt.Sprintf("%x", k.Draw.Seed), UnitsByPaper: int64(slips)}
	}
	return about
}
