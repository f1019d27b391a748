package main

import (
	"bytes"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"

	"evenrig/openapi"
	"evenrig/service/trial"
)

// lockedBuffer is a log that several goroutines write to.
type lockedBuffer struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (b *lockedBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.Write(p)
}

func (b *lockedBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.String()
}

var anyID = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}`)

// TestMetricsAndLog runs the service with its admin port: the numbers are there, obey the conventions of their format
// (client_golang's linter), carry no id and no word that a stranger sends; the log has one JSON object a request, with the
// answer's request id, and no secret.
func TestMetricsAndLog(t *testing.T) {
	t.Parallel()
	var written lockedBuffer
	where := storage{Data: dataFolder(t), LogLevel: "info", LogFormat: "json"}
	log := where.log(streams{err: &written})
	clock := &storyClock{}
	clock.goReal()
	p, err := where.assemble(t.Context(), where.ownDatabase, log, clock.now)
	if err != nil {
		needServer(t, err)
	}
	defer p.close()
	r, err := p.start(t.Context(), listening{Listen: "127.0.0.1:0"}, log)
	if err != nil {
		t.Fatal(err)
	}
	defer r.stop()
	admin, err := p.openAdminPort(administering{AdminListen: ":0"}, log)
	if err != nil {
		t.Fatal(err)
	}
	defer admin.close()
	if !strings.HasPrefix(admin.url, "http://127.0.0.1:") {
		t.Errorf("without a host the admin port is at %s", admin.url)
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
	for _, odd := range []struct{ method, path, query string }{
		{"MADEUP", "/v1/made-up", ""}, {"GET", "/v1/made-up/invented", ""}, {"GET", "/v1/trials/" + fishID(fish), "?key=hush-hush"}, {"DELETE", "/healthz", ""},
	} {
		request, err := http.NewRequestWithContext(t.Context(), odd.method, r.url+odd.path+odd.query, nil)
		if err != nil {
			t.Fatal(err)
		}
		response, err := http.DefaultClient.Do(request)
		if err != nil {
			t.Fatal(err)
		}
		response.Body.Close()
	}
	eventually(t, "the first check of all records", func() bool {
		runs, err := p.store.Upkeep(t.Context())
		return err == nil && slices.ContainsFunc(runs, func(u trial.Upkeep) bool { return u.Task == "check" })
	})

	if problems, err := testutil.GatherAndLint(p.metrics.registry); err != nil || len(problems) > 0 {
		t.Errorf("the numbers' names: %v, %v", problems, err)
	}
	answer := httptest.NewRecorder()
	p.adminHandler().ServeHTTP(answer, httptest.NewRequest("GET", "http://127.0.0.1/metrics", nil))
	text := answer.Body.String()
	for _, want := range []string{
		`evenrig_requests_total{method="PUT",route="/v1/trials/:trial/catches/:catch",status="201"} 1`,
		`evenrig_requests_total{method="other",route="none",status="404"} 1`,
		`evenrig_requests_total{method="GET",route="none",status="404"} 1`, `evenrig_requests_under_way 0`,
		`evenrig_request_seconds_count{method="PUT",route="/v1/trials/:trial/catches/:catch"} 1`,
		`evenrig_writer_group_catches_sum 1`, `evenrig_writer_group_catches_count 1`, `evenrig_writer_failed_total 0`,
		`evenrig_queue_jobs{kind="analysis",state="dead"} 0`, `evenrig_queue_oldest_seconds{kind="publication",state="waiting"} 0`,
		`evenrig_pool_connections_limit 16`, `evenrig_database_up 1`, `evenrig_ready 1`, `evenrig_writer_waiting_catches 0`,
		`evenrig_upkeep_faults{task="check"} 0`, `evenrig_upkeep_success_timestamp_seconds{task="checkpoints"} `, `evenrig_upkeep_run_seconds{task="looks"} `, `evenrig_version{version="`, `go_goroutines `,
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the numbers lack %s", want)
		}
	}
	for _, never := range []string{"made-up", "MADEUP", demoTest + `"`, "Secretary", demoWaters[0].Name, secret} {
		if strings.Contains(text, never) {
			t.Errorf("the numbers say %q", never)
		}
	}
	if found := anyID.FindString(text); found != "" {
		t.Errorf("the numbers carry the id %s", found)
	}
	checkRequestLog(t, written.String(), secret, angler.token, "hush-hush")
}

func fishID(id openapi.CatchID) string { return id.String() }

// checkRequestLog looks for one object a request, each with an id of its own, and for secrets.
func checkRequestLog(t *testing.T, text string, secrets ...string) {
	t.Helper()
	seen := map[string]bool{}
	for line := range strings.Lines(text) {
		var entry struct {
			Msg, ID, Method, Path string
			Status                int
		}
		if err := json.Unmarshal([]byte(line), &entry); err != nil {
			t.Fatalf("the log has a line that is no JSON: %s", line)
		}
		if entry.Msg != "request" {
			continue
		}
		if !anyID.MatchString(entry.ID) || entry.Method == "" || entry.Path == "" || entry.Status == 0 || seen[entry.ID] {
			t.Errorf("a request's line: %s", line)
		}
		seen[entry.ID] = true
	}
	if len(seen) < 10 {
		t.Errorf("the log has %d requests", len(seen))
	}
	for _, secret := range secrets {
		if strings.Contains(text, secret) {
			t.Errorf("the log holds a secret")
		}
	}
}

// TestAdminPortAsksForItsNumber: a page in a browser on the server reaches the port only under a name of its own, and gets
// nothing; the command line, which may hold a password, is not shown.
func TestAdminPortAsksForItsNumber(t *testing.T) {
	p := &parts{metrics: newMetrics()}
	handler := p.adminHandler()
	for url, want := range map[string]int{
		"http://127.0.0.1:9090/metrics": 200, "http://localhost:9090/metrics": 200, "http://[::1]:9090/metrics": 200, "http://10.1.2.3/metrics": 200,
		"http://bait.example:9090/metrics": 421, "http://localhost.bait.example/debug/pprof/heap": 421,
		"http://127.0.0.1/debug/pprof/": 200, "http://127.0.0.1/debug/pprof/goroutine?debug=1": 200, "http://127.0.0.1/debug/pprof/cmdline": 404,
		"http://127.0.0.1/v1/clubs": 404,
	} {
		answer := httptest.NewRecorder()
		handler.ServeHTTP(answer, httptest.NewRequest("GET", url, nil))
		if answer.Code != want {
			t.Errorf("GET %s: %d, want %d", url, answer.Code, want)
		}
	}
}

// eventually waits until ok, at most two minutes.
func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(2 * time.Minute); !ok(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%s did not happen", what)
		}
	}
}
