package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"evenrig/db"
	"evenrig/db/private"
	"evenrig/service/conduct"
)

// database is where the records are, for as long as a command runs.
type database struct {
	url     string
	cluster *private.Cluster // nil when the server is somebody else's
}

// openDatabase returns the database that the settings name: a given server, the private cluster that a running service
// already owns, or the private cluster, started for this command.
func (c storage) openDatabase(ctx context.Context, log *slog.Logger) (*database, error) {
	if c.DatabaseURL != "" {
		return &database{url: c.DatabaseURL}, nil
	}
	url, err := private.Attach(c.Data, private.Database)
	if err == nil {
		return &database{url: url}, nil
	}
	if !errors.Is(err, private.ErrNotRunning) {
		return nil, err
	}
	cluster, err := private.Start(ctx, c.Data, log)
	if err != nil {
		return nil, err
	}
	return &database{url: cluster.URL(private.Database), cluster: cluster}, nil
}

// close stops the cluster if this command started it.
func (d *database) close() error {
	if d.cluster == nil {
		return nil
	}
	return d.cluster.Stop()
}

// died is closed when a cluster that this command started ends by itself; it never is for another server.
func (d *database) died() <-chan struct{} {
	if d.cluster == nil {
		return nil
	}
	return d.cluster.Done()
}

// parts are the program's parts, put together.
type parts struct {
	database *database
	store    *db.Store
	service  *conduct.Service
}

// assemble opens the database, brings its schema up when migrate says so, and puts the use cases on it.
func (c storage) assemble(ctx context.Context, log *slog.Logger, clock func() time.Time) (_ *parts, err error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	p := &parts{}
	defer func() {
		if err != nil {
			err = errors.Join(err, p.close())
		}
	}()
	if p.database, err = c.openDatabase(ctx, log); err != nil {
		return nil, err
	}
	key, err := c.sealKey()
	if err != nil {
		return nil, err
	}
	if err := db.MigrateUp(ctx, p.database.url); err != nil {
		return nil, fmt.Errorf("bring the database's schema up: %w", err)
	}
	if p.store, err = db.Open(ctx, p.database.url, log); err != nil {
		return nil, err
	}
	p.service = conduct.New(p.store, conduct.Options{Clock: clock, Random: rand.Reader, Key: key, Log: log, Program: programVersion()})
	return p, nil
}

// close takes the parts apart in reverse order.
func (p *parts) close() error {
	if p.service != nil {
		p.service.Close()
	}
	if p.store != nil {
		p.store.Close()
	}
	if p.database != nil {
		return p.database.close()
	}
	return nil
}
