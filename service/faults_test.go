package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"evenrig/db/private"
	"evenrig/openapi"
	"evenrig/service/trial"
)

// faultsFor is how long the tests of faults go on killing: EVENRIG_FAULTS=10m for a night, a few seconds unless it is set.
func faultsFor(t *testing.T) time.Duration {
	t.Helper()
	text := os.Getenv("EVENRIG_FAULTS")
	if text == "" {
		return 6 * time.Second
	}
	d, err := time.ParseDuration(text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// TestManyProcessesAreKilled: anglers fish through a balancer in front of three processes, one of which is killed every
// second or so and started again. Who gets no answer sends the same again.
func TestManyProcessesAreKilled(t *testing.T) {
	t.Parallel()
	f := newFarm(t, 3)
	f.fish(8)
	f.during(func() {
		i := rand.IntN(len(f.processes))
		f.processes[i].kill()
		f.services++
		time.Sleep(time.Duration(rand.IntN(300)) * time.Millisecond)
		f.processes[i].start(t)
	}, time.Second)
	f.reckon()
}

// TestDatabaseIsKilled: the same, but what is killed is PostgreSQL, now and then with every process of the service; or it ends
// at once as for an immediate restart, or only all its sessions.
func TestDatabaseIsKilled(t *testing.T) {
	t.Parallel()
	f := newFarm(t, 2)
	f.fish(8)
	f.during(func() {
		switch rand.IntN(6) {
		case 0:
			f.endSessions()
			f.sessions++
		case 1:
			f.killServer(syscall.SIGQUIT)
			f.servers++
		case 2, 3:
			f.killServer(syscall.SIGKILL)
			f.servers++
		default:
			for _, p := range f.processes {
				p.kill()
			}
			f.killServer(syscall.SIGKILL)
			f.both++
			for _, p := range f.processes {
				p.start(t)
			}
		}
	}, 1500*time.Millisecond)
	f.reckon()
}

// farm is several processes of the service on one database, a balancer before them, and anglers who fish through it.
type farm struct {
	t         *testing.T
	binary    string
	folder    string
	cluster   *private.Cluster
	processes []*process
	story     *story
	// What was killed, how often: one process, PostgreSQL, every process with PostgreSQL, PostgreSQL's sessions.
	services, servers, both, sessions int
	stop                              chan struct{}
	anglers                           sync.WaitGroup
	kept                              []*kept
}

// kept is what one angler was told.
type kept struct {
	angler  *player
	catches map[openapi.CatchID]openapi.Receipt
	sent    []openapi.BatchCatch // as they were sent, to send them once more
	units   map[openapi.UnitID]openapi.Unit
	// Requests sent, and those among them that were sent again.
	requests, repeats int
	slowest           time.Duration
}

func newFarm(t *testing.T, processes int) *farm {
	t.Helper()
	f := &farm{t: t, folder: dataFolder(t), binary: builtProgram(t), stop: make(chan struct{})}
	f.startServer()
	t.Cleanup(func() { _ = f.cluster.Stop() })
	for range processes {
		p := &process{binary: f.binary, database: f.url(), folder: f.folder, address: freeAddress(t)}
		p.start(t)
		t.Cleanup(p.kill)
		f.processes = append(f.processes, p)
	}
	balancer := f.balance()
	token, err := exec.Command(f.binary, "token", "--admin", "--database-url", f.url(), "--data", f.folder, "--log-level", "error").Output()
	if err != nil {
		t.Fatalf("token: %v", err)
	}
	clock := &storyClock{}
	clock.goReal()
	f.story = newStory(balancer, clock, io.Discard)
	for _, part := range []func(context.Context) error{
		func(ctx context.Context) error { return f.story.found(ctx, strings.TrimSpace(string(token))) }, f.story.writeRules, f.story.join,
	} {
		if err := part(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	return f
}

func (f *farm) url() string { return f.cluster.URL(private.Database) }

func (f *farm) startServer() {
	cluster, err := private.Start(f.t.Context(), filepath.Join(f.folder, "server"), slog.New(slog.DiscardHandler))
	if err != nil {
		needServer(f.t, err)
	}
	f.cluster = cluster
}

// endSessions ends every session of PostgreSQL's, whatever it is doing.
func (f *farm) endSessions() {
	conn, err := pgx.Connect(f.t.Context(), f.url())
	if err != nil {
		f.t.Error(err)
		return
	}
	const all = `SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE backend_type = 'client backend' AND pid <> pg_backend_pid()`
	_, err = conn.Exec(f.t.Context(), all)
	if err := errors.Join(err, conn.Close(f.t.Context())); err != nil {
		f.t.Error(err)
	}
}

// killServer ends PostgreSQL by the signal and starts it again: SIGKILL without a word, SIGQUIT as for an immediate restart.
func (f *farm) killServer(by syscall.Signal) {
	pid, err := os.ReadFile(filepath.Join(f.folder, "server", "data", "postmaster.pid"))
	if err != nil {
		f.t.Error(err)
		return
	}
	line, _, _ := strings.Cut(string(pid), "\n")
	n, err := strconv.Atoi(line)
	if err != nil {
		f.t.Error(err)
		return
	}
	server, err := os.FindProcess(n)
	if err == nil {
		err = server.Signal(by)
	}
	if err != nil {
		f.t.Error(err)
		return
	}
	<-f.cluster.Done()
	_ = f.cluster.Stop() // says that the server ended by itself
	f.startServer()
}

// process is one process of the service.
type process struct {
	binary, database, folder, address string
	command                           *exec.Cmd
}

// start starts the process and waits until it is ready.
func (p *process) start(t *testing.T) {
	t.Helper()
	var said bytes.Buffer
	p.command = exec.Command(p.binary, "serve", "--database-url", p.database, "--data", p.folder, "--listen", p.address, "--log-level", "error",
		"--limit-token", "none", "--limit-address", "none", "--processes", "3")
	p.command.Stderr = &said
	if err := p.command.Start(); err != nil {
		t.Error(err)
		return
	}
	for end := time.Now().Add(90 * time.Second); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		answer, err := http.Get("http://" + p.address + "/readyz")
		if err == nil {
			answer.Body.Close()
			if answer.StatusCode == http.StatusOK {
				return
			}
		}
	}
	t.Errorf("the service at %s is not ready after 90 s: %s", p.address, said.String())
}

func (p *process) kill() {
	if p.command != nil && p.command.Process != nil {
		_ = p.command.Process.Kill()
		_ = p.command.Wait()
		p.command = nil
	}
}

// freeAddress is an address of this machine on which nobody answers. Its port is none of those that systems hand out (IANA: from 49152;
// Linux: from 32768), so that nobody gets it while who listens there is killed and started again.
func freeAddress(t *testing.T) string {
	t.Helper()
	for range 1000 {
		address := fmt.Sprint("127.0.0.1:", 20_000+rand.IntN(12_000))
		if _, given := givenAddresses.LoadOrStore(address, true); given {
			continue
		}
		if l, err := net.Listen("tcp", address); err == nil {
			l.Close()
			return address
		}
	}
	t.Fatal("no free address was found")
	return ""
}

// givenAddresses are those that freeAddress has returned.
var givenAddresses sync.Map

// balance answers on an address and hands every connection to the next process that takes it.
func (f *farm) balance() (url string) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		f.t.Fatal(err)
	}
	f.t.Cleanup(func() { l.Close() })
	go func() {
		for next := 0; ; next++ {
			in, err := l.Accept()
			if err != nil {
				return
			}
			go f.relay(in, next)
		}
	}()
	return "http://" + l.Addr().String()
}

func (f *farm) relay(in net.Conn, next int) {
	defer in.Close()
	for i := range f.processes {
		out, err := net.DialTimeout("tcp", f.processes[(next+i)%len(f.processes)].address, time.Second)
		if err != nil {
			continue
		}
		defer out.Close()
		done := make(chan struct{}, 2)
		carry := func(to, from net.Conn) {
			_, _ = io.Copy(to, from)
			done <- struct{}{}
		}
		go carry(out, in)
		go carry(in, out)
		<-done
		return
	}
}

// fish lets so many anglers fish until stop is closed.
func (f *farm) fish(anglers int) {
	for _, p := range f.story.anglers[:anglers] {
		k := &kept{angler: p, catches: map[openapi.CatchID]openapi.Receipt{}, units: map[openapi.UnitID]openapi.Unit{}}
		f.kept = append(f.kept, k)
		f.anglers.Go(func() {
			for !f.stopped() {
				if err := f.outing(k); err != nil {
					f.t.Error(err)
					return
				}
			}
		})
	}
}

func (f *farm) stopped() bool {
	select {
	case <-f.stop:
		return true
	default:
		return false
	}
}

// outing is a day's fishing of two blocks; nothing of it is left undone, however often it has to be sent.
func (f *farm) outing(k *kept) error {
	p, now := k.angler, time.Now().Truncate(time.Millisecond)
	id := func() openapi.OutingID { return openapi.OutingID(demoID(p.angler.rng, time.Now())) }
	outing := id()
	send := func(what string, do func(context.Context) (answer, error)) (answer, error) {
		return f.send(k, what, do)
	}
	if _, err := send("outing", func(ctx context.Context) (answer, error) {
		return p.api.PutOutingWithResponse(ctx, f.story.trial, outing, openapi.NewOuting{Water: demoWaters[0].Name, StartedAt: now})
	}); err != nil {
		return err
	}
	for range 2 {
		unit := id()
		got, err := send("unit", func(ctx context.Context) (answer, error) {
			return p.api.PutUnitWithResponse(ctx, f.story.trial, unit, openapi.NewUnit{})
		})
		if err != nil {
			return err
		}
		u := got.(*openapi.PutUnitResponse)
		if u.JSON201 != nil {
			k.units[unit] = *u.JSON201
		} else {
			k.units[unit] = *u.JSON200
		}
		for half := 1; half <= 2; half++ {
			if err := f.half(k, outing, unit, id(), half); err != nil {
				return err
			}
		}
	}
	_, err := send("outing's end", func(ctx context.Context) (answer, error) {
		return p.api.PutOutingEndWithResponse(ctx, f.story.trial, outing, openapi.NewOutingEnd{EndedAt: now.Add(time.Hour), Reason: "planned"})
	})
	return err
}

// half is one period with two fish.
func (f *farm) half(k *kept, outing, unit, period openapi.OutingID, half int) error {
	p := k.angler
	begun := time.Now()
	if _, err := f.send(k, "period", func(ctx context.Context) (answer, error) {
		return p.api.PutPeriodWithResponse(ctx, f.story.trial, period, openapi.NewPeriod{Outing: outing, Unit: unit, Half: half, Confirmed: true, StartedAt: begun})
	}); err != nil {
		return err
	}
	for range 2 {
		fish, body := openapi.CatchID(demoID(p.angler.rng, time.Now())), catchIn(period)
		got, err := f.send(k, "fish", func(ctx context.Context) (answer, error) {
			return p.api.PutCatchWithResponse(ctx, f.story.trial, fish, body)
		})
		if err != nil {
			return err
		}
		saved := got.(*openapi.PutCatchResponse)
		if saved.JSON201 != nil {
			k.catches[fish] = *saved.JSON201.Receipt
		} else {
			k.catches[fish] = *saved.JSON200.Receipt
		}
		k.sent = append(k.sent, openapi.BatchCatch{ID: fish, Period: period, TakenPattern: body.TakenPattern, Species: body.Species, CaughtAt: body.CaughtAt})
	}
	ended := time.Now()
	_, err := f.send(k, "period's end", func(ctx context.Context) (answer, error) {
		return p.api.PutPeriodEndWithResponse(ctx, f.story.trial, period, openapi.NewPeriodEnd{EndedAt: ended, SwapNowAt: &ended, Reason: trial.EndedByRule})
	})
	return err
}

// send sends the same until it is answered with 200 or 201; what the service is at fault for, or nobody answers, is sent
// again. Anything else is an error.
func (f *farm) send(k *kept, what string, do func(context.Context) (answer, error)) (answer, error) {
	for begun := time.Now(); time.Since(begun) < 2*time.Minute; k.repeats++ {
		ctx, cancel := context.WithTimeout(f.t.Context(), 10*time.Second)
		sent := time.Now()
		got, err := do(ctx)
		cancel()
		k.requests++
		k.slowest = max(k.slowest, time.Since(sent))
		switch {
		case err != nil:
		case got.StatusCode() == http.StatusOK, got.StatusCode() == http.StatusCreated:
			return got, nil
		case got.StatusCode() == http.StatusServiceUnavailable && headerOf(got, "Retry-After") == "":
			return nil, fmt.Errorf("%s: 503 without Retry-After: %s", what, got.GetBody())
		case got.StatusCode() != http.StatusServiceUnavailable:
			return nil, fmt.Errorf("%s: answered %d: %s", what, got.StatusCode(), got.GetBody())
		}
		time.Sleep(time.Duration(20+rand.IntN(80)) * time.Millisecond)
	}
	return nil, fmt.Errorf("%s: not taken in two minutes", what)
}

// headerOf returns a header of an answer.
func headerOf(a answer, name string) string {
	return reflect.ValueOf(a).Elem().FieldByName("HTTPResponse").Interface().(*http.Response).Header.Get(name)
}

// during does harm again and again with pauses of about that long, three times at least, then lets the anglers finish.
func (f *farm) during(harm func(), pause time.Duration) {
	end := time.Now().Add(faultsFor(f.t))
	for n := 0; (n < 3 || time.Now().Before(end)) && !f.t.Failed(); n++ {
		time.Sleep(pause/2 + rand.N(pause))
		harm()
	}
	close(f.stop)
	f.anglers.Wait()
}

// reckon compares what anglers were told with what stands, closes and locks the trial, kills once more, and waits for the result.
func (f *farm) reckon() {
	t := f.t
	t.Helper()
	fish, requests, repeats, slowest := 0, 0, 0, time.Duration(0)
	for _, k := range f.kept {
		f.reckonAngler(k)
		fish, requests, repeats, slowest = fish+len(k.catches), requests+k.requests, repeats+k.repeats, max(slowest, k.slowest)
	}
	if t.Failed() {
		return
	}
	f.lock()
	out, err := exec.Command(f.binary, "check", "--database-url", f.url(), "--data", f.folder, "--log-level", "error").CombinedOutput()
	if err != nil || !strings.Contains(string(out), "all agrees") {
		t.Errorf("check after the kills: %v\n%s", err, out)
	}
	t.Logf("killed: a process %d times, PostgreSQL %d times, both %d times, its sessions %d times; of %d requests %d were sent again, the slowest answer took %s; "+
		"%d fish were acknowledged, each is there once under the receipt that was given for it",
		f.services, f.servers, f.both, f.sessions, requests, repeats, slowest.Round(time.Millisecond), fish)
}

func (f *farm) reckonAngler(k *kept) {
	t, ctx := f.t, f.t.Context()
	t.Helper()
	present := map[openapi.CatchID]int{}
	limit := 500
	for after, more := (*openapi.After)(nil), true; more; {
		page, err := k.angler.api.ListCatchesWithResponse(ctx, f.story.trial, &openapi.ListCatchesParams{After: after, Limit: &limit})
		if err := expect(page, err, "list the catches", 200); err != nil {
			t.Fatal(err)
		}
		for _, c := range page.JSON200.Items {
			present[c.ID]++
			last := c.ID
			after = &last
		}
		more = len(page.JSON200.Items) == limit
	}
	for id := range k.catches {
		if present[id] != 1 {
			t.Errorf("fish %s was acknowledged and is there %d times", id, present[id])
		}
	}
	if len(present) != len(k.catches) {
		t.Errorf("%d fish are there, %d were acknowledged", len(present), len(k.catches))
	}
	for some := range slices.Chunk(k.sent, 200) {
		again, err := k.angler.api.SubmitCatchesWithResponse(ctx, f.story.trial, some)
		if err := expect(again, err, "send the fish once more", 200); err != nil {
			t.Fatal(err)
		}
		for i, outcome := range *again.JSON200 {
			if told := k.catches[some[i].ID]; outcome.Receipt == nil || *outcome.Receipt != told {
				t.Errorf("fish %s has the receipt %v; its angler was told %v", some[i].ID, outcome.Receipt, told)
			}
		}
	}
	units, err := k.angler.api.ListUnitsWithResponse(ctx, f.story.trial, nil)
	if err := expect(units, err, "list the units", 200); err != nil {
		t.Fatal(err)
	}
	numbers := map[int]bool{}
	for _, u := range units.JSON200.Items {
		if told := k.units[u.ID]; told.First != u.First || told.N != u.N || numbers[u.N] {
			t.Errorf("unit %s is number %d, %s; its angler was told number %d, %s", u.ID, u.N, u.First, told.N, told.First)
		}
		numbers[u.N] = true
	}
	if len(numbers) != len(k.units) || len(numbers) > 0 && slices.Max(slices.Collect(maps.Keys(numbers))) != len(numbers) {
		t.Errorf("%d units were handed out with the numbers %v", len(k.units), slices.Sorted(maps.Keys(numbers)))
	}
}

// lock closes the trial as if a month ago, locks it, kills every process at once, and waits for the result: a job that
// a killed process had begun is done by another.
func (f *farm) lock() {
	t, ctx := f.t, f.t.Context()
	t.Helper()
	if _, err := f.story.move(ctx, trial.Closed, 200); err != nil {
		t.Fatal(err)
	}
	conn, err := pgx.Connect(ctx, f.url())
	if err != nil {
		t.Fatal(err)
	}
	_, err = conn.Exec(ctx, `UPDATE trials SET closed_at = closed_at - interval '31 days' WHERE id = $1`, f.story.trial.String())
	if err := errors.Join(err, conn.Close(ctx)); err != nil {
		t.Fatal(err)
	}
	if _, err := f.story.move(ctx, trial.Locked, 200); err != nil {
		t.Fatal(err)
	}
	for _, p := range f.processes {
		p.kill()
	}
	for _, p := range f.processes {
		p.start(t)
	}
	for end := time.Now().Add(90 * time.Second); time.Now().Before(end); time.Sleep(200 * time.Millisecond) {
		got, err := f.story.organiser.api.GetAnalysisWithResponse(ctx, f.story.trial, 1, nil)
		if err == nil && got.StatusCode() == http.StatusOK {
			return
		}
	}
	t.Error("the closing analysis is not there after 90 s")
}
