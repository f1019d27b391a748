package api_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"evenrig/api"
	"evenrig/db"
	"evenrig/db/dbtest"
	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// morning is the first day of the invented season.
var morning = time.Date(2026, 9, 1, 8, 0, 0, 0, time.UTC)

// world is a server on its own database, with a clock that moves only when told.
type world struct {
	t        testing.TB
	url      string
	database string // its address
	service  *conduct.Service
	admin    *person
	log      *syncBuffer

	mu  sync.Mutex
	now time.Time
}

// syncBuffer is a log that requests under way may write.
type syncBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *syncBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *syncBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// person is somebody with a token; whatever he is answered is compared with the contract.
type person struct {
	*openapi.ClientWithResponses
	w     *world
	token string
}

func newWorld(t testing.TB) *world {
	t.Helper()
	w := newEmptyWorld(t)
	secret, err := w.service.FirstAdmin(t.Context(), "Ada of the server")
	if err != nil {
		t.Fatal(err)
	}
	w.admin = w.person(secret)
	return w
}

// newEmptyWorld is a world that knows nobody; the options are the server's, but for its log.
func newEmptyWorld(t testing.TB, options ...api.Options) *world {
	t.Helper()
	w := &world{t: t, now: morning, log: &syncBuffer{}}
	log := slog.New(slog.NewTextHandler(w.log, nil))
	w.database = dbtest.URL(t)
	store, err := db.Open(t.Context(), w.database, log)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	w.service = conduct.New(store, conduct.Options{Clock: w.clock, Random: rand.Reader, Key: conduct.SealKey{1, 2, 3}, Program: "test"})
	t.Cleanup(w.service.Close)
	o := api.Options{}
	if len(options) > 0 {
		o = options[0]
	}
	o.Log = log
	server := httptest.NewServer(api.NewServer(w.service, o).Handler())
	t.Cleanup(server.Close)
	w.url = server.URL
	return w
}

func (w *world) clock() time.Time {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.now
}

func (w *world) wait(d time.Duration) time.Time {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.now = w.now.Add(d)
	return w.now
}

func (w *world) person(token string) *person {
	w.t.Helper()
	client, err := openapi.NewClientWithResponses(w.url, openapi.WithHTTPClient(&http.Client{Transport: checking{w.t}}),
		openapi.WithRequestEditorFn(func(_ context.Context, r *http.Request) error {
			if token != "" {
				r.Header.Set("Authorization", "Bearer "+token)
			}
			return nil
		}))
	if err != nil {
		w.t.Fatal(err)
	}
	return &person{ClientWithResponses: client, w: w, token: token}
}

// answer is what came back of a request that was written by hand.
type answer struct {
	status int
	header http.Header
	body   []byte
}

func (a answer) problem(t *testing.T) openapi.Problem {
	t.Helper()
	var p openapi.Problem
	if err := json.Unmarshal(a.body, &p); err != nil {
		t.Fatalf("no problem: %v\n%s", err, a.body)
	}
	return p
}

// send sends a request written by hand; headers are name, value, name, value.
func (p *person) send(method, path, body string, headers ...string) answer {
	p.w.t.Helper()
	r, err := http.NewRequestWithContext(p.w.t.Context(), method, p.w.url+path, strings.NewReader(body))
	if err != nil {
		p.w.t.Fatal(err)
	}
	if p.token != "" {
		r.Header.Set("Authorization", "Bearer "+p.token)
	}
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	got, err := checking{p.w.t}.RoundTrip(r)
	if err != nil {
		p.w.t.Fatal(err)
	}
	return p.w.read(got)
}

// read takes an answer in whole.
func (w *world) read(got *http.Response) answer {
	w.t.Helper()
	defer got.Body.Close()
	text, err := io.ReadAll(got.Body)
	if err != nil {
		w.t.Fatal(err)
	}
	return answer{got.StatusCode, got.Header, text}
}

// ok returns what a generated call was answered, and fails the test unless the answer has the status.
func ok[R interface{ StatusCode() int }](t testing.TB, status int) func(R, error) R {
	return func(answer R, err error) R {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		if answer.StatusCode() != status {
			body, _ := any(answer).(interface{ GetBody() []byte })
			t.Fatalf("answered %d, want %d: %s", answer.StatusCode(), status, body.GetBody())
		}
		return answer
	}
}

// newID makes an id as a phone does.
func newID() uuid.UUID {
	id, err := uuid.NewV7()
	if err != nil {
		panic(err)
	}
	return id
}

// club is a club with somebody in each role.
type club struct {
	w                   *world
	id                  uuid.UUID
	organiser, scrutiny *person
}

func (w *world) newClub(name string) *club {
	w.t.Helper()
	made := ok[*openapi.CreateClubResponse](w.t, 201)(w.admin.CreateClubWithResponse(w.t.Context(), openapi.NewClub{Name: name}))
	c := &club{w: w, id: made.JSON201.ID}
	c.organiser = c.invited("organiser", "Sef, secretary of "+name)
	c.scrutiny = c.invited("auditor", "Odo, scrutineer of "+name)
	return c
}

func (c *club) invited(role, name string) *person {
	c.w.t.Helper()
	inv := ok[*openapi.CreateInvitationResponse](c.w.t, 201)(c.w.admin.CreateInvitationWithResponse(c.w.t.Context(), c.id, openapi.NewInvitation{Role: role}))
	joined := ok[*openapi.AcceptInvitationResponse](c.w.t, 201)(c.w.person("").AcceptInvitationWithResponse(c.w.t.Context(), openapi.AcceptInvitation{Secret: inv.JSON201.Secret, Name: &name}))
	return c.w.person(*joined.JSON201.Token)
}

// ruleSheet is an invented grayling trial, made from the template as a program would.
func (c *club) ruleSheet() openapi.Protocol {
	c.w.t.Helper()
	p := *ok[*openapi.GetProtocolTemplateResponse](c.w.t, 200)(c.organiser.GetProtocolTemplateWithResponse(c.w.t.Context())).JSON200
	p.Title, p.Question = "Collar on the weighted nymph", "Does a collar on the weighted nymph change the share of takes?"
	p.FeatureChanged = "an orange collar behind the bead"
	p.SeasonStart, p.SeasonEnd = "2026-09-01", "2026-11-30"
	p.Patterns = []openapi.Pattern{{Code: "C", Name: "collared nymph", Part: "test"}, {Code: "N", Name: "plain nymph", Part: "control"}}
	p.Species = []string{"Thymallus thymallus"}
	p.Waters = []openapi.Water{{Name: "Upper Wend", WaterType: "river"}, {Name: "Mill Reach", WaterType: "river"}}
	p.Rig.TippetMm, p.Rig.HookModel, p.Rig.HookSize = .14, "straight shank", "14"
	p.OutingLimits.LateLimitH = 1
	return p
}

// contest is a trial of a club.
type contest struct {
	*club
	trial uuid.UUID
}

func (c *club) drafted(p openapi.Protocol) *contest {
	c.w.t.Helper()
	draft := ok[*openapi.CreateTrialResponse](c.w.t, 201)(c.organiser.CreateTrialWithResponse(c.w.t.Context(), c.id, openapi.NewTrial{Protocol: &p}))
	return &contest{c, draft.JSON201.ID}
}

func (c *club) opened(p openapi.Protocol) *contest {
	c.w.t.Helper()
	e := c.drafted(p)
	e.move("registered")
	e.move("open")
	return e
}

func (e *contest) move(state string) openapi.Trial {
	e.w.t.Helper()
	return *ok[*openapi.MoveTrialResponse](e.w.t, 200)(e.organiser.MoveTrialWithResponse(e.w.t.Context(), e.trial, openapi.TrialMove{State: state})).JSON200
}

// rod is an angler who has joined a trial.
type rod struct {
	*person
	e         *contest
	enrolment uuid.UUID
}

var allTicks = openapi.Consent{TakePart: true, Store: true, SharePseudonymous: true, LicenceConfirmed: true, AdultOrGuardian: true}

func (e *contest) join(name string) *rod {
	e.w.t.Helper()
	return e.joinWith(name, allTicks)
}

func (e *contest) joinWith(name string, consent openapi.Consent) *rod {
	e.w.t.Helper()
	r := &rod{person: e.invited("angler", name), e: e, enrolment: uuid.New()}
	code := make([]byte, 32)
	if _, err := rand.Read(code); err != nil {
		e.w.t.Fatal(err)
	}
	ok[*openapi.PutEnrolmentResponse](e.w.t, 201)(r.PutEnrolmentWithResponse(e.w.t.Context(), e.trial, r.enrolment, openapi.NewEnrolment{Code: hex.EncodeToString(code), Consent: consent}))
	return r
}

func (r *rod) outing() uuid.UUID {
	r.w.t.Helper()
	id := newID()
	ok[*openapi.PutOutingResponse](r.w.t, 201)(r.PutOutingWithResponse(r.w.t.Context(), r.e.trial, id, openapi.NewOuting{
		Water: "Upper Wend", StartedAt: r.w.clock(), WaterTemperature: &openapi.Measure{Value: 11.5, Unit: "C"},
	}))
	return id
}

func (r *rod) unit() openapi.Unit {
	r.w.t.Helper()
	return *ok[*openapi.PutUnitResponse](r.w.t, 201)(r.PutUnitWithResponse(r.w.t.Context(), r.e.trial, newID(), openapi.NewUnit{})).JSON201
}

func (r *rod) begin(outing, unit uuid.UUID, half int) openapi.Period {
	r.w.t.Helper()
	return *ok[*openapi.PutPeriodResponse](r.w.t, 201)(r.PutPeriodWithResponse(r.w.t.Context(), r.e.trial, newID(), openapi.NewPeriod{
		Outing: outing, Unit: unit, Half: half, Confirmed: true, StartedAt: r.w.clock(),
	})).JSON201
}

// inAPeriod takes an angler into the first half of his first unit, ten minutes ago.
func (r *rod) inAPeriod() (outing uuid.UUID, unit openapi.Unit, period openapi.Period) {
	r.w.t.Helper()
	outing, unit = r.outing(), r.unit()
	period = r.begin(outing, unit.ID, 1)
	r.w.wait(10 * time.Minute)
	return outing, unit, period
}

// fish is a grayling landed now on the pattern.
func (r *rod) fish(period uuid.UUID, pattern string) openapi.NewCatch {
	origin := string(trial.Wild)
	return openapi.NewCatch{Period: period, TakenPattern: &pattern, Species: "Thymallus thymallus", Origin: &origin, CaughtAt: r.w.clock(), Length: &openapi.Measure{Value: 31.5, Unit: "cm"}}
}

func (r *rod) land(period uuid.UUID, pattern string) uuid.UUID {
	r.w.t.Helper()
	id := newID()
	ok[*openapi.PutCatchResponse](r.w.t, 201)(r.PutCatchWithResponse(r.w.t.Context(), r.e.trial, id, r.fish(period, pattern)))
	return id
}

func (e *contest) path(format string, args ...any) string {
	return fmt.Sprintf("/v1/trials/%s", e.trial) + fmt.Sprintf(format, args...)
}

func text(t testing.TB, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
