package api_test

import (
	"context"
	"fmt"
	"io"
	"net"
	"runtime"
	"runtime/debug"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/jackc/pgx/v5/pgxpool"
)

// A table of any length takes little memory on its way in and out: 40,000 fish, which as records are some 40 MB, add less than 24 MiB
// to the heap of the server and of who sends and reads them.
func TestTablesTakeLittleMemory(t *testing.T) {
	before := debug.SetGCPercent(25) // so that the heap is what is held, and not what is left behind
	t.Cleanup(func() { debug.SetGCPercent(before) })
	w := newWorld(t)
	c := w.newClub("Loop and Knot")
	p := c.ruleSheet()
	p.Source = "recorded"
	e := c.opened(p)
	const fish, most = 40_000, 24 << 20
	for _, way := range []struct {
		name string
		move func()
	}{{"in", func() { importFish(t, e, fish, true) }}, {"out", func() { downloadFish(t, e, fish) }}} {
		runtime.GC()
		var idle runtime.MemStats
		runtime.ReadMemStats(&idle)
		var heap atomic.Uint64
		ctx, stop := context.WithCancel(t.Context())
		go watchHeap(ctx, &heap)
		way.move()
		stop()
		more := int64(heap.Load()) - int64(idle.HeapAlloc)
		t.Logf("%s: %d KiB", way.name, more>>10)
		if more > most {
			t.Errorf("on its way %s a table took %d MiB, want at most %d", way.name, more>>20, most>>20)
		}
	}
}

// Who hangs up while his table is being taken in has saved nothing of it, and can send it again.
func TestHangUpAmidATable(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := w.newClub("Loop and Knot")
	p := c.ruleSheet()
	p.Source = "recorded"
	e := c.opened(p)
	pool, err := pgxpool.New(t.Context(), w.database)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(pool.Close)
	count := func(sql string) (n int) {
		t.Helper()
		if err := pool.QueryRow(t.Context(), sql).Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	const writing = `SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND query LIKE 'copy "catches"%'`
	const fish = 30_000
	text, err := io.ReadAll(&madeTable{fish: fish})
	if err != nil {
		t.Fatal(err)
	}
	address := strings.TrimPrefix(w.url, "http://")
	head := fmt.Sprintf("POST %s HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\nContent-Type: text/csv\r\nContent-Length: %d\r\n\r\n", e.path("/imports?dry_run=false"), e.organiser.token, len(text))
	for _, sent := range []int{len(text) / 2, len(text)} { // amid the upload, and while the rows are written
		conn, err := net.Dial("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.Copy(conn, io.MultiReader(strings.NewReader(head), strings.NewReader(string(text[:sent])))); err != nil {
			t.Fatal(err)
		}
		if sent == len(text) {
			waitFor(t, "the rows are being written", func() bool { return count(writing) > 0 })
		}
		conn.Close()
		waitFor(t, "nothing is being written", func() bool {
			return count(`SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND xact_start IS NOT NULL AND pid <> pg_backend_pid()`) == 0
		})
		if n := count(`SELECT (SELECT count(*) FROM catches) + (SELECT count(*) FROM enrolments) + (SELECT count(*) FROM imports)`); n != 0 {
			t.Fatalf("hanging up after %d of %d bytes left %d rows", sent, len(text), n)
		}
	}
	importFish(t, e, fish, false)
	if n := count(`SELECT count(*) FROM catches`); n != fish {
		t.Errorf("%d fish, want %d", n, fish)
	}
}
