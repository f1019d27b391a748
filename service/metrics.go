package main

import (
	"context"
	"log/slog"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"evenrig/db"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// metrics are the numbers by which an operator sees how the service is. None carries an id, a name, or anything that
// differs with the pattern that a fish took: what a trial hides is hidden from who runs the server's monitoring too.
type metrics struct {
	registry *prometheus.Registry
	requests *prometheus.CounterVec
	latency  *prometheus.HistogramVec
	groups   prometheus.Histogram
	saving   prometheus.Histogram
	unsaved  prometheus.Counter
	analyses *prometheus.HistogramVec
	faults   prometheus.Gauge
	checked  prometheus.Gauge
	checking prometheus.Gauge
}

// seconds are the bounds of the buckets that times are counted in.
var seconds = []float64{.005, .01, .025, .05, .1, .25, .5, 1, 2.5, 10, 60}

func newMetrics() *metrics {
	m := &metrics{
		registry: prometheus.NewRegistry(),
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "evenrig_requests_total", Help: "Requests answered, by method, address and HTTP status.",
		}, []string{"method", "route", "status"}),
		latency: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "evenrig_request_seconds", Help: "Time to answer a request.", Buckets: seconds,
		}, []string{"method", "route"}),
		groups: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "evenrig_writer_group_catches", Help: "Catches that the writer saved in one transaction.", Buckets: []float64{1, 2, 4, 8, 16, 32, 64, 128},
		}),
		saving: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "evenrig_writer_group_seconds", Help: "Time that one transaction of the writer took.", Buckets: seconds,
		}),
		unsaved: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "evenrig_writer_failed_total", Help: "Catches that could not be saved for a failure of the server's; they were not acknowledged.",
		}),
		analyses: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "evenrig_analysis_seconds", Help: "Time to compute and store an analysis, by outcome of the job (done, failed).", Buckets: []float64{.1, .5, 1, 5, 10, 30, 60, 120, 240},
		}, []string{"outcome"}),
		faults: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "evenrig_check_faults", Help: "Faults that the last check of all ledgers and counts found.",
		}),
		checked: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "evenrig_check_finished_timestamp_seconds", Help: "When the last check of all ledgers and counts ended, 0 before the first.",
		}),
		checking: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "evenrig_check_seconds", Help: "Time that the last check of all ledgers and counts took.",
		}),
	}
	version := prometheus.NewGauge(prometheus.GaugeOpts{
		Name: "evenrig_version", Help: "Always 1; the label is the program's version.", ConstLabels: prometheus.Labels{"version": programVersion()},
	})
	version.Set(1)
	m.registry.MustRegister(m.requests, m.latency, m.groups, m.saving, m.unsaved, m.analyses, m.faults, m.checked, m.checking, version,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// request is the HTTP edge's observer.
func (m *metrics) request(method, route string, status int, took time.Duration) {
	m.requests.WithLabelValues(method, route, strconv.Itoa(status)).Inc()
	m.latency.WithLabelValues(method, route).Observe(took.Seconds())
}

// analysis returns the job, timed.
func (m *metrics) analysis(analyse trial.JobFunc) trial.JobFunc {
	return func(ctx context.Context, id trial.ID, n int) error {
		begun := time.Now()
		err := analyse(ctx, id, n)
		outcome := "done"
		if err != nil {
			outcome = "failed"
		}
		m.analyses.WithLabelValues(outcome).Observe(time.Since(begun).Seconds())
		return err
	}
}

// store returns the store, with what the writer saves counted.
func (m *metrics) store(s trial.Store) trial.Store { return countedStore{s, m} }

type countedStore struct {
	trial.Store
	metrics *metrics
}

// SubmitCatches implements trial.Store.
func (s countedStore) SubmitCatches(ctx context.Context, catches []trial.CatchSubmission) []trial.CatchOutcome {
	begun := time.Now()
	outcomes := s.Store.SubmitCatches(ctx, catches)
	s.metrics.saving.Observe(time.Since(begun).Seconds())
	s.metrics.groups.Observe(float64(len(catches)))
	for _, o := range outcomes {
		if o.Err != nil && trial.KindOf(o.Err) == trial.Internal {
			s.metrics.unsaved.Inc()
		}
	}
	return outcomes
}

// The first check of all records comes soon after the start, the next ones each day.
const (
	firstCheck = time.Minute
	checkEvery = 24 * time.Hour
)

// check follows every ledger chain and recounts every count, again and again until ctx ends.
func (m *metrics) check(ctx context.Context, service *conduct.Service, log *slog.Logger) {
	for wait := firstCheck; ; wait = checkEvery {
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
		m.checkOnce(ctx, service, log)
	}
}

func (m *metrics) checkOnce(ctx context.Context, service *conduct.Service, log *slog.Logger) {
	begun := time.Now()
	found, err := service.Check(ctx)
	if err != nil {
		if ctx.Err() == nil {
			log.Error("the records could not be checked", "reason", err)
		}
		return
	}
	for _, fault := range found.Faults {
		log.Error("the records do not agree with themselves", "fault", fault)
	}
	m.faults.Set(float64(len(found.Faults)))
	m.checking.Set(time.Since(begun).Seconds())
	m.checked.SetToCurrentTime()
	log.Info("records checked", "trials", found.Trials, "chains", found.Chains, "entries", found.Entries, "faults", len(found.Faults))
}

// database adds what is asked of the database whenever the numbers are read.
func (m *metrics) database(s *db.Store) { m.registry.MustRegister(databaseNumbers{s}) }

type databaseNumbers struct{ store *db.Store }

// readTime is how long the database may take to answer while the numbers are read.
const readTime = 5 * time.Second

var (
	connections = prometheus.NewDesc("evenrig_pool_connections", "Connections to the database, by what they do (used, idle, opening).", []string{"state"}, nil)
	poolLimit   = prometheus.NewDesc("evenrig_pool_connections_limit", "Connections to the database at most.", nil, nil)
	poolWaits   = prometheus.NewDesc("evenrig_pool_waits_total", "Times that no connection was free.", nil, nil)
	poolWaited  = prometheus.NewDesc("evenrig_pool_wait_seconds_total", "Time spent getting connections.", nil, nil)
	queueJobs   = prometheus.NewDesc("evenrig_queue_jobs", "Jobs in the queue by kind and state; discarded ones failed for good.", []string{"kind", "state"}, nil)
	size        = prometheus.NewDesc("evenrig_database_bytes", "Room that the database takes on its server's disk.", nil, nil)
	answers     = prometheus.NewDesc("evenrig_database_up", "1 when the database answered these numbers, else 0.", nil, nil)
)

// queueStates are the states that are always told of analyses, 0 when there is none, so that an alert can rely on them.
var queueStates = []string{"available", "running", "retryable", "discarded"}

// Describe implements prometheus.Collector.
func (databaseNumbers) Describe(to chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{connections, poolLimit, poolWaits, poolWaited, queueJobs, size, answers} {
		to <- d
	}
}

// Collect implements prometheus.Collector.
func (n databaseNumbers) Collect(to chan<- prometheus.Metric) {
	tell := func(d *prometheus.Desc, kind prometheus.ValueType, value float64, labels ...string) {
		to <- prometheus.MustNewConstMetric(d, kind, value, labels...)
	}
	pool := n.store.Pool()
	tell(connections, prometheus.GaugeValue, float64(pool.AcquiredConns()), "used")
	tell(connections, prometheus.GaugeValue, float64(pool.IdleConns()), "idle")
	tell(connections, prometheus.GaugeValue, float64(pool.ConstructingConns()), "opening")
	tell(poolLimit, prometheus.GaugeValue, float64(pool.MaxConns()))
	tell(poolWaits, prometheus.CounterValue, float64(pool.EmptyAcquireCount()))
	tell(poolWaited, prometheus.CounterValue, pool.AcquireDuration().Seconds())
	ctx, cancel := context.WithTimeout(context.Background(), readTime)
	defer cancel()
	jobs, err := n.store.Queue(ctx)
	var bytes int64
	if err == nil {
		bytes, err = n.store.Size(ctx)
	}
	if err != nil {
		tell(answers, prometheus.GaugeValue, 0)
		return
	}
	tell(answers, prometheus.GaugeValue, 1)
	tell(size, prometheus.GaugeValue, float64(bytes))
	known := map[db.QueuedJobs]bool{}
	for _, j := range jobs {
		tell(queueJobs, prometheus.GaugeValue, float64(j.Jobs), j.Kind, j.State)
		known[db.QueuedJobs{Kind: j.Kind, State: j.State}] = true
	}
	for _, state := range queueStates {
		if !known[db.QueuedJobs{Kind: "analysis", State: state}] {
			tell(queueJobs, prometheus.GaugeValue, 0, "analysis", state)
		}
	}
}
