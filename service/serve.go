package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/signal"
	"strings"
	"sync"
	"syscall"
	"time"

	"evenrig/api"
	"evenrig/db"
)

// serveCommand runs the service.
type serveCommand struct {
	storage
	listening
	stopping
	administering
}

// Run serves until ^C or a polite kill, then finishes what is under way and stops.
func (c *serveCommand) Run(s streams) error {
	if err := errors.Join(c.listening.check(), c.stopping.check(), c.administering.check(), c.storage.check()); err != nil {
		return usageError{err}
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	log := c.log(s)
	collectSeldom()
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
		log.Warn("no link for the first admin; `evenrig token --admin` makes one", "error", err)
	}
	select {
	case <-ctx.Done():
		stop() // a second ^C ends the program at once
		log.Info("stopping")
		p.service.Drain()
		time.Sleep(c.StopDelay)
	case err = <-running.failed:
	case <-p.database.died():
		err = errors.New("the private PostgreSQL ended by itself")
	}
	err = errors.Join(err, running.stop(), admin.close(), p.close())
	if err == nil {
		log.Info("stopped")
	}
	return err
}

// running is the service while it answers.
type running struct {
	url    string
	server *api.Server
	jobs   *db.Jobs
	failed chan error
	// redirect sends plain HTTP on to https; nil when nothing does.
	redirect *http.Server
}

// stopTime is how long requests and jobs under way may take to finish.
const stopTime = 20 * time.Second

// start begins to answer requests and to do jobs.
func (p *parts) start(ctx context.Context, at listening, log *slog.Logger) (*running, error) {
	jobs, err := db.NewJobs(p.store, p.tracing.work(p.work(log)))
	if err != nil {
		return nil, err
	}
	open, err := at.open(p.data, log)
	if err != nil {
		return nil, err
	}
	if err := jobs.Start(ctx); err != nil {
		return nil, errors.Join(err, open.close())
	}
	r := &running{jobs: jobs, url: open.url, failed: make(chan error, 2)}
	r.server = api.NewServer(p.service, api.Options{
		Log: log, TrustedProxies: at.TrustedProxies, Limits: at.limits(), PublicURL: strings.TrimSuffix(at.PublicURL, "/"), Observer: p.observer(),
		RequireTLS: true,
	})
	go func() { r.failed <- r.server.Serve(open.main) }()
	if open.plain != nil {
		r.redirect = redirectServer(open.redirect, log)
		go func() {
			if err := r.redirect.Serve(open.plain); !errors.Is(err, http.ErrServerClosed) {
				r.failed <- fmt.Errorf("serve the way to https: %w", err)
			}
		}()
	}
	return r, nil
}

// opened are the addresses that the service answers at.
type opened struct {
	url      string
	main     net.Listener
	plain    net.Listener // nil unless plain HTTP is sent on to https
	redirect http.Handler
}

// open takes the addresses, so that whatever stands in the way is known before anything is started.
func (c listening) open(data string, log *slog.Logger) (*opened, error) {
	main, err := net.Listen("tcp", c.Listen)
	if err != nil {
		return nil, fmt.Errorf("EVENRIG_LISTEN (--listen) is %q: %w", c.Listen, err)
	}
	o := &opened{url: "http://" + main.Addr().String(), main: main}
	if !c.on() {
		return o, nil
	}
	_, port, err := net.SplitHostPort(main.Addr().String())
	if err != nil {
		return nil, errors.Join(err, main.Close())
	}
	secure, err := c.encryption(data, c.PublicURL, port, log)
	if err != nil {
		return nil, errors.Join(err, main.Close())
	}
	o.url, o.main, o.redirect = "https://"+main.Addr().String(), tls.NewListener(main, secure.config), secure.redirect
	if c.HTTPListen != "" {
		if o.plain, err = net.Listen("tcp", c.HTTPListen); err != nil {
			return nil, errors.Join(fmt.Errorf("EVENRIG_HTTP_LISTEN (--http-listen) is %q: %w", c.HTTPListen, err), main.Close())
		}
	}
	return o, nil
}

func (o *opened) close() error {
	if o.plain == nil {
		return o.main.Close()
	}
	return errors.Join(o.main.Close(), o.plain.Close())
}

// stop takes no more connections and jobs and waits for what is under way, for requests and jobs alike as long as stopTime. Then
// requests are cut off, which their clients send again, and jobs are given back to the queue: neither is a failure.
func (r *running) stop() error {
	ctx, cancel := context.WithTimeout(context.Background(), stopTime)
	defer cancel()
	var redirectErr, jobsErr error
	var jobs sync.WaitGroup
	jobs.Go(func() { jobsErr = r.jobs.Stop(ctx) })
	if r.redirect != nil {
		redirectErr = r.redirect.Close()
	}
	serverErr := r.server.Shutdown(ctx)
	jobs.Wait()
	return errors.Join(redirectErr, serverErr, jobsErr)
}
