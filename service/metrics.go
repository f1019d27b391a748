package main

import (
	"context"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"evenrig/api"
	"evenrig/service/trial"
)

// metrics are the numbers by which an operator sees how the service is. None carries an id, a name, or anything that
// differs with the pattern that a fish took: what a trial hides is hidden from who runs the server's monitoring too.
type metrics struct {
	registry  *prometheus.Registry
	requests  *prometheus.CounterVec
	latency   *prometheus.HistogramVec
	answering prometheus.Gauge
	refused   *prometheus.CounterVec
	groups    prometheus.Histogram
	saving    prometheus.Histogram
	unsaved   prometheus.Counter
	analyses  *prometheus.HistogramVec
	steps     *prometheus.HistogramVec
}

// seconds are the bounds of the buckets that times are counted in.
var seconds = []float64{.005, .01, .025, .05, .1, .25, .5, 1, 2.5, 10, 60}

func newMetrics() *metrics {
	m := &metrics{
		registry: prometheus.NewRegistry(),
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "evenrig_requests_total", Help: "Requests answered, by method, address and HTTP status; cut when the answer was broken off, its reader having stalled or a failure having come too late for another.",
		}, []string{"method", "route", "status"}),
		latency: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "evenrig_request_seconds", Help: "Time to answer a request.", Buckets: seconds,
		}, []string{"method", "route"}),
		answering: prometheus.NewGauge(prometheus.GaugeOpts{Name: "evenrig_requests_under_way", Help: "Requests that are being answered."}),
		refused: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "evenrig_requests_limited_total", Help: "Requests and attempts to sign in that were refused for being over a limit, by the refusal's code.",
		}, []string{"code"}),
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
		steps: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "evenrig_analysis_step_seconds", Help: "Time that a step of an analysis took (mixed_model is the fit of the mixed model); looks are left out.", Buckets: []float64{.01, .05, .1, .5, 1, 5, 10, 30, 60, 120},
		}, []string{"step"}),
	}
	version := prometheus.NewGauge(prometheus.GaugeOpts{
		Name: "evenrig_version", Help: "Always 1; the label is the program's version.", ConstLabels: prometheus.Labels{"version": programVersion()},
	})
	version.Set(1)
	m.registry.MustRegister(m.requests, m.latency, m.answering, m.refused, m.groups, m.saving, m.unsaved, m.analyses, m.steps, version,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// Begin implements api.Observer.
func (m *metrics) Begin(ctx context.Context, seen api.Request) (context.Context, func(api.Answer)) {
	m.answering.Inc()
	return ctx, func(a api.Answer) {
		m.answering.Dec()
		status := strconv.Itoa(a.Status)
		if a.Cut {
			status = "cut"
		}
		m.requests.WithLabelValues(seen.Method, seen.Route, status).Inc()
		m.latency.WithLabelValues(seen.Method, seen.Route).Observe(a.Took.Seconds())
	}
}

// Refused implements api.Observer.
func (m *metrics) Refused(code string) { m.refused.WithLabelValues(code).Inc() }

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

// step hears how long a step of an analysis took.
func (m *metrics) step(name string, took time.Duration) {
	m.steps.WithLabelValues(name).Observe(took.Seconds())
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
