package db

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/golang-migrate/migrate/v4/database"
	"github.com/jackc/pgx/v5/pgconn"
)

// wholeSteps takes each step of the schema and marks it as taken in one transaction, so that a step that is broken off, by a
// full disk or a kill, was never begun: who calls again goes on from there. Where the driver alone would mark a step as begun,
// take it and mark it as done, a step that was broken off would have to be repaired by hand.
type wholeSteps struct {
	database.Driver
	ctx     context.Context //nolint:containedctx // the interface takes none
	version int             // to which the next step leads
}

// A step that changes a table waits for whoever is reading it, and everybody else waits behind the step. So it waits no longer than
// lockPatience, then lets them through for lockPause, and gives up after lockTries.
const (
	lockPatience = "1s"
	lockPause    = 3 * time.Second
	lockTries    = 40
)

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
	begin, mark := "SET LOCAL lock_timeout = '"+lockPatience+"';\n", "\n;TRUNCATE schema_migrations"
	if w.version >= 0 {
		mark += fmt.Sprintf("; INSERT INTO schema_migrations (version, dirty) VALUES (%d, false)", w.version)
	}
	for try := 1; ; try++ {
		err = w.Driver.Run(strings.NewReader(begin + string(statements) + mark))
		if !locked(err) || try == lockTries {
			break
		}
		select {
		case <-w.ctx.Done():
			return w.ctx.Err()
		case <-time.After(lockPause):
		}
	}
	if failed, ok := errors.AsType[database.Error](err); ok && isFull(failed.OrigErr) {
		return translate(failed.OrigErr)
	}
	return err
}

// locked reports whether a step did not get a lock in time.
func locked(err error) bool {
	failed, ok := errors.AsType[database.Error](err)
	if !ok {
		return false
	}
	pgErr, ok := errors.AsType[*pgconn.PgError](failed.OrigErr)
	return ok && pgErr.Code == lockNotAvailable
}
