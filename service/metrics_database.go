package main

import (
	"context"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"evenrig/db"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// asked adds what is asked of the parts whenever the numbers are read.
func (m *metrics) asked(store *db.Store, service *conduct.Service) {
	m.registry.MustRegister(databaseNumbers{store}, prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name: "evenrig_writer_waiting_catches", Help: "Catches that wait for the writer.",
	}, func() float64 { return float64(service.Waiting()) }), prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name: "evenrig_ready", Help: "1 when /readyz says yes, else 0.",
	}, func() float64 {
		ctx, cancel := context.WithTimeout(context.Background(), readTime)
		defer cancel()
		if service.Ready(ctx) != nil {
			return 0
		}
		return 1
	}))
}

// databaseNumbers are what the pool and the database say.
type databaseNumbers struct{ store *db.Store }

// readTime is how long the database may take to answer while the numbers are read.
const readTime = 5 * time.Second

var (
	connections = prometheus.NewDesc("evenrig_pool_connections", "Connections to the database, by what they do (used, idle, opening).", []string{"state"}, nil)
	poolLimit   = prometheus.NewDesc("evenrig_pool_connections_limit", "Connections to the database at most.", nil, nil)
	poolWaits   = prometheus.NewDesc("evenrig_pool_waits_total", "Times that no connection was free.", nil, nil)
	poolWaited  = prometheus.NewDesc("evenrig_pool_wait_seconds_total", "Time spent getting connections.", nil, nil)
	queueJobs   = prometheus.NewDesc("evenrig_queue_jobs", "Jobs in the queue by kind and state (waiting, running, retrying, dead); dead ones failed for good.", []string{"kind", "state"}, nil)
	queueAge    = prometheus.NewDesc("evenrig_queue_oldest_seconds", "Time for which the oldest such job has waited since it was due, or has run.", []string{"kind", "state"}, nil)
	upkeepRun   = prometheus.NewDesc("evenrig_upkeep_run_timestamp_seconds", "When the last run of a task ended: checkpoints, looks, check (of all ledgers and counts), clean_up.", []string{"task"}, nil)
	upkeepGood  = prometheus.NewDesc("evenrig_upkeep_success_timestamp_seconds", "When the last run of a task ended that did not fail, 0 before the first.", []string{"task"}, nil)
	upkeepTook  = prometheus.NewDesc("evenrig_upkeep_run_seconds", "Time that the last run of a task took.", []string{"task"}, nil)
	upkeepFound = prometheus.NewDesc("evenrig_upkeep_faults", "Faults that the last run of a task found; of check: ledgers and counts that do not agree with their records.", []string{"task"}, nil)
	size        = prometheus.NewDesc("evenrig_database_bytes", "Room that the database takes on its server's disk.", nil, nil)
	answers     = prometheus.NewDesc("evenrig_database_up", "1 when the database answered these numbers, else 0.", nil, nil)
)

// toldKinds and toldStates are always told of, 0 when there is none, so that an alert can rely on them.
var (
	toldKinds  = []trial.JobKind{trial.AnalysisJob, trial.PublicationJob}
	toldStates = []trial.JobState{trial.JobWaiting, trial.JobRunning, trial.JobRetrying, trial.JobDead}
)

// Describe implements prometheus.Collector.
func (databaseNumbers) Describe(to chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{
		connections, poolLimit, poolWaits, poolWaited, queueJobs, queueAge, upkeepRun, upkeepGood, upkeepTook, upkeepFound, size, answers,
	} {
		to <- d
	}
}

// tell hands out one number.
type tell func(d *prometheus.Desc, value float64, labels ...string)

// Collect implements prometheus.Collector.
func (n databaseNumbers) Collect(to chan<- prometheus.Metric) {
	gauge := func(d *prometheus.Desc, value float64, labels ...string) {
		to <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, value, labels...)
	}
	counter := func(d *prometheus.Desc, value float64) {
		to <- prometheus.MustNewConstMetric(d, prometheus.CounterValue, value)
	}
	pool := n.store.Pool()
	gauge(connections, float64(pool.AcquiredConns()), "used")
	gauge(connections, float64(pool.IdleConns()), "idle")
	gauge(connections, float64(pool.ConstructingConns()), "opening")
	gauge(poolLimit, float64(pool.MaxConns()))
	counter(poolWaits, float64(pool.EmptyAcquireCount()))
	counter(poolWaited, pool.AcquireDuration().Seconds())
	ctx, cancel := context.WithTimeout(context.Background(), readTime)
	defer cancel()
	up := 1.0
	if n.ask(ctx, gauge) != nil {
		up = 0
	}
	gauge(answers, up)
}

// ask tells what only the database knows.
func (n databaseNumbers) ask(ctx context.Context, gauge tell) error {
	jobs, err := n.store.Queue(ctx)
	if err != nil {
		return err
	}
	bytes, err := n.store.Size(ctx)
	if err != nil {
		return err
	}
	runs, err := n.store.Upkeep(ctx)
	if err != nil {
		return err
	}
	gauge(size, float64(bytes))
	type place struct {
		kind  string
		state trial.JobState
	}
	known := map[place]bool{}
	for _, j := range jobs {
		gauge(queueJobs, float64(j.Jobs), j.Kind, string(j.State))
		gauge(queueAge, j.Oldest, j.Kind, string(j.State))
		known[place{j.Kind, j.State}] = true
	}
	for _, kind := range toldKinds {
		for _, state := range toldStates {
			if !known[place{string(kind), state}] {
				gauge(queueJobs, 0, string(kind), string(state))
				gauge(queueAge, 0, string(kind), string(state))
			}
		}
	}
	for _, u := range runs {
		good := 0.0
		if u.GoodAt != nil {
			good = unixSeconds(*u.GoodAt)
		}
		gauge(upkeepRun, unixSeconds(u.EndedAt), u.Task)
		gauge(upkeepGood, good, u.Task)
		gauge(upkeepTook, u.EndedAt.Sub(u.BegunAt).Seconds(), u.Task)
		gauge(upkeepFound, float64(u.Faults), u.Task)
	}
	return nil
}

func unixSeconds(t time.Time) float64 { return float64(t.UnixMicro()) / 1e6 }
