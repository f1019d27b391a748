package main

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"sync/atomic"
	"testing"
	"time"

	"evenrig/db/dbtest"
	"evenrig/openapi"
)

// startTogether starts so many services on one database, as processes of their own would be: they share nothing but the database
// and the key that seals draws.
func startTogether(t *testing.T, clock *storyClock, where storage, n int) (first *parts, urls []string) {
	t.Helper()
	log := slog.New(slog.DiscardHandler)
	where.Data, where.LogLevel = dataFolder(t), "error"
	for range n {
		p, err := where.assemble(t.Context(), where.ownDatabase, log, clock.now)
		if err != nil {
			t.Fatal(err)
		}
		r, err := p.start(t.Context(), listening{Listen: "127.0.0.1:0"}, log)
		if err != nil {
			t.Fatal(errors.Join(err, p.close()))
		}
		t.Cleanup(func() {
			if err := errors.Join(r.stop(), p.close()); err != nil {
				t.Error(err)
			}
		})
		if first == nil {
			first = p
		}
		urls = append(urls, r.url)
	}
	return first, urls
}

// inTurn answers each request by the next of the services.
func inTurn(t *testing.T, urls []string) string {
	t.Helper()
	proxies := make([]*httputil.ReverseProxy, len(urls))
	for i, address := range urls {
		u, err := url.Parse(address)
		if err != nil {
			t.Fatal(err)
		}
		proxies[i] = httputil.NewSingleHostReverseProxy(u)
	}
	var next atomic.Int64
	balancer := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		proxies[next.Add(1)%int64(len(proxies))].ServeHTTP(w, r)
	}))
	t.Cleanup(balancer.Close)
	return balancer.URL
}

// sentTo is the client of the same person at another address.
func sentTo(t *testing.T, url string, who person) person {
	t.Helper()
	there, err := newPerson(url, who.token, new(atomic.Int64))
	if err != nil {
		t.Fatal(err)
	}
	return there
}

// TestProcessesBehindAPoolerWithAReplica: two services behind a balancer, with a pooler before the database and a replica beside it,
// bring the demo's season to its published package; what an angler takes back is gone at both, also while the replica stands still
// and still has it.
func TestProcessesBehindAPoolerWithAReplica(t *testing.T) {
	t.Parallel()
	clock := &storyClock{}
	clock.set(demoStart)
	servers := dbtest.NewReplicated(t)
	p, urls := startTogether(t, clock, storage{
		DatabaseURL: dbtest.Pooler(t, servers.URL), DirectDatabaseURL: servers.URL, ReplicaDatabaseURL: servers.ReplicaURL,
	}, 2)
	secret, err := p.service.FirstAdmin(t.Context(), "Secretary")
	if err != nil {
		t.Fatal(err)
	}
	s := newStory(inTurn(t, urls), clock, io.Discard)
	for _, part := range []func(context.Context) error{
		func(ctx context.Context) error { return s.found(ctx, secret) }, s.writeRules, s.join,
		func(context.Context) error { s.anglers = s.anglers[:4]; return nil }, // as many as show everything
		s.season, s.lock, func(ctx context.Context) error { _, err := s.read(ctx); return err }, s.publish,
	} {
		if err := part(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	if checked, err := p.service.Check(t.Context()); err != nil || len(checked.Faults) > 0 {
		t.Errorf("check: %+v, %v", checked, err)
	}
	if verdict, err := verifyBytes(s.pack); err != nil || !verdict.Agrees() {
		t.Errorf("the package is found to be %+v, %v", verdict, err)
	}

	servers.Pause(t)
	gone, err := s.anglers[0].api.WithdrawWithResponse(t.Context(), s.trial, openapi.Withdrawal{Erase: true})
	if err := expect(gone, err, "erase an angler", 204); err != nil {
		t.Fatal(err)
	}
	first := 1
	for _, address := range urls {
		organiser := sentTo(t, address, s.organiser)
		stranger := sentTo(t, address, person{})
		for what, get := range map[string]func(context.Context) (answer, error){
			"the analysis": func(ctx context.Context) (answer, error) {
				return organiser.api.GetAnalysisWithResponse(ctx, s.trial, 1, nil)
			},
			"the report": func(ctx context.Context) (answer, error) { return organiser.api.GetReportWithResponse(ctx, s.trial, 1) },
			"the package": func(ctx context.Context) (answer, error) {
				return stranger.api.GetPackageWithResponse(ctx, s.trial, &openapi.GetPackageParams{Edition: &first})
			},
		} {
			got, err := get(t.Context())
			if err := expect(got, err, what+" with an erased angler", http.StatusGone); err != nil {
				t.Error(err)
			}
		}
	}
}

// TestWhatEndsAtOneProcessEndsAtAll: what ends at one process is over at every other, at once or within the time that it
// remembers who asks.
func TestWhatEndsAtOneProcessEndsAtAll(t *testing.T) {
	t.Parallel()
	clock := &storyClock{}
	clock.goReal()
	p, urls := startTogether(t, clock, storage{DatabaseURL: dbtest.URL(t)}, 2)
	ctx := t.Context()
	secret, err := p.service.FirstAdmin(ctx, "Secretary")
	if err != nil {
		t.Fatal(err)
	}
	s := newStory(urls[0], clock, io.Discard)
	for _, part := range []func(context.Context) error{
		func(ctx context.Context) error { return s.found(ctx, secret) }, s.writeRules, s.join,
	} {
		if err := part(ctx); err != nil {
			t.Fatal(err)
		}
	}
	// within fails the test unless the other process answers as wanted before the time is up, and says how long it took.
	within := func(what string, longest time.Duration, wanted int, ask func() (answer, error)) {
		t.Helper()
		for begun := time.Now(); ; time.Sleep(50 * time.Millisecond) {
			got, err := ask()
			took := time.Since(begun)
			if err == nil && got.StatusCode() == wanted {
				t.Logf("%s: over at the other process after %v", what, took.Round(time.Millisecond))
				return
			}
			if err != nil || took > longest {
				t.Errorf("%s: the other process still answers %v, %v after %v", what, got, err, took)
				return
			}
		}
	}
	const remembered = 5*time.Second + 2*time.Second // as api remembers a token and conduct a membership, and time for this test
	leaver, removed, there := s.anglers[0], s.anglers[1], func(who person) person { return sentTo(t, urls[1], who) }

	// A token.
	second, err := s.organiser.api.CreateTokenWithResponse(ctx, openapi.NewToken{Name: "second desk"})
	if err := expect(second, err, "make a token", 201); err != nil {
		t.Fatal(err)
	}
	other := there(person{token: second.JSON201.Secret})
	within("a new token", 0, 200, func() (answer, error) { return other.api.GetMeWithResponse(ctx) })
	revoked, err := s.organiser.api.RevokeTokenWithResponse(ctx, second.JSON201.ID)
	if err := expect(revoked, err, "revoke the token", 204); err != nil {
		t.Fatal(err)
	}
	within("a revoked token", remembered, 401, func() (answer, error) { return other.api.GetMeWithResponse(ctx) })

	// A membership, to which reading and keeping records look.
	me, err := removed.api.GetMeWithResponse(ctx)
	if err := expect(me, err, "who is the angler", 200); err != nil {
		t.Fatal(err)
	}
	at := there(removed.person)
	fish := keepsFish(t, s, removed, at)
	within("a member's fish", 0, 201, fish)
	within("a member", 0, 200, func() (answer, error) { return at.api.GetTrialWithResponse(ctx, s.trial) })
	out, err := s.organiser.api.RemoveMemberWithResponse(ctx, s.club, me.JSON200.ID)
	if err := expect(out, err, "remove a member", 204); err != nil {
		t.Fatal(err)
	}
	within("a removed member's reading", 0, 404, func() (answer, error) { return at.api.GetTrialWithResponse(ctx, s.trial) })

	within("a removed member's fish", 0, 409, fish) // decided under the chain's lock, whoever is remembered as a member

	// A consent.
	at = there(leaver.person)
	within("an enrolment", 0, 200, func() (answer, error) { return at.api.GetEnrolmentWithResponse(ctx, s.trial) })
	gone, err := leaver.api.WithdrawWithResponse(ctx, s.trial, openapi.Withdrawal{Erase: true})
	if err := expect(gone, err, "erase an angler", 204); err != nil {
		t.Fatal(err)
	}
	within("an erased angler's enrolment", 0, 404, func() (answer, error) { return at.api.GetEnrolmentWithResponse(ctx, s.trial) })
}

// keepsFish begins a day's fishing and returns what sends the next fish of it to the other process.
func keepsFish(t *testing.T, s *story, p *player, there person) func() (answer, error) {
	t.Helper()
	ctx, now := t.Context(), time.Now().Truncate(time.Millisecond)
	id := func() openapi.OutingID { return openapi.OutingID(demoID(p.angler.rng, time.Now())) }
	outing, unit, period := id(), id(), id()
	begun, err := p.api.PutOutingWithResponse(ctx, s.trial, outing, openapi.NewOuting{Water: demoWaters[0].Name, StartedAt: now})
	if err := expect(begun, err, "begin an outing", 201); err != nil {
		t.Fatal(err)
	}
	fetched, err := p.api.PutUnitWithResponse(ctx, s.trial, unit, openapi.NewUnit{})
	if err := expect(fetched, err, "fetch a unit", 201); err != nil {
		t.Fatal(err)
	}
	half, err := p.api.PutPeriodWithResponse(ctx, s.trial, period, openapi.NewPeriod{Outing: outing, Unit: unit, Half: 1, Confirmed: true, StartedAt: now})
	if err := expect(half, err, "begin a half", 201); err != nil {
		t.Fatal(err)
	}
	return func() (answer, error) {
		return there.api.PutCatchWithResponse(ctx, s.trial, openapi.CatchID(id()), catchIn(period))
	}
}
