package main

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"time"

	"go.opentelemetry.io/otel"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/codes"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracehttp"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/sdk/resource"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/trace"

	"evenrig/api"
	"evenrig/db"
	"evenrig/service/trial"
)

// tracing makes spans of requests, transactions and jobs and sends them by OTLP over HTTP. A span has its kind, its route and how it
// ended: no id of a record, no address, no query, no text of an error, so that a collector learns nothing that the log would not say. nil
// makes none and costs nothing.
type tracing struct {
	provider *sdktrace.TracerProvider
	tracer   trace.Tracer
	log      *slog.Logger
}

// openTracing returns nil unless the standard's environment variables name a collector: OTEL_EXPORTER_OTLP_ENDPOINT or
// OTEL_EXPORTER_OTLP_TRACES_ENDPOINT. The standard's others (headers, sampling, OTEL_SERVICE_NAME, OTEL_SDK_DISABLED) count too.
//
// Source: OpenTelemetry specification 1.x, "Environment Variable Specification" and "OTLP Exporter Configuration".
func openTracing(ctx context.Context, log *slog.Logger) (*tracing, error) {
	named := os.Getenv("OTEL_EXPORTER_OTLP_ENDPOINT") != "" || os.Getenv("OTEL_EXPORTER_OTLP_TRACES_ENDPOINT") != ""
	if !named || os.Getenv("OTEL_SDK_DISABLED") == "true" || os.Getenv("OTEL_TRACES_EXPORTER") == "none" {
		return nil, nil
	}
	for _, name := range []string{"OTEL_EXPORTER_OTLP_PROTOCOL", "OTEL_EXPORTER_OTLP_TRACES_PROTOCOL"} {
		if p := os.Getenv(name); p != "" && p != "http/protobuf" {
			return nil, fmt.Errorf("%s is %q; accepted: http/protobuf", name, p)
		}
	}
	exporter, err := otlptracehttp.New(ctx)
	if err != nil {
		return nil, fmt.Errorf("send traces: %w", err)
	}
	about, err := resource.New(ctx, resource.WithAttributes(attribute.String("service.name", "evenrig"), attribute.String("service.version", programVersion())),
		resource.WithTelemetrySDK(), resource.WithFromEnv())
	if err != nil {
		return nil, fmt.Errorf("send traces: %w", err)
	}
	p := sdktrace.NewTracerProvider(sdktrace.WithBatcher(exporter), sdktrace.WithResource(about))
	otel.SetErrorHandler(otel.ErrorHandlerFunc(func(err error) { log.Warn("traces were not sent", "reason", err) }))
	return &tracing{p, p.Tracer("evenrig"), log}, nil
}

// traceCloseTime is how long the last spans may take to be sent.
const traceCloseTime = 5 * time.Second

// close sends what is left. That a collector cannot be reached is no failure of the service's.
func (t *tracing) close() {
	if t == nil {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), traceCloseTime)
	defer cancel()
	if err := t.provider.Shutdown(ctx); err != nil {
		t.log.Warn("the last traces were not sent", "reason", err)
	}
}

// span does something within a span.
func (t *tracing) span(ctx context.Context, name string, do func(context.Context) error) error {
	if t == nil {
		return do(ctx)
	}
	ctx, span := t.tracer.Start(ctx, name)
	defer span.End()
	err := do(ctx)
	if err != nil && trial.KindOf(err) == trial.Internal {
		span.SetStatus(codes.Error, "") // why is in the log alone
	}
	return err
}

// store returns the store with its transactions traced.
func (t *tracing) store(s trial.Store) trial.Store {
	if t == nil {
		return s
	}
	return tracedStore{s, t}
}

type tracedStore struct {
	trial.Store
	t *tracing
}

// InTx implements trial.Store.
func (s tracedStore) InTx(ctx context.Context, do func(context.Context, trial.Tx) error) error {
	return s.t.span(ctx, "write transaction", func(ctx context.Context) error { return s.Store.InTx(ctx, do) })
}

// InReadTx implements trial.Store.
func (s tracedStore) InReadTx(ctx context.Context, do func(context.Context, trial.ReadTx) error) error {
	return s.t.span(ctx, "read transaction", func(ctx context.Context) error { return s.Store.InReadTx(ctx, do) })
}

// InLongReadTx implements trial.Store.
func (s tracedStore) InLongReadTx(ctx context.Context, do func(context.Context, trial.ReadTx) error) error {
	return s.t.span(ctx, "long read transaction", func(ctx context.Context) error { return s.Store.InLongReadTx(ctx, do) })
}

// SubmitCatches implements trial.Store. The writer saves for many requests at once, so that the span is none of theirs.
func (s tracedStore) SubmitCatches(ctx context.Context, catches []trial.CatchSubmission) []trial.CatchOutcome {
	ctx, span := s.t.tracer.Start(ctx, "save catches", trace.WithAttributes(attribute.Int("catches", len(catches))))
	defer span.End()
	return s.Store.SubmitCatches(ctx, catches)
}

// work returns the jobs, traced.
func (t *tracing) work(w db.Work) db.Work {
	if t == nil {
		return w
	}
	job := func(name string, do trial.JobFunc) trial.JobFunc {
		return func(ctx context.Context, id trial.ID, n int) error {
			return t.span(ctx, name, func(ctx context.Context) error { return do(ctx, id, n) })
		}
	}
	tasks := func(list []db.Task) []db.Task {
		traced := make([]db.Task, len(list))
		for i, task := range list {
			traced[i] = db.Task{Name: task.Name, Do: func(ctx context.Context) (faults int64, err error) {
				err = t.span(ctx, "job "+task.Name, func(ctx context.Context) (err error) {
					faults, err = task.Do(ctx)
					return err
				})
				return faults, err
			}}
		}
		return traced
	}
	return db.Work{
		Analyse: job("job analysis", w.Analyse), Publish: job("job publication", w.Publish), EachMinute: tasks(w.EachMinute), EachDay: tasks(w.EachDay),
	}
}

// observer is who hears of requests.
func (p *parts) observer() api.Observer {
	if p.tracing == nil {
		return p.metrics
	}
	return tracedRequests{p.metrics, p.tracing}
}

// tracedRequests counts requests and traces them.
type tracedRequests struct {
	*metrics
	t *tracing
}

// Begin implements api.Observer.
func (o tracedRequests) Begin(ctx context.Context, seen api.Request) (context.Context, func(api.Answer)) {
	ctx, counted := o.metrics.Begin(ctx, seen)
	ctx = propagation.TraceContext{}.Extract(ctx, propagation.MapCarrier{"traceparent": seen.Trace})
	ctx, span := o.t.tracer.Start(ctx, seen.Method+" "+seen.Route, trace.WithSpanKind(trace.SpanKindServer),
		trace.WithAttributes(attribute.String("http.request.method", seen.Method), attribute.String("http.route", seen.Route)))
	return ctx, func(a api.Answer) {
		span.SetAttributes(attribute.Int("http.response.status_code", a.Status))
		if a.Cut || a.Status >= http.StatusInternalServerError {
			span.SetStatus(codes.Error, "")
		}
		span.End()
		counted(a)
	}
}
