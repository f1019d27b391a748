package conduct_test

import (
	"strings"
	"testing"
)

// The tables do not keep a chain's rows together, so the integrity check must say where one is missing or stands alone.
func TestCheckFindsTornChains(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ tear, want string }{
		{"UPDATE ledger_parts SET n = n + 100 WHERE n = (SELECT max(n) FROM ledger_parts)", "for entry 10"},
		{"DELETE FROM ledger_entries WHERE n = (SELECT max(n) FROM ledger_entries)", "its head says"},
		{"UPDATE ledger_heads SET n = n + 1 WHERE n = (SELECT max(n) FROM ledger_heads)", "its head says"},
	} {
		w, conn := newOpenWorld(t)
		e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
		r, _, _, period := e.inAPeriod(e.anglers[0])
		r.land(period, "C")
		if faults := must(w.s.Check(w.ctx))(t).Faults; len(faults) > 0 {
			t.Fatalf("check: %q", faults)
		}
		must(conn.Exec(t.Context(), c.tear))(t)
		if faults := must(w.s.Check(w.ctx))(t).Faults; !strings.Contains(strings.Join(faults, "\n"), c.want) {
			t.Errorf("after %s the check says %q; want %q", c.tear, faults, c.want)
		}
	}
}
