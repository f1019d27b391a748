//go:build linux

package api_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgxpool"
)

// BenchmarkImport takes in a catch table of 10^5 and of 10^6 fish by 20 anglers, in order and scattered, and sets it against COPY of the
// same rows into the same tables by one connection, and against the download of what was taken in: rows a second by the clock, what a row
// takes of processor time here and in the server, and how far the heap was above that of the idle process at most; the sender and the
// reader are among it.
//
//	go test ./api -run - -bench Import -benchtime 1x
func BenchmarkImport(b *testing.B) {
	before := debug.SetGCPercent(400) // as the running service has it
	b.Cleanup(func() { debug.SetGCPercent(before) })
	for _, fish := range []int{100_000, 1_000_000} {
		for _, scattered := range []bool{false, true} {
			name := fmt.Sprintf("fish=%d/in-order", fish)
			if scattered {
				name = fmt.Sprintf("fish=%d/scattered", fish)
			}
			b.Run(name, func(b *testing.B) {
				w := newWorld(b)
				c := w.newClub("Loop and Knot")
				p := c.ruleSheet()
				p.Source = "recorded"
				pool, err := pgxpool.New(b.Context(), w.database)
				if err != nil {
					b.Fatal(err)
				}
				b.Cleanup(pool.Close)
				for b.Loop() {
					e, again := c.opened(p), c.opened(p)
					in := measured(b, pool, fish, func() { importFish(b, e, fish, scattered) })
					in.report(b, "in")
					load := readyToCopy(b, pool, e.trial, again.trial)
					copied := measured(b, pool, fish, load)
					copied.report(b, "copy")
					out := measured(b, pool, fish, func() { downloadFish(b, e, fish) })
					out.report(b, "out")
					b.ReportMetric(in.rate/copied.rate, "of-copy")
					b.ReportMetric(in.rate/out.rate, "of-download")
					b.ReportMetric(0, "ns/op")
				}
			})
		}
	}
}

// cost is what moving a table took: rows a second, microseconds a row here and in the server, and MiB of heap beyond the idle ones.
type cost struct{ rate, own, server, heap float64 }

func (c cost) report(b *testing.B, way string) {
	b.ReportMetric(c.rate, way+"-rows/s")
	b.ReportMetric(c.own, way+"-µs/row")
	b.ReportMetric(c.server, way+"-server-µs/row")
	b.ReportMetric(c.heap, way+"-MiB")
}

func measured(b *testing.B, pool *pgxpool.Pool, fish int, do func()) cost {
	b.Helper()
	var pid string
	if err := pool.QueryRow(b.Context(), `SELECT split_part(pg_read_file('postmaster.pid'), E'\n', 1)`).Scan(&pid); err != nil {
		b.Fatal(err)
	}
	debug.FreeOSMemory()
	var idle runtime.MemStats
	runtime.ReadMemStats(&idle)
	var most atomic.Uint64
	ctx, stop := context.WithCancel(b.Context())
	defer stop()
	go watchHeap(ctx, &most)
	begun, own, server := time.Now(), ownTime(b), serverTime(b, pid)
	do()
	each := func(d time.Duration) float64 { return d.Seconds() * 1e6 / float64(fish) }
	return cost{
		rate: float64(fish) / time.Since(begun).Seconds(), own: each(ownTime(b) - own), server: each(serverTime(b, pid) - server),
		heap: (float64(most.Load()) - float64(idle.HeapAlloc)) / (1 << 20),
	}
}

// importFish sends a table that is made while it is sent.
func importFish(t testing.TB, e *contest, fish int, scattered bool) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, e.w.url+e.path("/imports?dry_run=false"), &madeTable{fish: fish, scattered: scattered})
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Authorization", "Bearer "+e.organiser.token)
	r.Header.Set("Content-Type", "text/csv")
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	if body, err := io.ReadAll(answer.Body); err != nil || answer.StatusCode != http.StatusCreated {
		t.Fatalf("%s, %v: %s", answer.Status, err, body)
	}
}

// madeTable is a table of so many fish by 20 anglers, ten to a half of a block, four blocks an outing; scattered says that no two fish of
// a half stand together.
type madeTable struct {
	fish, made int
	scattered  bool
	rest       bytes.Buffer
}

// Read implements io.Reader.
func (m *madeTable) Read(p []byte) (int, error) {
	if m.made == 0 {
		m.rest.WriteString("angler,outing,block,period,lower_pattern,taken_position,caught_at,species,origin,water_type,outcome,length,length_unit,hatch\r\n")
	}
	for m.made < m.fish && m.rest.Len() < len(p) {
		n := m.made
		if halves := m.fish / 10; m.scattered {
			n = n%halves*10 + n/halves
		}
		half, perAngler := n/10, m.fish/20
		fmt.Fprintf(&m.rest, "Rod of the beck %d,%d,%d,%d,%s,%s,%s,Thymallus thymallus,wild,river,landed,%d.5,cm,olives\r\n",
			n/perAngler, half/8, half/2, 1+half%2, []string{"C", "N"}[half%2], []string{"lower", "upper", "lower"}[n%3],
			morning.AddDate(0, 0, -half/8%300).Format(time.DateOnly), 20+n%30)
		m.made++
	}
	return m.rest.Read(p)
}

func downloadFish(t testing.TB, e *contest, fish int) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, e.w.url+e.path("/catches.csv"), nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Authorization", "Bearer "+e.organiser.token)
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	lines := &lineCounter{}
	if _, err := io.Copy(lines, answer.Body); err != nil || answer.StatusCode != http.StatusOK || lines.n != fish+1 {
		t.Fatalf("%s, %v, %d lines", answer.Status, err, lines.n)
	}
}

// readyToCopy lays a recorded trial's rows ready in files, as another trial's; load takes them in by COPY in one transaction.
func readyToCopy(b *testing.B, pool *pgxpool.Pool, from, to uuid.UUID) (load func()) {
	b.Helper()
	do := func(err error) {
		b.Helper()
		if err != nil {
			b.Fatal(err)
		}
	}
	conn, err := pool.Acquire(b.Context())
	do(err)
	b.Cleanup(conn.Release)
	tables := []string{"enrolments", "outings", "periods", "catches"}
	columns, files := map[string]string{}, map[string]*os.File{}
	for _, table := range tables {
		const names = `SELECT string_agg(quote_ident(column_name), ', ' ORDER BY ordinal_position) FROM information_schema.columns WHERE table_schema = 'public' AND table_name = $1`
		var list string
		do(conn.QueryRow(b.Context(), names, table).Scan(&list))
		file, err := os.Create(filepath.Join(b.TempDir(), table))
		do(err)
		b.Cleanup(func() { file.Close() })
		columns[table], files[table] = list, file
		values := strings.NewReplacer("trial_id", "'"+to.String()+"'::uuid", "chain_id", "'"+to.String()+"'::uuid").Replace(list)
		_, err = conn.Conn().PgConn().CopyTo(b.Context(), file, fmt.Sprintf(`COPY (SELECT %s FROM %s WHERE trial_id = '%s') TO STDOUT (FORMAT binary)`, values, table, from))
		do(err)
	}
	return func() {
		tx, err := conn.Begin(b.Context())
		do(err)
		for _, table := range tables {
			_, err := files[table].Seek(0, io.SeekStart)
			do(err)
			_, err = conn.Conn().PgConn().CopyFrom(b.Context(), files[table], fmt.Sprintf(`COPY %s (%s) FROM STDIN (FORMAT binary)`, table, columns[table]))
			do(err)
		}
		do(tx.Commit(b.Context()))
	}
}
