package conduct_test

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"evenrig/service/conduct"
	"evenrig/service/exchange"
	"evenrig/service/trial"
)

func (w *world) ownData(who trial.Actor) (data map[string]any, text string) {
	w.t.Helper()
	var out bytes.Buffer
	w.ok(w.s.OwnData(w.ctx, who, conduct.OwnDataJSON, &out))
	w.ok(json.Unmarshal(out.Bytes(), &data))
	return data, out.String()
}

// Everything that was sent comes back, in the same words, and nothing of anybody else's.
func TestOwnDataIsWholeAndOwn(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 3).opened(ruleSheet())
	other := w.newClub("Reed Trout Club", 0)
	r, outing, _, period := e.inAPeriod(e.anglers[0])
	_, secret, err := w.s.Invite(w.ctx, other.founder, other.id, trial.Angler, 1, "")
	w.ok(err)
	must(w.s.AcceptInvitation(w.ctx, &r.actor, secret, "", false))(t)
	second := other.opened(ruleSheet())
	second.join(r.actor)
	fish := r.fish(period, "C")
	fish.Note = `=HYPERLINK("http://example.org","a fine fish, \"really\"")`
	fish.Length = &trial.Measure{Value: 31.5, Unit: "cm"}
	fish.CaughtAt = fish.CaughtAt.In(time.FixedZone("", 2*3600))
	must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, fish))(t)
	must(w.s.AmendCatch(w.ctx, r.actor, e.trial, fish.ID, patchOf(t, 1, map[string]any{"species": "Salmo trutta"})))(t)
	for _, stranger := range e.anglers[1:] {
		o, _, _, p := e.inAPeriod(stranger)
		theirs := o.fish(p, "N")
		theirs.Note = "somebody else's fish"
		must(w.s.SubmitCatch(w.ctx, stranger, e.trial, theirs))(t)
	}

	data, text := w.ownData(r.actor)
	of := func(table string) []any { list, _ := data[table].([]any); return list }
	for table, want := range map[string]int{
		"account": 1, "memberships": 2, "tokens": 1, "enrolments": 2, "outings": 1, "units": 1, "periods": 1, "catches": 1, "amendments": 1, "deviations": 0, "draw_words": 0,
	} {
		if len(of(table)) != want {
			t.Errorf("%d %s, want %d: %v", len(of(table)), table, want, of(table))
		}
	}
	c := of("catches")[0].(map[string]any)
	for field, want := range map[string]any{
		"id": fish.ID.String(), "period": period.String(), "taken_pattern": "C", "species": "Salmo trutta", "note": fish.Note, "length_value": 31.5, "caught_at": fish.CaughtAt.Format(time.RFC3339Nano),
	} {
		if c[field] != want {
			t.Errorf("catch: %s is %v, want %v", field, c[field], want)
		}
	}
	joined := of("enrolments")[0].(map[string]any)
	if joined["code"] != hex.EncodeToString(r.code[:]) || joined["consent"].(map[string]any)["take_part"] != true || joined["title"] != ruleSheet().Title {
		t.Errorf("enrolment %v", joined)
	}
	if o := of("outings")[0].(map[string]any); o["id"] != outing.String() || o["water"] != "Upper Wend" {
		t.Errorf("outing %v", o)
	}

	// Every receipt proves its record by the digests in the chain (FIPS 180-4: SHA-256 over salt and text).
	w.ok(w.store.InReadTx(w.ctx, func(ctx context.Context, tx trial.ReadTx) error {
		entries, err := tx.EntriesOf(ctx, e.trial, r.enrolment)
		proved := 0
		for _, sent := range of("receipts") {
			receipt := sent.(map[string]any)
			n := int(receipt["n"].(float64))
			if receipt["chain"] != r.enrolment.String() {
				continue
			}
			for part, digest := range map[string]trial.Digest{"public": entries[n-1].PublicDigest, "private": entries[n-1].PrivateDigest} {
				salt := must(hex.DecodeString(receipt[part+"_salt"].(string)))(t)
				if trial.Digest(sha256.Sum256(append(salt, receipt[part].(string)...))) != digest {
					t.Errorf("the %s part of entry %d is not proved by its receipt", part, n)
				}
			}
			if receipt["hash"] != entries[n-1].Hash.String() {
				t.Errorf("entry %d has another hash", n)
			}
			proved++
		}
		if proved != len(entries) || proved < 5 {
			t.Errorf("%d of %d entries have a receipt", proved, len(entries))
		}
		return err
	}))

	for _, never := range []string{"somebody else's fish", e.anglers[1].AccountID.String(), "Hash", "\"password\":", "sent_digest", "angler 2"} {
		if strings.Contains(text, never) {
			t.Errorf("the copy holds %q", never)
		}
	}
}

// The same as a zip of tables: as many rows, and no cell that a spreadsheet program would run.
func TestOwnDataAsTables(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	for i, note := range []string{"=1+1", "@SUM(A1)", "+A1", "-A1", "\tx", "a plain one, \"quoted\"\nin two lines", "'=kept"} {
		fish := r.fish(period, "C")
		fish.Note = note
		if _, err := w.s.SubmitCatch(w.ctx, r.actor, e.trial, fish); err != nil {
			t.Fatalf("note %d: %v", i, err)
		}
	}
	var out bytes.Buffer
	w.ok(w.s.OwnData(w.ctx, r.actor, conduct.OwnDataTables, &out))
	read := must(zip.NewReader(bytes.NewReader(out.Bytes()), int64(out.Len())))(t)
	tables := map[string][][]string{}
	for _, f := range read.File {
		if strings.HasSuffix(f.Name, ".csv") {
			file := must(f.Open())(t)
			tables[f.Name] = must(csv.NewReader(file).ReadAll())(t)
			w.ok(file.Close())
		}
	}
	catches := tables["catches.csv"]
	if len(catches) != 8 || len(tables["outings.csv"]) != 2 || len(tables["deviations.csv"]) != 1 {
		t.Fatalf("tables %v", tables)
	}
	note := slices.Index(catches[0], "note")
	for _, row := range catches[1:] {
		if strings.ContainsAny(row[note][:1], "=@+-\t") {
			t.Errorf("the cell %q begins a formula", row[note])
		}
	}
}

// An angler with very many fish takes no more memory than one with few, and pages meet without gap or repeat.
func TestOwnDataInBoundedMemory(t *testing.T) {
	w, conn := newOpenWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	fish := r.fish(period, "C")
	fish.Note = strings.Repeat("a long note ", 30)
	must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, fish))(t)
	const many = 30_000
	columns := texts(t, conn, `SELECT string_agg(column_name, ', ') FROM information_schema.columns WHERE table_schema = 'public' AND table_name = 'catches' AND column_name <> 'id'`)[0]
	must(conn.Exec(t.Context(), `INSERT INTO catches (id, `+columns+`) SELECT gen_random_uuid(), `+columns+` FROM catches, generate_series(2, $1)`, many))(t)
	counted := &counting{}
	runtime.GC()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	w.ok(w.s.OwnData(w.ctx, r.actor, func(io.Writer, time.Time) exchange.OwnDataWriter { return counted }, nil))
	runtime.ReadMemStats(&after)
	if counted.catches != many || counted.again {
		t.Errorf("%d fish, want %d; some twice: %t", counted.catches, many, counted.again)
	}
	t.Logf("%d fish: %d MB in all, %d MB in use after %d fish, at most %d", many, (after.TotalAlloc-before.TotalAlloc)>>20, counted.first>>20, weighed, counted.most>>20)
	if counted.most > 2*counted.first {
		t.Errorf("memory grows with the fish: %d bytes in use after %d, %d at most", counted.first, weighed, counted.most)
	}
}

// counting counts the catches it is given, and weighs now and then how much memory is in use.
type counting struct {
	table       string
	id          int
	catches     int
	last        string
	again       bool // an id came that is not after the one before
	first, most uint64
}

const weighed = 3000

func (c *counting) Table(name string, columns []string) error {
	c.table, c.id = name, slices.Index(columns, "id")
	return nil
}

func (c *counting) Record(values []any) error {
	if c.table != "catches" {
		return nil
	}
	c.catches++
	id := fmt.Sprint(values[c.id])
	c.again, c.last = c.again || id <= c.last, id
	if c.catches%weighed == 0 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		c.most = max(c.most, m.HeapAlloc)
		if c.first == 0 {
			c.first = m.HeapAlloc
		}
	}
	return nil
}

func (c *counting) Close() error { return nil }

// Every table that names a person or an enrolment is in the copy, or it says here why not.
func TestOwnDataForgetsNoTable(t *testing.T) {
	t.Parallel()
	w, conn := newOpenWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	e.inAPeriod(e.anglers[0])
	data, _ := w.ownData(e.anglers[0])
	not := map[string]string{
		"counts":     "follow from the fish",
		"tombstones": "say that something was erased",
		"analyses":   "stand in the trial's own list, with when they were asked for",
		"looks":      "stand in the trial's own list",
	}
	for _, table := range texts(t, conn, `
SELECT DISTINCT table_name::text FROM information_schema.columns
WHERE table_schema = 'public' AND data_type = 'uuid'
  AND (column_name IN ('account_id', 'enrolment_id') OR column_name LIKE '%\_by' OR column_name LIKE '%\_account') ORDER BY 1`) {
		_, has := data[table]
		_, why := not[table]
		if has == why {
			t.Errorf("table %s: in the copy %t, left out with a reason %t", table, has, why)
		}
	}
}
