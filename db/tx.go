package db

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/riverqueue/river"

	"evenrig/service/trial"
)

// readTx is one transaction as trial sees it for reading.
type readTx struct{ tx pgx.Tx }

// writeTx is one transaction as trial sees it for reading and writing.
type writeTx struct {
	readTx
	queue *river.Client[pgx.Tx]
}

var (
	_ trial.ReadTx = readTx{}
	_ trial.Tx     = writeTx{}
)

// attempts is how often a transaction is tried that others keep getting in the way of.
const attempts = 4

// InTx implements trial.Store.
func (s *Store) InTx(ctx context.Context, do func(ctx context.Context, tx trial.Tx) error) error {
	return s.again(ctx, isRetryable, func() error {
		return once(ctx, s.pool, beginWrite+s.settings, func(tx pgx.Tx) error { return do(ctx, writeTx{readTx{tx}, s.queue}) })
	})
}

// InReadTx implements trial.Store.
func (s *Store) InReadTx(ctx context.Context, do func(ctx context.Context, tx trial.ReadTx) error) error {
	return s.again(ctx, isRetryable, func() error {
		return once(ctx, s.pool, beginRead+s.settings, func(tx pgx.Tx) error { return do(ctx, readTx{tx}) })
	})
}

// How transactions begin; each ends the statement, so that settings may follow in the same message.
const (
	beginWrite = `BEGIN ISOLATION LEVEL READ COMMITTED;`
	beginRead  = `BEGIN ISOLATION LEVEL REPEATABLE READ, READ ONLY;`
)

// again runs a transaction, anew as long as it fails in a way that retry accepts and ctx lasts.
func (s *Store) again(ctx context.Context, retry func(error) bool, transaction func() error) error {
	for attempt := 1; ; attempt++ {
		err := transaction()
		if err == nil {
			return nil
		}
		if !retry(err) || attempt == attempts {
			s.noteRoom(err)
			return translate(err)
		}
		select {
		case <-ctx.Done():
			return translate(ctx.Err())
		case <-time.After(backoff(attempt)):
		}
	}
}

// backoff is how long to wait after a failed attempt: 5 to 10 ms, then twice and four times that, so that two that met
// do not meet again.
func backoff(attempt int) time.Duration {
	base := 5 * time.Millisecond << (attempt - 1)
	return base + rand.N(base)
}

// beginner is a pool or a connection.
type beginner interface {
	BeginTx(ctx context.Context, options pgx.TxOptions) (pgx.Tx, error)
}

// once runs do in a transaction that begins with the given statements, and commits it.
func once(ctx context.Context, on beginner, begin string, do func(pgx.Tx) error) (err error) {
	tx, err := on.BeginTx(ctx, pgx.TxOptions{BeginQuery: begin})
	if err != nil {
		return fmt.Errorf("begin transaction: %w", err)
	}
	defer func() {
		// Also when do panics. After a commit there is nothing left to roll back; a connection that cannot roll back is
		// thrown away, which rolls back too.
		if rollbackErr := tx.Rollback(context.WithoutCancel(ctx)); rollbackErr != nil && !errors.Is(rollbackErr, pgx.ErrTxClosed) {
			err = errors.Join(err, rollbackErr)
		}
	}()
	if err := do(tx); err != nil {
		return err
	}
	if err := tx.Commit(ctx); err != nil {
		return fmt.Errorf("commit: %w", err)
	}
	return nil
}

// one returns the record that a statement finds, or Missing.
func one[T any](ctx context.Context, tx pgx.Tx, what, sql string, args pgx.StrictNamedArgs, row pgx.RowToFunc[T]) (T, error) {
	var none T
	rows, err := tx.Query(ctx, sql, args)
	if err != nil {
		return none, fmt.Errorf("read %s: %w", what, translate(err))
	}
	record, err := pgx.CollectExactlyOneRow(rows, row)
	if err != nil {
		return none, fmt.Errorf("read %s: %w", what, missing(err, what))
	}
	return record, nil
}

// list returns the records that a statement finds.
func list[T any](ctx context.Context, tx pgx.Tx, what, sql string, args pgx.StrictNamedArgs, row pgx.RowToFunc[T]) ([]T, error) {
	rows, err := tx.Query(ctx, sql, args)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", what, translate(err))
	}
	records, err := pgx.CollectRows(rows, row)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", what, translate(err))
	}
	return records, nil
}

// each hands out the records that a statement finds, one by one as they come, until do fails.
func each[T any](ctx context.Context, tx pgx.Tx, what, sql string, args pgx.StrictNamedArgs, row pgx.RowToFunc[T], do func(T) error) error {
	rows, err := tx.Query(ctx, sql, args)
	if err != nil {
		return fmt.Errorf("read %s: %w", what, translate(err))
	}
	defer rows.Close()
	for rows.Next() {
		record, err := row(rows)
		if err != nil {
			return fmt.Errorf("read %s: %w", what, translate(err))
		}
		if err := do(record); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("read %s: %w", what, translate(err))
	}
	return nil
}

// recordRow is a row whose columns are not those of its record one by one.
type recordRow[T any] interface{ record() T }

// through reads a row as an R and turns it into the record. R embeds the record and adds what the record lacks; a
// field of the record without a column is left to R's method.
func through[R recordRow[T], T any](row pgx.CollectableRow) (T, error) {
	r, err := pgx.RowToStructByNameLax[R](row)
	return r.record(), err
}

// throughMany is through for the many rows of one answer: which field takes which column is found once.
func throughMany[R recordRow[T], T any]() pgx.RowToFunc[T] {
	r := new(R)
	var fields []any
	return func(row pgx.CollectableRow) (none T, err error) {
		if fields == nil {
			if fields, err = fieldsOf(reflect.ValueOf(r).Elem(), row.FieldDescriptions()); err != nil {
				return none, err
			}
		}
		*r = *new(R)
		if err := row.Scan(fields...); err != nil {
			return none, err
		}
		return (*r).record(), nil
	}
}

// fieldsOf returns pointers to the fields of a struct whose names are those of the columns but for case and underscores.
func fieldsOf(of reflect.Value, columns []pgconn.FieldDescription) ([]any, error) {
	visible := reflect.VisibleFields(of.Type())
	fields := make([]any, len(columns))
	for i, column := range columns {
		name := strings.ReplaceAll(column.Name, "_", "")
		at := slices.IndexFunc(visible, func(f reflect.StructField) bool { return !f.Anonymous && strings.EqualFold(f.Name, name) })
		if at < 0 {
			return nil, fmt.Errorf("column %s has no field in %v", column.Name, of.Type())
		}
		fields[i] = of.FieldByIndex(visible[at].Index).Addr().Interface()
	}
	return fields, nil
}

// exec runs a statement and returns how many rows it changed. what says what it does, for errors.
func exec(ctx context.Context, tx pgx.Tx, what, sql string, args pgx.StrictNamedArgs) (int64, error) {
	tag, err := tx.Exec(ctx, sql, args)
	if err != nil {
		return 0, fmt.Errorf("%s: %w", what, translate(err))
	}
	return tag.RowsAffected(), nil
}

// insert runs a statement that adds a record.
func insert(ctx context.Context, tx pgx.Tx, what, sql string, args pgx.StrictNamedArgs) error {
	_, err := exec(ctx, tx, "insert "+what, sql, args)
	return err
}

// update runs a statement that changes one record, Missing when there is none.
func update(ctx context.Context, tx pgx.Tx, what, sql string, args pgx.StrictNamedArgs) error {
	n, err := exec(ctx, tx, "update "+what, sql, args)
	if err == nil && n == 0 {
		return trial.Missing(what)
	}
	return err
}
