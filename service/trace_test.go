package main

import (
	"encoding/hex"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"

	collector "go.opentelemetry.io/proto/otlp/collector/trace/v1"
	spans "go.opentelemetry.io/proto/otlp/trace/v1"
	"google.golang.org/protobuf/proto"

	"evenrig/openapi"
)

// TestTraces runs the service beside a collector that speaks OTLP over HTTP (OpenTelemetry Protocol 1.x; its messages are decoded by the
// standard's own published types): requests, transactions and jobs come as spans, a trusted neighbour's trace goes on (W3C Trace
// Context), and nothing in them is of a record, a person, a token or an address.
func TestTraces(t *testing.T) {
	var sent sentSpans
	server := httptest.NewServer(&sent)
	defer server.Close()
	t.Setenv("OTEL_EXPORTER_OTLP_ENDPOINT", server.URL)
	where := storage{Data: dataFolder(t), LogLevel: "info", LogFormat: "json"}
	log := slog.New(slog.DiscardHandler)
	clock := &storyClock{}
	clock.goReal()
	p, err := where.assemble(t.Context(), where.ownDatabase, log, clock.now)
	if err != nil {
		needServer(t, err)
	}
	r, err := p.start(t.Context(), listening{Listen: "127.0.0.1:0"}, log)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := p.service.FirstAdmin(t.Context(), "Secretary")
	if err != nil {
		t.Fatal(err)
	}
	angler, period, id := openTrial(t, r.url, secret)
	fish := openapi.CatchID(demoID(newDemoAngler(9).rng, clock.now()))
	saved, err := angler.api.PutCatchWithResponse(t.Context(), id, fish, catchIn(period))
	if err := expect(saved, err, "send a fish", 201); err != nil {
		t.Fatal(err)
	}
	const neighbour = "4bf92f3577b34da6a3ce929d0e0e4736" // the example of W3C Trace Context, section 3.2
	request, err := http.NewRequestWithContext(t.Context(), "GET", r.url+"/v1/register?key=hush-hush", nil)
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set("Traceparent", "00-"+neighbour+"-00f067aa0ba902b7-01")
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	response.Body.Close()
	eventually(t, "a run of the looks", func() bool {
		runs, err := p.store.Upkeep(t.Context())
		return err == nil && len(runs) > 1
	})
	if err := r.stop(); err != nil {
		t.Error(err)
	}
	if err := p.close(); err != nil { // sends what is left
		t.Error(err)
	}

	byName := map[string]*spans.Span{}
	parents := map[string]string{}
	for _, s := range sent.all() {
		byName[s.Name] = s
		parents[hex.EncodeToString(s.SpanId)] = s.Name
	}
	for _, want := range []string{"PUT /v1/trials/:trial/catches/:catch", "GET /v1/register", "read transaction", "write transaction", "save catches", "job checkpoints", "job looks"} {
		if byName[want] == nil {
			t.Fatalf("no span is named %q", want)
		}
	}
	if s := byName["GET /v1/register"]; hex.EncodeToString(s.TraceId) != neighbour || s.Kind != spans.Span_SPAN_KIND_SERVER {
		t.Errorf("the neighbour's trace does not go on: %v", s)
	}
	under := map[string]bool{}
	for _, s := range sent.all() {
		if strings.HasSuffix(s.Name, "transaction") {
			under[parents[hex.EncodeToString(s.ParentSpanId)]] = true
		}
	}
	if !under["PUT /v1/trials/:trial/catches/:catch"] || !under["job checkpoints"] {
		t.Errorf("transactions stand under %v", under)
	}
	text := sent.text()
	for _, never := range []string{secret, angler.token, id.String(), fish.String(), "hush-hush", "Secretary", demoWaters[0].Name, demoTest, "127.0.0.1"} {
		if strings.Contains(text, never) {
			t.Errorf("the traces say %q", never)
		}
	}
	if found := anyID.FindString(text); found != "" {
		t.Errorf("the traces carry the id %s", found)
	}
}

// TestTracesAreOff unless a collector is named, and say what they accept.
func TestTracesAreOff(t *testing.T) {
	for name, set := range map[string]map[string]string{
		"nothing":  {},
		"disabled": {"OTEL_EXPORTER_OTLP_ENDPOINT": "http://127.0.0.1:4318", "OTEL_SDK_DISABLED": "true"},
		"none":     {"OTEL_EXPORTER_OTLP_ENDPOINT": "http://127.0.0.1:4318", "OTEL_TRACES_EXPORTER": "none"},
	} {
		t.Run(name, func(t *testing.T) {
			for k, v := range set {
				t.Setenv(k, v)
			}
			if got, err := openTracing(t.Context(), slog.New(slog.DiscardHandler)); got != nil || err != nil {
				t.Errorf("tracing is %v, %v", got, err)
			}
		})
	}
	t.Setenv("OTEL_EXPORTER_OTLP_ENDPOINT", "http://127.0.0.1:4317")
	t.Setenv("OTEL_EXPORTER_OTLP_PROTOCOL", "grpc")
	if _, err := openTracing(t.Context(), slog.New(slog.DiscardHandler)); err == nil || !strings.Contains(err.Error(), "accepted: http/protobuf") {
		t.Errorf("another protocol: %v", err)
	}
}

// sentSpans is a collector.
type sentSpans struct {
	mu   sync.Mutex
	got  []*spans.ResourceSpans
	said strings.Builder
}

func (s *sentSpans) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	var message collector.ExportTraceServiceRequest
	if err == nil {
		err = proto.Unmarshal(body, &message)
	}
	if err != nil || r.Method != http.MethodPost || r.URL.Path != "/v1/traces" || r.Header.Get("Content-Type") != "application/x-protobuf" {
		http.Error(w, "no traces", http.StatusBadRequest)
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.got = append(s.got, message.ResourceSpans...)
	s.said.Write(body)
}

func (s *sentSpans) all() (list []*spans.Span) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, of := range s.got {
		for _, scope := range of.ScopeSpans {
			list = append(list, scope.Spans...)
		}
	}
	return list
}

func (s *sentSpans) text() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.said.String()
}
