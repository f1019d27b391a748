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
	url     string           // of the server itself
	pooler  string           // that stands before it, empty when none does
	cluster *private.Cluster // nil when the server is somebody else's
}

// ownDatabase returns the database that the settings name: a given server, or the private cluster, started for this
// command. It fails when another process owns the cluster.
func (c storage) ownDatabase(ctx context.Context, log *slog.Logger) (*database, error) {
	if c.DatabaseURL != "" {
		if c.DirectDatabaseURL != "" {
			return &database{url: c.DirectDatabaseURL, pooler: c.DatabaseURL}, nil
		}
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

// store opens the database for the use cases.
func (d *database) store(ctx context.Context, replica string, log *slog.Logger) (*db.Store, error) {
	if d.pooler == "" {
		return db.Open(ctx, d.url, log, db.Replica(replica))
	}
	return db.Open(ctx, d.pooler, log, db.Direct(d.url), db.Replica(replica))
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
	metrics  *metrics
	tracing  *tracing // nil when no collector is named
	data     string   // folder
}

// assemble opens the database, brings its schema up, and puts the use cases on it. The settings have been checked.
func (c storage) assemble(ctx context.Context, open openFunc, log *slog.Logger, clock func() time.Time) (_ *parts, err error) {
	p := &parts{metrics: newMetrics(), data: c.Data}
	defer func() {
		if errors.Is(err, db.ErrPooler) {
			err = fmt.Errorf("%w; name the server itself by EVENRIG_DIRECT_DATABASE_URL (--direct-database-url)", err)
		}
		if err != nil {
			err = errors.Join(err, p.close())
		}
	}()
	if p.tracing, err = openTracing(ctx, log); err != nil {
		return nil, err
	}
	if p.database, err = open(ctx, log); err != nil {
		return nil, err
	}
	if err := db.MigrateUp(ctx, p.database.url); err != nil {
		return nil, fmt.Errorf("bring the database's schema up: %w", err)
	}
	if p.store, err = p.database.store(ctx, c.ReplicaDatabaseURL, log); err != nil {
		return nil, err
	}
	key, err := c.fittingKey(ctx, p.database.url, log)
	if err != nil {
		return nil, err
	}
	p.service = conduct.New(p.tracing.store(p.metrics.store(p.store)), conduct.Options{Clock: clock, Random: rand.Reader, Key: key, Program: programVersion(), Stepped: p.metrics.step})
	p.metrics.asked(p.store, p.service)
	return p, nil
}

// fittingKey returns the key that seals draws. It makes none while there are draws that another one sealed, and says so in
// the log when the one that is there does not open them.
func (c storage) fittingKey(ctx context.Context, url string, log *slog.Logger) (key conduct.SealKey, err error) {
	snapshot, err := db.OpenSnapshot(ctx, url)
	if err != nil {
		return key, err
	}
	defer func() { err = errors.Join(err, snapshot.Close(ctx)) }()
	seeds, err := snapshot.Seeds(ctx)
	if err != nil {
		return key, err
	}
	key, err = c.sealKey(func() error {
		if len(seeds) == 0 {
			return nil
		}
		return fmt.Errorf("the key that seals draws is missing: %s does not exist, and %s sealed under it. Put the file back from where a copy is kept, or name it by "+
			"EVENRIG_SEAL_KEY_FILE (--seal-key-file). If it is lost for good, those draws cannot go on or be revealed; to go on with the rest, "+
			"put 64 random hexadecimal digits into a file of that name", c.sealKeyPath(), plural(len(seeds), "running draw is", "running draws are"))
	})
	if err != nil {
		return key, err
	}
	if strange := unopened(key, seeds); strange > 0 {
		log.Error("the key that seals draws is another than the one that running draws were sealed under; these trials can hand out no units until the right key is back",
			"file", c.sealKeyPath(), "draws", strange)
	}
	return key, nil
}

// unopened counts the seeds that the key does not open.
func unopened(key conduct.SealKey, seeds []db.SealedSeed) (n int) {
	for _, s := range seeds {
		if !key.Opens(s.ID, s.SealedSeed) {
			n++
		}
	}
	return n
}

// close takes the parts apart in reverse order.
func (p *parts) close() error {
	if p.service != nil {
		p.service.Close()
	}
	if p.store != nil {
		p.store.Close()
	}
	p.tracing.close()
	if p.database != nil {
		return p.database.close()
	}
	return nil
}
