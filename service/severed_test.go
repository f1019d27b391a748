package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"evenrig/db"
	"evenrig/db/private"
	"evenrig/openapi"
	"evenrig/service/trial"
)

// TestDatabaseIsCutOffAnywhere: whatever is asked, all connections to the database are cut in the middle of the first piece of what
// goes to and fro, of the second, and so on until the answer comes through uncut. Every answer on the way is a success, or 503 with
// Retry-After and a code; what is sent again under the same id is there once, under the receipt that it was first given.
func TestDatabaseIsCutOffAnywhere(t *testing.T) {
	t.Parallel()
	l, folder, address := newDatabaseLine(t)
	where := storage{Data: folder, DatabaseURL: address, LogLevel: "error"}
	clock := &storyClock{}
	clock.goReal()
	p, err := where.assemble(t.Context(), where.ownDatabase, slog.New(slog.DiscardHandler), clock.now)
	if err != nil {
		t.Fatal(err)
	}
	r, err := p.start(t.Context(), listening{Listen: "127.0.0.1:0"}, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(errors.Join(err, p.close()))
	}
	t.Cleanup(func() {
		if err := errors.Join(r.stop(), p.close()); err != nil {
			t.Error(err)
		}
	})
	secret, err := p.service.FirstAdmin(t.Context(), "Secretary")
	if err != nil {
		t.Fatal(err)
	}
	s := newStory(r.url, clock, io.Discard)
	for _, part := range []func(context.Context) error{
		func(ctx context.Context) error { return s.found(ctx, secret) }, s.letIn, s.writeRules, s.join,
	} {
		if err := part(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	angler, organiser := s.anglers[0], s.organiser
	id := func() string { return demoID(angler.angler.rng, time.Now()).String() }
	in, club, now := "/v1/trials/"+s.trial.String(), "/v1/clubs/"+s.club.String(), time.Now().Truncate(time.Millisecond)
	outing, unit, period := openapi.OutingID(demoID(angler.angler.rng, now)), openapi.UnitID(demoID(angler.angler.rng, now)), openapi.PeriodID(demoID(angler.angler.rng, now))
	fish, email, password := catchIn(period), demoEmail, demoPassword
	batch := func() (all []openapi.BatchCatch) {
		for range 3 {
			all = append(all, openapi.BatchCatch{ID: openapi.CatchID(demoID(angler.angler.rng, now)), Period: period, TakenPattern: fish.TakenPattern, Species: fish.Species, CaughtAt: fish.CaughtAt})
		}
		return all
	}
	put := func(path string, body any) func() request {
		return func() request { return request{by: angler.person, method: http.MethodPut, path: in + path, body: body} }
	}
	get := func(by person, path string) func() request {
		return func() request { return request{by: by, method: http.MethodGet, path: path} }
	}
	c := &cuts{t: t, line: l, url: r.url, stride: 3}
	if os.Getenv("EVENRIG_FAULTS") != "" {
		c.stride = 1000
	}
	for _, each := range []struct {
		what string
		ask  func() request
	}{
		{"an outing", put("/outings/"+outing.String(), openapi.NewOuting{Water: demoWaters[0].Name, StartedAt: now})},
		{"a unit", put("/units/"+unit.String(), openapi.NewUnit{})},
		{"a period", put("/periods/"+period.String(), openapi.NewPeriod{Outing: outing, Unit: unit, Half: 1, Confirmed: true, StartedAt: now})},
		{"a fish", func() request { return put("/catches/"+id(), fish)() }},
		{"a batch", func() request {
			return request{by: angler.person, method: http.MethodPost, path: in + "/catches", body: batch()}
		}},
		{"own fish", get(angler.person, in+"/catches")},
		{"own data", get(angler.person, "/v1/me/data")},
		{"the period's end", put("/periods/"+period.String()+"/end", openapi.NewPeriodEnd{EndedAt: now, Reason: trial.EndedByRule, SwapNowAt: &now})},
		{"the outing's end", put("/outings/"+outing.String()+"/end", openapi.NewOutingEnd{EndedAt: now, Reason: "planned"})},
		{"the trial", get(organiser, in)},
		{"the rule sheet", get(organiser, in+"/protocol")},
		{"progress", get(organiser, in+"/progress")},
		{"checkpoints", get(organiser, in+"/checkpoints")},
		{"members", get(organiser, club+"/members")},
		{"an invitation", func() request {
			return request{by: organiser, method: http.MethodPost, path: club + "/invitations", body: openapi.NewInvitation{Role: string(trial.Angler)}}
		}},
		{"an address and a password", func() request {
			return request{by: organiser, method: http.MethodPut, path: "/v1/me/sign-in", body: openapi.NewSignIn{Email: &email, Password: &password, CurrentPassword: &password}}
		}},
		{"a sign-in", func() request {
			return request{method: http.MethodPost, path: "/v1/sessions", body: openapi.SignIn{Email: email, Password: password}}
		}},
		{"readiness", get(person{}, "/readyz")},
		{"the register's page", get(person{}, "/register")},
	} {
		c.everywhere(each.what, each.ask)
	}
	if checked, err := p.service.Check(t.Context()); err != nil || len(checked.Faults) > 0 {
		t.Errorf("check: %+v, %v", checked, err)
	}
	t.Logf("cut %d times, %d answers were 503; the slowest answer took %s", c.cut, c.refused, c.slowest.Round(time.Millisecond))
}

// TestClientIsCutOffAnywhere: a client loses its connection in the middle of its request or of the answer, at every place, and
// sends the same again: what had been taken is answered 200 under the receipt that it has, and is there once.
func TestClientIsCutOffAnywhere(t *testing.T) {
	t.Parallel()
	clock := &storyClock{}
	clock.goReal()
	p, r := startParts(t, clock.now)
	secret, err := p.service.FirstAdmin(t.Context(), "Secretary")
	if err != nil {
		t.Fatal(err)
	}
	angler, period, id := openTrial(t, r.url, secret)
	l := newLine(t, "tcp", strings.TrimPrefix(r.url, "http://"))
	c := &cuts{t: t, line: l, url: "http://" + l.entry, stride: 1000, gone: true}
	rng, sent := rand.New(rand.NewPCG(2, 9)), map[string]bool{}
	fresh := func() openapi.CatchID {
		id := openapi.CatchID(demoID(rng, time.Now()))
		sent[id.String()] = true
		return id
	}
	in := "/v1/trials/" + id.String() + "/catches"
	c.everywhere("a fish", func() request {
		return request{by: angler, method: http.MethodPut, path: in + "/" + fresh().String(), body: catchIn(period)}
	})
	c.everywhere("a day's fish", func() request {
		var batch []openapi.BatchCatch
		for range 60 {
			fish := catchIn(period)
			batch = append(batch, openapi.BatchCatch{ID: fresh(), Period: period, TakenPattern: fish.TakenPattern, Species: fish.Species, CaughtAt: fish.CaughtAt})
		}
		return request{by: angler, method: http.MethodPost, path: in, body: batch}
	})
	limit := 500
	list, err := angler.api.ListCatchesWithResponse(t.Context(), id, &openapi.ListCatchesParams{Limit: &limit})
	if err := expect(list, err, "list the catches", 200); err != nil {
		t.Fatal(err)
	}
	if len(sent) > limit {
		t.Fatalf("%d fish were sent, more than one page", len(sent))
	}
	if got := len(list.JSON200.Items); got != len(sent) {
		t.Errorf("%d fish are there, %d were sent", got, len(sent))
	}
	t.Logf("cut %d times", c.cut)
}

// TestSchemaIsCutOffAnywhere: who brings the schema up and is cut off, at whatever place, calls again and goes on.
func TestSchemaIsCutOffAnywhere(t *testing.T) {
	t.Parallel()
	l, _, address := newDatabaseLine(t)
	want, err := db.LatestVersion()
	if err != nil {
		t.Fatal(err)
	}
	broken := 0
	for pieces := 5; ; pieces += pieces / 4 {
		cut := l.cutAfter(pieces)
		err := db.MigrateUp(t.Context(), address)
		if err == nil && !cut() {
			break
		}
		broken++
	}
	if have, err := db.MigrationVersion(t.Context(), address); err != nil || have != want {
		t.Errorf("the schema is at step %d of %d: %v", have, want, err)
	}
	t.Logf("broken off %d times", broken)
}

// request is one to be sent again and again.
type request struct {
	by           person
	method, path string
	body         any
}

// cuts sends requests while the line is cut.
type cuts struct {
	t            *testing.T
	line         *line
	url          string
	cut, refused int
	slowest      time.Duration
	// From so many pieces on not every place is cut at.
	stride int
	gone   bool // it is the client that is cut off, so that it may get no answer
}

// everywhere sends what ask returns with the line cut after n pieces, for n from 1 until it comes through uncut; each twice
// more once the line is whole: what was taken has the same answer then.
func (c *cuts) everywhere(what string, ask func() request) {
	c.t.Helper()
	for n := 1; ; n += 1 + n/c.stride {
		r := ask()
		was := c.line.cutAfter(n)
		status, first := c.send(what, r)
		cut := was()
		again := c.whole(what, r)
		if r.method == http.MethodPut {
			if third := c.whole(what, r); !bytes.Equal(receipts(c.t, again), receipts(c.t, third)) {
				c.t.Errorf("%s: answered %s, then %s", what, again, third)
			}
			if status < 300 && status > 0 && !bytes.Equal(receipts(c.t, first), receipts(c.t, again)) {
				c.t.Errorf("%s, cut after %d pieces: answered %s, then %s", what, n, first, again)
			}
		}
		if !cut {
			return
		}
		c.cut++
	}
}

// receipts is what must not differ between an answer and the answer to the same sent again.
func receipts(t *testing.T, body []byte) []byte {
	t.Helper()
	var said struct {
		Receipt *openapi.Receipt
		N       int
		First   string
	}
	if len(body) > 0 {
		if err := json.Unmarshal(body, &said); err != nil {
			t.Fatalf("%v: %s", err, body)
		}
	}
	text, err := json.Marshal(said)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// whole sends the request again until it is answered with success: connections that were cut may still be in the pool.
func (c *cuts) whole(what string, r request) []byte {
	c.t.Helper()
	for range 100 {
		if status, body := c.send(what, r); status > 0 && status < 300 {
			return body
		}
		if c.t.Failed() {
			c.t.FailNow()
		}
	}
	c.t.Fatalf("%s: not taken in 100 attempts over a whole line", what)
	return nil
}

// send returns status and body, and 0 for an answer that was broken off after it had begun, as long tables are.
func (c *cuts) send(what string, r request) (status int, body []byte) {
	c.t.Helper()
	text, err := json.Marshal(r.body)
	if err != nil {
		c.t.Fatal(err)
	}
	if r.body == nil {
		text = nil
	}
	ctx, cancel := context.WithTimeout(c.t.Context(), 90*time.Second)
	defer cancel()
	sent, err := http.NewRequestWithContext(ctx, r.method, c.url+r.path, bytes.NewReader(text))
	if err != nil {
		c.t.Fatal(err)
	}
	if r.body != nil {
		sent.Header.Set("Content-Type", "application/json")
	}
	if r.by.token != "" {
		sent.Header.Set("Authorization", "Bearer "+r.by.token)
	}
	begun := time.Now()
	sent.Close = c.gone // a connection for each
	answer, err := http.DefaultClient.Do(sent)
	if err != nil && c.gone {
		return 0, nil
	}
	if err != nil {
		c.t.Fatalf("%s: %v", what, err)
	}
	defer answer.Body.Close()
	body, err = io.ReadAll(answer.Body)
	c.slowest = max(c.slowest, time.Since(begun))
	switch {
	case err != nil && (c.gone || answer.StatusCode == http.StatusOK):
		return 0, nil
	case err != nil:
		c.t.Fatalf("%s: %v", what, err)
	case answer.StatusCode == http.StatusServiceUnavailable:
		c.refused++
		if after := answer.Header.Get("Retry-After"); after == "" || !(strings.Contains(string(body), `"code":`) || strings.Contains(answer.Header.Get("Content-Type"), "html")) {
			c.t.Errorf("%s: 503 with Retry-After %q: %s", what, after, body)
		}
	case answer.StatusCode >= 300:
		c.t.Errorf("%s: answered %d: %s", what, answer.StatusCode, body)
	case strings.Contains(string(body), `"http_status":`):
		return c.batch(what, body)
	}
	return answer.StatusCode, body
}

// batch reads the answer to several fish: any of them may have been refused.
func (c *cuts) batch(what string, body []byte) (status int, whole []byte) {
	c.t.Helper()
	var lines []openapi.BatchOutcome
	if err := json.Unmarshal(body, &lines); err != nil {
		c.t.Fatal(err)
	}
	for _, l := range lines {
		switch l.HTTPStatus {
		case http.StatusOK, http.StatusCreated:
		case http.StatusServiceUnavailable:
			status = l.HTTPStatus
			c.refused++
		default:
			c.t.Errorf("%s: a fish was answered %d: %s", what, l.HTTPStatus, body)
		}
	}
	if status == 0 {
		status = http.StatusOK
	}
	return status, body
}

// line is a way that can be cut.
type line struct {
	network, address string // where it leads
	entry            string // where it begins

	mu   sync.Mutex
	open []net.Conn
	left int // pieces until it is cut; nothing is cut at 0
}

// newDatabaseLine is a line to a private PostgreSQL, with a data folder and the address of its database by the line.
func newDatabaseLine(t *testing.T) (l *line, folder, address string) {
	t.Helper()
	folder = dataFolder(t)
	cluster, err := private.Start(t.Context(), filepath.Join(folder, "server"), slog.New(slog.DiscardHandler), private.Ephemeral())
	if err != nil {
		needServer(t, err)
	}
	t.Cleanup(func() {
		if err := cluster.Stop(); err != nil {
			t.Error(err)
		}
	})
	u, err := url.Parse(cluster.URL(private.Database))
	if err != nil {
		t.Fatal(err)
	}
	l = newLine(t, "unix", filepath.Join(u.Query().Get("host"), ".s.PGSQL.5432"))
	u.Host, u.RawQuery = l.entry, "sslmode=disable"
	return l, folder, u.String()
}

func newLine(t *testing.T, network, address string) *line {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { listener.Close() })
	l := &line{network: network, address: address, entry: listener.Addr().String()}
	go func() {
		for {
			in, err := listener.Accept()
			if err != nil {
				return
			}
			go l.carry(in)
		}
	}()
	return l
}

// carry takes what comes to the line's end and back, piece by piece.
func (l *line) carry(in net.Conn) {
	out, err := net.Dial(l.network, l.address)
	if err != nil {
		in.Close()
		return
	}
	l.mu.Lock()
	l.open = append(l.open, in, out)
	l.mu.Unlock()
	go l.pieces(in, out)
	l.pieces(out, in)
}

func (l *line) pieces(to, from net.Conn) {
	defer to.Close()
	defer from.Close()
	for piece := make([]byte, 4<<10); ; {
		n, err := from.Read(piece)
		if err != nil {
			return
		}
		if l.counts() {
			_, _ = to.Write(piece[:n/2])
			l.cut()
			return
		}
		if _, err := to.Write(piece[:n]); err != nil {
			return
		}
	}
}

// counts counts a piece and reports whether it is the one in whose middle the line is cut.
func (l *line) counts() (cut bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.left == 0 {
		return false
	}
	l.left--
	return l.left == 0
}

// cut ends every connection.
func (l *line) cut() {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, conn := range l.open {
		conn.Close()
	}
	l.open = nil
}

// cutAfter cuts every connection in the middle of the n-th piece from now. The function that it returns makes the line whole and reports
// whether it was cut.
func (l *line) cutAfter(n int) (was func() bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.left = n
	return func() bool {
		l.mu.Lock()
		defer l.mu.Unlock()
		cut := l.left == 0
		l.left = 0
		return cut
	}
}
