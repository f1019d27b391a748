package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"evenrig/api"
	"evenrig/db"
)

// serveCommand runs the service.
type serveCommand struct {
	storage
	listening
	administering
}

// Run serves until ^C or a polite kill, then finishes what is under way and stops.
func (c *serveCommand) Run(s streams) error {
	if err := errors.Join(c.listening.check(), c.administering.check(), c.storage.check()); err != nil {
		return usageError{err}
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	log := c.log(s)
	p, err := c.assemble(ctx, c.ownDatabase, log, time.Now)
	if err != nil {
		return err
	}
	running, err := p.start(ctx, c.listening, log)
	if err != nil {
		return errors.Join(err, p.close())
	}
	admin, err := p.openAdminPort(c.administering, log)
	if err != nil {
		return errors.Join(err, running.stop(), p.close())
	}
	if admin != nil {
		log.Info("the admin port answers", "metrics", admin.url+"/metrics")
	}
	fmt.Fprintf(s.out, "evenrig answers at %s (contract: %s/openapi.yaml); ^C stops it\n", running.url, running.url)
	if err := p.inviteFirstAdmin(ctx, s, running.url); err != nil {
		log.Warn("no link for the first admin; `service token --admin` makes one", "error", err)
	}
	select {
	case <-ctx.Done():
		log.Info("stopping")
	case err = <-running.failed:
	case <-p.database.died():
		err = errors.New("the private PostgreSQL ended by itself")
	}
	return errors.Join(err, running.stop(), admin.close(), p.close())
}

// running is the service while it answers.
type running struct {
	url    string
	server *api.Server
	jobs   *db.Jobs
	failed chan error
}

// stopTime is how long requests and jobs under way may take to finish.
const stopTime = 20 * time.Second

// start begins to answer requests and to do jobs.
func (p *parts) start(ctx context.Context, at listening, log *slog.Logger) (*running, error) {
	jobs, err := db.NewJobs(p.store, p.metrics.analysis(p.service.Analyse), p.service.EachMinute)
	if err != nil {
		return nil, err
	}
	listener, err := net.Listen("tcp", at.Listen)
	if err != nil {
		return nil, fmt.Errorf("EVENRIG_LISTEN (--listen) is %q: %w", at.Listen, err)
	}
	if err := jobs.Start(ctx); err != nil {
		return nil, errors.Join(err, listener.Close())
	}
	r := &running{jobs: jobs, url: "http://" + listener.Addr().String(), failed: make(chan error, 1)}
	r.server = api.NewServer(p.service, api.Options{
		Log: log, TrustedProxies: at.TrustedProxies, Limits: at.limits(), PublicURL: strings.TrimSuffix(at.PublicURL, "/"), Observe: p.metrics.request,
	})
	go func() { r.failed <- r.server.Serve(listener) }()
	return r, nil
}

func (r *running) stop() error {
	ctx, cancel := context.WithTimeout(context.Background(), stopTime)
	defer cancel()
	return errors.Join(r.server.Shutdown(ctx), r.jobs.Stop(ctx))
}
