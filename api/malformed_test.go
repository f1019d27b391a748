package api_test

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/jackc/pgx/v5/pgxpool"
)

// Whatever is sent, it is never the server that fails. Every operation of the document that takes JSON gets its example
// with parts taken away, doubled, swapped for values of other types and of strange content, cut off and garbled; the
// paths and queries get the like.
func TestMalformedRequestsAreNeverOurFault(t *testing.T) {
	rounds := 10
	if text := os.Getenv("EVENRIG_ROUNDS"); text != "" { // 45 make some ten thousand requests
		var err error
		if rounds, err = strconv.Atoi(text); err != nil {
			t.Fatal(err)
		}
	}
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	e := c.opened(c.ruleSheet())
	r := e.join("Bert")
	outing, unit, period := r.inAPeriod()
	fish := r.land(period.ID, "C")
	known := map[string]string{
		"club": c.id.String(), "trial": e.trial.String(), "enrolment": r.enrolment.String(), "outing": outing.String(), "unit": unit.ID.String(),
		"period": period.ID.String(), "catch": fish.String(), "n": "1",
	}
	rng := rand.New(rand.NewPCG(7, 2026))
	rows, sent := rowsOf(t, w.database), 0
	for _, path := range slices.Sorted(mapKeys(document().Paths.Map())) {
		for method, op := range document().Paths.Value(path).Operations() {
			if path == "/v1/me/sign-out" || path == "/v1/trials/{trial}/enrolment/withdrawal" || path == "/v1/trials/{trial}/state" && method == http.MethodPost {
				continue // they could end the trial that the others need; their bodies are one word and one tick
			}
			for range rounds {
				at := regexp.MustCompile(`\{(\w+)\}`).ReplaceAllStringFunc(path, func(p string) string {
					if id := known[strings.Trim(p, "{}")]; id != "" && rng.IntN(8) > 0 {
						return id
					}
					return []string{newID().String(), "0", "-1", "99999999999999999999", "%00", "..%2f", "00000000-0000-0000-0000-000000000000"}[rng.IntN(7)]
				})
				if rng.IntN(4) == 0 {
					at += []string{"?limit=0", "?limit=1e9", "?after=%00", "?dry_run=maybe", "?dry_run=true&dry_run=true", "?%zz", "?limit"}[rng.IntN(7)]
				}
				body, kind := mutatedBody(t, rng, op, known)
				for _, p := range []*person{r.person, c.organiser} {
					sent++
					counted := rng.IntN(16) == 0
					before := int64(0)
					if counted {
						before = rows.count(t)
					}
					a := p.send(method, at, body, "Content-Type", kind, "If-Match", []string{`"1"`, `"0"`, "*", `W/"1"`, `"x"`}[rng.IntN(5)])
					if counted && a.status >= 400 {
						if now := rows.count(t); now != before {
							t.Errorf("%s %s was refused with %d, and %d rows more were there after it\n%s", method, at, a.status, now-before, body)
						}
					}
					if a.status >= 500 {
						t.Errorf("%s %s answered %d to %q\n%s", method, at, a.status, body, a.body)
					}
				}
			}
		}
	}
	t.Logf("%d requests", sent)
	if strings.Contains(w.log.String(), "level=ERROR") {
		t.Errorf("the log has errors:\n%s", regexp.MustCompile(`(?m)^.*level=ERROR.*$`).FindString(w.log.String()))
	}
}

// rowCounter counts the rows of all tables of a database, the queue's too.
type rowCounter struct {
	conn *pgxpool.Pool
	sql  string
}

func rowsOf(t *testing.T, url string) rowCounter {
	t.Helper()
	conn, err := pgxpool.New(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(conn.Close)
	c := rowCounter{conn: conn}
	const all = `
SELECT 'SELECT ' || string_agg(format('(SELECT count(*) FROM %I.%I)', schemaname, tablename), ' + ')
FROM pg_tables WHERE schemaname IN ('public', 'jobs')`
	if err := conn.QueryRow(t.Context(), all).Scan(&c.sql); err != nil {
		t.Fatal(err)
	}
	return c
}

func (c rowCounter) count(t *testing.T) (n int64) {
	t.Helper()
	if err := c.conn.QueryRow(t.Context(), c.sql).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

func mapKeys[K comparable, V any](m map[K]V) func(func(K) bool) {
	return func(yield func(K) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}

func mutatedBody(t *testing.T, rng *rand.Rand, op *openapi3.Operation, known map[string]string) (body, kind string) {
	if op.RequestBody == nil {
		return "", "application/json"
	}
	kinds := slices.Sorted(mapKeys(op.RequestBody.Value.Content))
	kind = kinds[rng.IntN(len(kinds))]
	media := op.RequestBody.Value.Content[kind]
	var example any = media.Example
	if s := media.Schema.Value; len(s.Examples) > 0 {
		example = s.Examples[0]
	} else if s.Items != nil && len(s.Items.Value.Examples) > 0 {
		example = []any{s.Items.Value.Examples[0], s.Items.Value.Examples[0]}
	} else if part := s.Properties["protocol"]; part != nil {
		example = map[string]any{"protocol": part.Value.Examples[0]}
	}
	if given, isText := example.(string); isText {
		return garble(rng, given), kind
	}
	text, err := json.Marshal(example)
	if err != nil {
		t.Fatal(err)
	}
	var value any
	if err := json.Unmarshal(text, &value); err != nil {
		t.Fatal(err)
	}
	useKnown(value, known)
	for range 1 + rng.IntN(3) {
		value = mutate(rng, value, 0)
	}
	if text, err = json.Marshal(value); err != nil {
		t.Fatal(err)
	}
	body = strings.ReplaceAll(string(text), `"\ufffd"`, `"\u0000"`)
	if rng.IntN(6) == 0 {
		body = garble(rng, body)
	}
	return body, kind
}

// useKnown puts ids that exist where the example has made-up ones, so that a request gets past the form.
func useKnown(value any, known map[string]string) {
	switch value := value.(type) {
	case map[string]any:
		for name, v := range value {
			if id := known[name]; id != "" && v != nil {
				value[name] = id
			} else {
				useKnown(v, known)
			}
		}
	case []any:
		for _, v := range value {
			useKnown(v, known)
		}
	}
}

// strange is a value of strange content, made anew each time: what is put into it must not be met again elsewhere.
func strange(rng *rand.Rand) any {
	values := []any{
		nil, true, "", "\ufffd", "x", strings.Repeat("ä", 2000), "'; DROP TABLE catches; --", "\u202e\u0007", "2026-02-30T00:00:00Z", "0000-01-01T00:00:00Z",
		"9999-12-31T23:59:59.999999999+14:00", "00000000-0000-0000-0000-000000000000", json.Number("1e400"), json.Number("-1e30"), json.Number("0.1"), json.Number("3.0"),
		json.Number("9223372036854775808"), -1,
		[]any{},
		map[string]any{},
		[]any{[]any{nil}},
	}
	return values[rng.IntN(len(values))]
}

// mutate changes one part of a JSON value.
func mutate(rng *rand.Rand, value any, depth int) any {
	switch v := value.(type) {
	case map[string]any:
		names := slices.Sorted(mapKeys(v))
		if len(names) == 0 || rng.IntN(10) == 0 {
			v[fmt.Sprint("extra", rng.IntN(3))] = strange(rng)
			return v
		}
		name := names[rng.IntN(len(names))]
		switch rng.IntN(4) {
		case 0:
			delete(v, name)
		case 1:
			v[strings.ToUpper(name)] = v[name]
		default:
			v[name] = mutate(rng, v[name], depth+1)
		}
		return v
	case []any:
		switch {
		case len(v) == 0 || rng.IntN(3) == 0:
			return append(v, strange(rng))
		case rng.IntN(3) == 0:
			return append(v, v...)
		}
		i := rng.IntN(len(v))
		v[i] = mutate(rng, v[i], depth+1)
		return v
	}
	return strange(rng)
}

// garble cuts a text off, doubles it or changes some of its bytes.
func garble(rng *rand.Rand, s string) string {
	switch b := []byte(s); rng.IntN(4) {
	case 0:
		return s[:rng.IntN(len(s)+1)]
	case 1:
		return s + s
	case 2:
		return strings.Repeat("[", 20_000) + s
	default:
		for range 1 + rng.IntN(4) {
			b[rng.IntN(len(b))] = byte(rng.IntN(256))
		}
		return string(b)
	}
}
