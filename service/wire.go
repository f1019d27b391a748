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

// ownDatabase returns the database that the settings name: a given server, or the private cluster, started for this
// command. It fails when another process owns the cluster.
func (c storage) ownDatabase(ctx context.Context, log *slog.Logger) (*database, error) {
	if c.DatabaseURL != "" {
		return &database{url: c.DatabaseURL}, nil
	}
	cluster, err := private.Start(ctx, c.Data, log)
	if err != nil {
		return nil, err
	}
	return &database{url: cluster.URL(private.Database), cluster: cluster}, nil
}

// anyDatabase is ownDatabase for a command that may work beside the service that owns the cluster.
func (c storage) anyDatabase(ctx context.Context, log *slog.Logger) (*database, error) {
	if c.DatabaseURL == "" {
		url, err := private.Attach(c.Data, private.Database)
		if err == nil {
			return &database{url: url}, nil
		}
		if !errors.Is(err, private.ErrNotRunning) {
			return nil, err
		}
	}
	return c.ownDatabase(ctx, log)
}

// openFunc is ownDatabase or anyDatabase.
type openFunc func(ctx context.Context, log *slog.Logger) (*database, error)

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

// assemble opens the database, brings its schema up, and puts the use cases on it. The settings have been checked.
func (c storage) assemble(ctx context.Context, open openFunc, log *slog.Logger, clock func() time.Time) (_ *parts, err error) {
	p := &parts{}
	defer func() {
		if err != nil {
			err = errors.Join(err, p.close())
		}
	}()
	if p.database, err = open(ctx, log); err != nil {
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
	p.service = conduct.New(p.store, conduct.Options{Clock: clock, Random: rand.Reader, Key: key, Program: programVersion()})
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
