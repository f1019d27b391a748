package db

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/golang-migrate/migrate/v4/database"
)

// wholeSteps takes each step of the schema and marks it as taken in one transaction, so that a step that is broken off, by a
// full disk or a kill, was never begun: who calls again goes on from there. Where the driver alone would mark a step as begun,
// take it and mark it as done, a step that was broken off would have to be repaired by hand.
type wholeSteps struct {
	database.Driver
	version int // to which the next step leads
}

// SetVersion implements database.Driver. dirty says that a step is about to be run, for Run to mark.
func (w *wholeSteps) SetVersion(version int, dirty bool) error {
	w.version = version
	if dirty {
		return nil
	}
	return w.Driver.SetVersion(version, false)
}

// Run implements database.Driver. Statements sent as one text without parameters are one transaction (PostgreSQL's manual, "Multiple
// Statements in a Simple Query").
func (w *wholeSteps) Run(step io.Reader) error {
	statements, err := io.ReadAll(step)
	if err != nil {
		return fmt.Errorf("read a step: %w", err)
	}
	mark := "\n;TRUNCATE schema_migrations"
	if w.version >= 0 {
		mark += fmt.Sprintf("; INSERT INTO schema_migrations (version, dirty) VALUES (%d, false)", w.version)
	}
	err = w.Driver.Run(strings.NewReader(string(statements) + mark))
	if failed, ok := errors.AsType[database.Error](err); ok && isFull(failed.OrigErr) {
		return translate(failed.OrigErr)
	}
	return err
}
