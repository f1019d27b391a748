package api_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strconv"
	"strings"
	"testing"
	"time"

	"evenrig/db"
	"evenrig/openapi"
	"evenrig/service/trial"
)

// locked closes and locks the world's trial, which asks for its analysis.
func (w *tableWorld) locked() {
	w.e.move("closed")
	w.wait(2 * time.Hour)
	w.e.move("locked")
}

// runJobs works on the world's queue with the given analysis until stop.
func (w *world) runJobs(t *testing.T, analyse trial.JobFunc) (stop func()) {
	t.Helper()
	store, err := db.Open(t.Context(), w.database, slog.New(slog.NewTextHandler(w.log, nil)))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	jobs, err := db.NewJobs(store, db.Work{Analyse: analyse, EachMinute: []db.Task{
		{Name: "checkpoints", Do: func(context.Context) (int64, error) { return 0, nil }}, {Name: "looks", Do: func(context.Context) (int64, error) { return 0, nil }},
	}})
	if err == nil {
		err = jobs.Start(t.Context())
	}
	if err != nil {
		t.Fatal(err)
	}
	return func() {
		ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
		defer cancel()
		if err := jobs.Stop(ctx); err != nil {
			t.Error(err)
		}
	}
}

// TestJobsForWhoLooksAfterTheServer: an analysis that fails in a way that would come again is dead at once; its organiser reads that it
// failed, the admin finds it by API and page, tries it again, and it is computed. Nothing of its fault reaches either.
func TestJobsForWhoLooksAfterTheServer(t *testing.T) {
	w := newTableWorld(t)
	w.locked()
	const secret = "the test pattern took 41 of 60"
	at := fmt.Sprintf("/v1/trials/%s/analyses/1", w.e.trial)
	waits := w.c.organiser.send("GET", at, "")
	if waits.status != 202 || !strings.Contains(string(waits.body), `"job":{"ahead":0,"attempt":0,"attempts":5,"begun_at":null,"state":"waiting","step":0,"steps":0}`) {
		t.Errorf("a queued analysis: %d %s", waits.status, waits.body)
	}
	w.organiser.get("/trials/"+w.e.trial.String()+"/result").shows(200, "The fish are being counted", "It is waiting", "Cancel the count")

	attempts := 0
	stop := w.runJobs(t, func(context.Context, trial.ID, int) error {
		attempts++
		return fmt.Errorf("%s: %w", secret, trial.ErrLasting)
	})
	var dead openapi.Job
	waitFor(t, "a dead job", func() bool {
		list := ok[*openapi.ListJobsResponse](t, 200)(w.admin.ListJobsWithResponse(t.Context(), nil)).JSON200.Items
		if len(list) != 1 || list[0].State != "dead" {
			return false
		}
		dead = list[0]
		return true
	})
	stop()
	if attempts != 1 || dead.Kind != "analysis" || dead.N != 1 || dead.EndedAt == nil {
		t.Errorf("after %d attempts the job is %+v", attempts, dead)
	}
	if a := w.c.organiser.send("GET", at, ""); a.status != 409 || a.problem(t).Code != "analysis.failed" || strings.Contains(string(a.body), secret) {
		t.Errorf("the organiser reads %d %s", a.status, a.body)
	}
	w.organiser.get("/trials/"+w.e.trial.String()+"/result").shows(200, "The fish were not counted", "There is no result", "Count again")
	if a := w.browser().get("/readyz"); !strings.Contains(a.body, "1 job failed for good") {
		t.Errorf("/readyz says %s", a.body)
	}
	admin := w.admin.signedIn("admin@example.org")
	admin.get("/server").shows(200, "Failed for good", "result 1", "Try again")
	if strings.Contains(admin.body, secret) {
		t.Error("the page tells the fault")
	}
	for what, path := range map[string]string{"retry": "/v1/jobs/%d/retry", "cancel": "/v1/jobs/%d/cancel"} {
		if a := w.c.organiser.send("POST", fmt.Sprintf(path, dead.Number), ""); a.status != 403 {
			t.Errorf("an organiser's %s: %d %s", what, a.status, a.body)
		}
	}
	if a := w.admin.send("POST", fmt.Sprintf("/v1/jobs/%d/cancel", dead.Number), ""); a.status != 409 || a.problem(t).Code != "job.ended" {
		t.Errorf("cancelling what is over: %d %s", a.status, a.body)
	}
	admin.post("/server/jobs/"+strconv.FormatInt(dead.Number, 10)+"/retry").shows(200, "It waits to be tried again", "to be tried again after a failure")
	if a := w.admin.send("POST", fmt.Sprintf("/v1/jobs/%d/retry", dead.Number), ""); a.status != 409 || a.problem(t).Code != "job.not_dead" {
		t.Errorf("trying again what waits: %d %s", a.status, a.body)
	}
	defer w.runJobs(t, w.service.Analyse)()
	waitFor(t, "the result", func() bool { return w.c.organiser.send("GET", at, "").status == http.StatusOK })
	waitFor(t, "the queue's end", func() bool {
		return len(ok[*openapi.ListJobsResponse](t, 200)(w.admin.ListJobsWithResponse(t.Context(), nil)).JSON200.Items) == 0
	})
}

// TestCancelAnAnalysis while it runs: it stops, nothing of it is stored, and another can be asked for.
func TestCancelAnAnalysis(t *testing.T) {
	w := newTableWorld(t)
	w.locked()
	at := fmt.Sprintf("/v1/trials/%s/analyses", w.e.trial)
	running, stopped := make(chan struct{}), make(chan error, 1)
	stop := w.runJobs(t, func(ctx context.Context, _ trial.ID, _ int) error {
		close(running)
		<-ctx.Done()
		stopped <- ctx.Err()
		return ctx.Err()
	})
	<-running
	if a := w.rod.send("POST", at+"/1/cancel", ""); a.status != 403 {
		t.Errorf("an angler cancels: %d", a.status)
	}
	if a := w.c.organiser.send("POST", at+"/1/cancel", ""); a.status != 200 || !strings.Contains(string(a.body), "an organiser cancelled it") {
		t.Fatalf("cancelling: %d %s", a.status, a.body)
	}
	select {
	case err := <-stopped:
		if !errors.Is(err, context.Canceled) {
			t.Errorf("the analysis ended with %v", err)
		}
	case <-time.After(time.Minute):
		t.Error("the analysis was not told to stop")
	}
	stop()
	if a := w.c.organiser.send("POST", at+"/1/cancel", ""); a.status != 409 || a.problem(t).Code != "analysis.failed" {
		t.Errorf("cancelling twice: %d %s", a.status, a.body)
	}
	if list := ok[*openapi.ListJobsResponse](t, 200)(w.admin.ListJobsWithResponse(t.Context(), nil)).JSON200.Items; len(list) != 0 {
		t.Errorf("the queue still has %+v", list)
	}
	if a := w.c.organiser.send("POST", at, ""); a.status != 202 || !strings.Contains(string(a.body), `"n":2`) {
		t.Errorf("asking for another: %d %s", a.status, a.body)
	}
}

func waitFor(t *testing.T, what string, happened func() bool) {
	t.Helper()
	for end := time.Now().Add(time.Minute); !happened(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%s did not come", what)
		}
	}
}
