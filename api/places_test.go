package api_test

import (
	"bytes"
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"log/slog"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"evenrig/api"
	"evenrig/db"
	"evenrig/db/dbtest"
	"evenrig/openapi"
	"evenrig/service/conduct"
)

// wholeDatabase is every row of every table as text, byte strings decoded.
func wholeDatabase(t *testing.T, url string) []byte {
	t.Helper()
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		t.Fatal(err)
	}
	conn, err := pgx.ConnectConfig(t.Context(), config.ConnConfig)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context()) //nolint:errcheck // read only
	lines := func(sql string) []string {
		rows, err := conn.Query(t.Context(), sql)
		if err != nil {
			t.Fatalf("%s: %v", sql, err)
		}
		found, err := pgx.CollectRows(rows, pgx.RowTo[string])
		if err != nil {
			t.Fatalf("%s: %v", sql, err)
		}
		return found
	}
	var all bytes.Buffer
	for _, table := range lines(`SELECT format('%I.%I', schemaname, tablename) FROM pg_tables WHERE schemaname IN ('public', 'jobs')`) {
		for _, row := range lines(`SELECT r::text FROM ` + table + ` r`) {
			fmt.Fprintf(&all, "%s %s\n", table, row)
		}
	}
	return regexp.MustCompile(`\\\\x[0-9a-f]+`).ReplaceAllFunc(all.Bytes(), func(text []byte) []byte {
		decoded, err := hex.DecodeString(string(text[3:]))
		if err != nil {
			t.Fatal(err)
		}
		return decoded
	})
}

// Whatever a phone says about where it is, in whatever way and however wrong, nothing finer than the grid is in the database or
// the log afterwards, not even in what a record is known again by.
func TestNothingFinerThanTheGridIsKept(t *testing.T) {
	t.Parallel()
	url := dbtest.URL(t)
	store, err := db.Open(t.Context(), url, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	w := newEmptyWorld(t)
	w.service = conduct.New(store, conduct.Options{Clock: w.clock, Random: rand.Reader, Key: conduct.SealKey{1, 2, 3}, Program: "test"})
	t.Cleanup(w.service.Close)
	log := &syncBuffer{}
	server := httptest.NewServer(api.NewServer(w.service, api.Options{Log: slog.New(slog.NewTextHandler(log, &slog.HandlerOptions{Level: slog.LevelDebug}))}).Handler())
	t.Cleanup(server.Close)
	w.url = server.URL
	secret, err := w.service.FirstAdmin(t.Context(), "Ada of the server")
	if err != nil {
		t.Fatal(err)
	}
	w.admin = w.person(secret)
	c := w.newClub("Wend Grayling Club")
	p := c.ruleSheet()
	p.PlaceGrid = "1km"
	e := c.opened(p)
	r := e.join("Ida")
	ticks := allTicks
	ticks.PlaceCoarse = ptr(true)
	open := e.invited("angler", "Mona")
	ok[*openapi.PutEnrolmentResponse](t, 201)(open.PutEnrolmentWithResponse(t.Context(), e.trial, uuid.New(), openapi.NewEnrolment{Code: strings.Repeat("ab", 32), Consent: ticks}))

	const spot, digits = `{"latitude": 54.1876543, "longitude": -2.3198765}`, "1876543|3198765|876543|198765"
	send := func(who *person, place string) answer {
		return who.send("PUT", e.path("/outings/%s", newID()), fmt.Sprintf(`{"water": "Upper Wend", "started_at": %q, "place": %s}`, w.clock().Format("2006-01-02T15:04:05Z"), place))
	}
	kept := send(open, spot)
	if kept.status != 201 || !strings.Contains(string(kept.body), `"cell":"54.18N 2.32W"`) || !strings.Contains(string(kept.body), `"uncertainty_m":1570`) {
		t.Errorf("answered %d: %s", kept.status, kept.body)
	}
	if dropped := send(r.person, spot); dropped.status != 201 || !strings.Contains(string(dropped.body), `"place_dropped":"no_consent"`) || !strings.Contains(string(dropped.body), `"place":null`) {
		t.Errorf("without the tick: %d: %s", dropped.status, dropped.body)
	}
	for _, wrong := range []string{
		`{"latitude": 154.1876543, "longitude": -2.3198765}`, `{"latitude": 54.1876543}`, `{"cell": "54.1876543N 2.3198765"}`, `{"cell": "54.1876543N 2.3198765W", "latitude": 54.1876543}`,
		`{"latitude": "54.1876543", "longitude": -2.3198765}`, `{"latitude": 54.1876543, "longitude": -2.3198765, "accuracy": 3.1876543}`, `"54.1876543N 2.3198765W"`, `{}`,
		`[54.1876543, -2.3198765]`, `{"latitude": 54.1876543, "longitude": `,
	} {
		if got := send(open, wrong); got.status < 400 || got.status > 499 {
			t.Errorf("%s: answered %d: %s", wrong, got.status, got.body)
		}
	}
	if got := send(open, `{"cell": "54.1876543N 2.3198765W"}`); got.status != 201 || !strings.Contains(string(got.body), `"cell":"54.18N 2.32W"`) {
		t.Errorf("a fine cell: %d: %s", got.status, got.body)
	}
	everything := wholeDatabase(t, url)
	if !bytes.Contains(everything, []byte("54.18N 2.32W")) {
		t.Error("the cell is not in the database, so that the search proves nothing")
	}
	for where, text := range map[string][]byte{"database": everything, "log": []byte(log.String())} {
		if found := regexp.MustCompile(".{0,80}(" + digits + ").{0,20}").Find(text); found != nil {
			t.Errorf("the %s holds %s", where, found)
		}
	}
}
