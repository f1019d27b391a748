package conduct_test

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/gowebpki/jcs"

	"evenrig/service/analysis"
	"evenrig/service/conduct"
	"evenrig/service/exchange"
	"evenrig/service/trial"
)

func hmacOf(key, message []byte) []byte {
	m := hmac.New(sha256.New, key)
	m.Write(message)
	return m.Sum(nil)
}

// drawAgain derives an enrolment's first n units in groups of the given sizes from the published definition alone (RFC
// 2104, FIPS 180-4): K = HMAC(HMAC(seed, words joined by 0x00), id || code); group g reads the bytes of HMAC(K, "g|" g "|" counter); a
// number below k is the next byte under 256 - 256 mod k, mod k; all + then all -, shuffled from the last to the second.
func drawAgain(seed [32]byte, words []string, enrolment trial.ID, code [32]byte, sizes []int, n int) []trial.Arrangement {
	key := hmacOf(hmacOf(seed[:], []byte(strings.Join(words, "\x00"))), append(enrolment[:], code[:]...))
	var units []trial.Arrangement
	for g := 1; len(units) < n; g++ {
		var bytes []byte
		for counter := range 20 {
			bytes = append(bytes, hmacOf(key, fmt.Appendf(nil, "g|%d|%d", g, counter))...)
		}
		below := func(k int) int {
			for {
				b := int(bytes[0])
				bytes = bytes[1:]
				if b < 256-256%k {
					return b % k
				}
			}
		}
		size := sizes[0]
		if len(sizes) > 1 {
			size = sizes[below(len(sizes))]
		}
		group := make([]trial.Arrangement, size)
		for i := range group {
			group[i] = trial.TestLower
			if i >= size/2 {
				group[i] = trial.ControlLower
			}
		}
		for i := size - 1; i >= 1; i-- {
			j := below(i + 1)
			group[i], group[j] = group[j], group[i]
		}
		units = append(units, group...)
	}
	return units[:n]
}

// Once locked the seed is shown; with it and the anglers' own codes anyone derives every unit that was handed out, and
// finds it committed to before anybody joined.
func TestDrawFromTheRevealedSeed(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 4).opened(ruleSheet())
	registered := must(w.s.Trial(w.ctx, e.organiser, e.trial))(t).Trial
	rods, _ := e.season(func(n int) string { return []string{"C", "N", "C"}[n%3] })
	for range 6 { // and some that are never fished
		rods[0].unit()
	}
	e.lock()
	view := must(w.s.Trial(w.ctx, e.anglers[0], e.trial))(t).Trial
	if view.Seed == nil || view.Scheme != 1 || view.Commitment != registered.Commitment || registered.Seed != nil {
		t.Fatalf("locked: %+v", view)
	}
	protocol := must(w.s.Protocol(w.ctx, e.eyes, e.trial))(t)
	canonical, err := jcs.Transform(must(json.Marshal(protocol.Protocol))(t))
	if err != nil || !bytes.Equal(canonical, protocol.Canonical) {
		t.Errorf("canonical protocol %s, want %s (%v)", protocol.Canonical, canonical, err)
	}
	fingerprint := sha256.Sum256(canonical)
	commitment := sha256.Sum256(slices.Concat([]byte("alloc-commit-v1\x00"), view.Seed[:], fingerprint[:]))
	if view.Fingerprint != fingerprint || view.Commitment != commitment {
		t.Errorf("fingerprint %s, commitment %s; want %x, %x", view.Fingerprint, view.Commitment, fingerprint, commitment)
	}
	orders := map[string]bool{}
	for _, r := range rods {
		units := must(w.s.Units(w.ctx, r.actor, e.trial))(t)
		want := drawAgain(*view.Seed, nil, r.enrolment, r.code, protocol.Protocol.Draw.GroupSizes, len(units))
		order := ""
		for i, u := range units {
			if u.Unit.N != i+1 || u.Unit.First != want[i] || (u.Lower == "C") != (want[i] == trial.TestLower) {
				t.Errorf("unit %d of %s is %s (%s lower), want %s", u.Unit.N, r.enrolment, u.Unit.First, u.Lower, want[i])
			}
			order += string(u.Unit.First)
		}
		orders[order] = true
	}
	if len(must(w.s.Units(w.ctx, rods[0].actor, e.trial))(t)) != 10 || len(orders) < 2 {
		t.Errorf("orders %v", orders)
	}
}

// What was caught before closing is taken whenever it arrives: before locking it is analysed, after locking it is kept
// and counted, never analysed. What was caught after closing is not taken.
func TestLateArrivals(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, outing, _, period := e.inAPeriod(e.anglers[0])
	onThePhone, stuck := r.fish(period, "C"), r.fish(period, "N")
	w.clock.move(time.Minute)
	e.move(trial.Closed)
	w.clock.move(time.Minute)
	_, err := w.s.SubmitCatch(w.ctx, r.actor, e.trial, r.fish(period, "C"))
	wantKind(t, err, trial.Conflict, "trial.closed")
	_, err = w.s.FetchUnit(w.ctx, r.actor, e.trial, w.id())
	wantKind(t, err, trial.Conflict, "trial.state")
	w.clock.move(59 * time.Minute)
	if v := must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, onThePhone))(t); !v.Created || v.Catch.AfterLock {
		t.Errorf("before locking: %+v", v)
	}
	late := trial.Deviation{ID: w.id(), OutingID: outing, PeriodID: period, Kind: trial.CouldNotSwap, FromAt: onThePhone.CaughtAt}
	must(w.s.ReportDeviation(w.ctx, r.actor, e.trial, late))(t)
	e.move(trial.Locked)
	if v := must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, stuck))(t); !v.Created || !v.Catch.AfterLock {
		t.Errorf("after locking: %+v", v)
	}
	if got := must(w.s.Catch(w.ctx, r.actor, e.trial, stuck.ID))(t); got.Excluded != trial.AfterLock {
		t.Errorf("after locking: %q", got.Excluded)
	}
	progress := must(w.s.Progress(w.ctx, e.organiser, e.trial))(t)
	if progress.Catches != 2 || progress.Analysed != 1 || progress.Excluded[trial.AfterLock] != 1 {
		t.Errorf("progress %+v", progress)
	}
}

// Progress counts what the records say, after every change, whatever was cached before.
func TestProgressFollowsTheRecords(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	want := func(when string, catches, analysed int64, excluded map[trial.Exclusion]int64) {
		t.Helper()
		for range 2 { // counted, then from the cache
			got := must(w.s.Progress(w.ctx, e.eyes, e.trial))(t)
			if got.Catches != catches || got.Analysed != analysed || !maps.Equal(got.Excluded, excluded) {
				t.Errorf("%s: %+v, want %d catches, %d analysed, %v", when, got, catches, analysed, excluded)
			}
		}
	}
	type counts = map[trial.Exclusion]int64
	want("nobody", 0, 0, counts{})
	r, outing, unit, period := e.inAPeriod(e.anglers[0])
	fish := r.land(period, "C")
	want("one fish", 1, 1, counts{})
	r.land(period, "unknown")
	lost := r.fish(period, "N")
	lost.Outcome = trial.Lost
	must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, lost))(t)
	want("three", 3, 1, counts{trial.NotSure: 1, trial.ExcludeLost: 1})
	must(w.s.AmendCatch(w.ctx, r.actor, e.trial, fish.ID, patchOf(t, 1, map[string]any{"foul_hooked": true})))(t)
	want("corrected", 3, 0, counts{trial.NotSure: 1, trial.ExcludeLost: 1, trial.FoulHooked: 1})
	must(w.s.AmendPeriod(w.ctx, r.actor, e.trial, period, patchOf(t, 1, map[string]any{"confirmed": false})))(t)
	want("not confirmed", 3, 0, counts{trial.NotConfirmed: 1, trial.ExcludeLost: 1, trial.FoulHooked: 1})
	r.swap(period)
	second := r.begin(outing, unit, 2)
	r.land(second, "N")
	r.swap(second)
	want("second half", 4, 1, counts{trial.NotConfirmed: 1, trial.ExcludeLost: 1, trial.FoulHooked: 1})
	effort := must(w.s.Progress(w.ctx, e.anglers[1], e.trial))(t).Effort
	if want := (trial.Effort{Enrolled: 1, Outings: 1, Blocks: 1, FinishedBlocks: 1}); effort != want {
		t.Errorf("effort %+v, want %+v", effort, want)
	}
	checked := must(w.s.Check(w.ctx))(t)
	if len(checked.Faults) > 0 || checked.Counts != 1 {
		t.Errorf("check: %+v", checked)
	}
}

// Locking enqueues the closing analysis; it is computed from the locked records, stands byte for byte when the queue
// calls again, and its counts are those of the records.
func TestClosingAnalysis(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 6).opened(ruleSheet())
	_, fish := e.season(func(n int) string { return []string{"C", "N", "C", "C", "N"}[n*n%5] })
	e.lock()
	view := must(w.s.Trial(w.ctx, e.organiser, e.trial))(t)
	if view.Closing != 1 || view.Trial.State != trial.Locked || view.Trial.LockedAt == nil {
		t.Fatalf("locked: %+v", view)
	}
	queued := must(w.s.Analysis(w.ctx, e.organiser, e.trial, 1))(t)
	points := must(w.s.Checkpoints(w.ctx, e.organiser, e.trial))(t)
	if queued.State != trial.Queued || queued.Checkpoint != points[len(points)-1].N {
		t.Errorf("queued %+v; last checkpoint %+v", queued, points[len(points)-1])
	}
	if err := w.s.Report(w.ctx, e.organiser, e.trial, 1, conduct.ReportPage, &bytes.Buffer{}); trial.KindOf(err) != trial.Conflict {
		t.Errorf("a report before the result: %v", err)
	}
	again := must(w.s.RequestAnalysis(w.ctx, e.organiser, e.trial))(t)
	if again.N != 1 {
		t.Errorf("the same records are analysed once more, as analysis %d", again.N)
	}
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	done := must(w.s.Analysis(w.ctx, e.eyes, e.trial, 1))(t)
	if done.State != trial.Done || done.FinishedAt == nil || len(w.stored(e.trial, 1).Input) == 0 || done.ProgramVersion != "test" {
		t.Fatalf("done: %+v", done)
	}
	w.clock.move(time.Hour)
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	if twice := must(w.s.Analysis(w.ctx, e.organiser, e.trial, 1))(t); !bytes.Equal(twice.Result, done.Result) || !twice.FinishedAt.Equal(*done.FinishedAt) {
		t.Error("the queue's second call changed the result")
	}
	result := must(analysis.Decode(done.Result))(t)
	if result.Design != trial.Paired || result.Test != "C" || result.Control != "N" || result.Counts.Anglers != 6 || result.Counts.Outings != 12 ||
		result.Counts.Catches != int64(len(fish)) || result.Counts.Analysed != int64(len(fish)) {
		t.Errorf("counts %+v of %d fish", result.Counts, len(fish))
	}
	var test int64
	for _, f := range fish {
		if f.TakenPattern == "C" {
			test++
		}
	}
	if result.Counts.Test != test || result.Counts.Control != int64(len(fish))-test {
		t.Errorf("%d took the test pattern, want %d", result.Counts.Test, test)
	}
	var page bytes.Buffer
	w.ok(w.s.Report(w.ctx, e.anglers[3], e.trial, 1, conduct.ReportPage, &page))
	for _, name := range []string{"angler 1", "Upper Wend", "secretary"} {
		if strings.Contains(page.String(), name) {
			t.Errorf("the report names %q", name)
		}
	}
	for _, says := range []string{"How long each half was fished", "Can you spot ours?", "Ours is number", "Who could still have cheated?", "Harm to fish"} {
		if !strings.Contains(page.String(), says) {
			t.Errorf("the report does not say %q", says)
		}
	}
}

// The catch table of a locked trial reads back and gives the same analysis as the records: same counts, same answer.
func TestCatchTableReadsBack(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 6).opened(ruleSheet())
	rods, fish := e.season(func(n int) string { return []string{"C", "N", "C", "C", "unknown", "N", "other"}[n*n%7] })
	for i, change := range []map[string]any{
		{"foul_hooked": true}, {"void": true}, {"outcome": "lost"}, {"rig_intact": false}, {"double_id": w.id().String()}, {"species": "Salmo trutta"},
	} {
		f := fish[i]
		must(w.s.AmendCatch(w.ctx, rods[0].actor, e.trial, f.ID, patchOf(t, 1, change)))(t)
	}
	e.lock()
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	result := must(analysis.Decode(must(w.s.Analysis(w.ctx, e.eyes, e.trial, 1))(t).Result))(t)
	var file bytes.Buffer
	w.ok(w.s.ExportCatches(w.ctx, e.eyes, e.trial, &file))
	for _, a := range append(e.anglers, e.organiser) {
		me := must(w.s.Me(w.ctx, a))(t)
		if strings.Contains(file.String(), me.Account.Name) || strings.Contains(file.String(), a.AccountID.String()) {
			t.Errorf("the table names %s", me.Account.Name)
		}
	}
	if strings.Contains(file.String(), "Upper Wend") {
		t.Error("the table names the water")
	}
	readsBack(t, &file, result)
}

// readsBack fails unless an exported table gives the analysis of the records: the same counts, the same answer.
func readsBack(t *testing.T, file *bytes.Buffer, result analysis.Result) {
	t.Helper()
	table, faults, err := exchange.ReadCatchTable(bytes.NewReader(file.Bytes()), exchange.ReadOptions{Test: "C", Control: "N"})
	if err != nil || len(faults) > 0 {
		t.Fatalf("read back: %v, %v", faults, err)
	}
	tallies := must(table.Tallies())(t)
	got := must(analysis.Run(analysis.Input{
		Design: analysis.DesignOf(tallies), Test: "C", Control: "N", LowerWord: "point", UpperWord: "dropper", SmallestShare: .6, Alpha: .05, Source: trial.Recorded, Tallies: tallies,
	}, analysis.Settings{ProgramVersion: "test"}))(t)
	if got.Design != result.Design {
		t.Errorf("design of the records %s, of the table %s", result.Design, got.Design)
	}
	sameNumbers(t, "counts", plain(t, got.Counts), plain(t, result.Counts))
	sameNumbers(t, "headline", plain(t, got.Headline), plain(t, result.Headline))
	sameNumbers(t, "stratified", plain(t, got.Stratified), plain(t, result.Stratified))
}

// So does the table of one lone angler, whose strata are his blocks.
func TestLoneAnglersTableReadsBack(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	e.season(func(n int) string { return []string{"C", "N", "C"}[n%3] })
	e.lock()
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	var file bytes.Buffer
	w.ok(w.s.ExportCatches(w.ctx, e.eyes, e.trial, &file))
	readsBack(t, &file, must(analysis.Decode(must(w.s.Analysis(w.ctx, e.eyes, e.trial, 1))(t).Result))(t))
}

// So does the table of a trial in which each outing keeps one arrangement and two successive ones are a block; its first
// block is fished with two control flies, reported apart and never pooled.
func TestTableByOutingReadsBack(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := ruleSheet()
	p.Design, p.Swap.AfterFish, p.Swap.AfterMinutes = trial.PairedByOuting, nil, nil
	p.Draw.SameFlyCheck = 1
	e := w.newClub("Wend Grayling Club", 3).opened(p)
	n := 0
	for _, a := range e.anglers {
		r := e.join(a)
		for range 3 {
			unit := r.unit()
			for half := 1; half <= 2; half++ {
				w.clock.move(24 * time.Hour)
				outing := r.outing()
				period := r.begin(outing, unit, half)
				for range 4 {
					w.clock.move(5 * time.Minute)
					r.land(period, []string{"C", "N", "C"}[n%3])
					n++
				}
				must(w.s.EndPeriod(w.ctx, a, e.trial, period, trial.PeriodEnd{EndedAt: w.clock.read(), Reason: "outing_ended"}))(t)
				must(w.s.EndOuting(w.ctx, a, e.trial, outing, trial.OutingEnd{EndedAt: w.clock.read(), Reason: "planned"}))(t)
			}
		}
	}
	e.lock()
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	result := must(analysis.Decode(must(w.s.Analysis(w.ctx, e.eyes, e.trial, 1))(t).Result))(t)
	// 3 anglers, 3 blocks of 2 outings of 4 fish each; one block of each angler is the check.
	if result.Design != trial.PairedByOuting || result.Counts.Outings != 18 || result.Counts.Catches != 72 || result.Counts.Analysed != 48 ||
		result.Counts.Excluded[trial.SameFlyCheck] != 24 {
		t.Errorf("design %s, counts %+v", result.Design, result.Counts)
	}
	if effort := must(w.s.Progress(w.ctx, e.eyes, e.trial))(t).Effort; effort.Blocks != 9 || effort.FinishedBlocks != 9 || effort.BlankOutings != 0 {
		t.Errorf("effort %+v", effort)
	}
	var file bytes.Buffer
	w.ok(w.s.ExportCatches(w.ctx, e.eyes, e.trial, &file))
	readsBack(t, &file, result)
}

// The device's own offset comes back from the database, so that day, week and month are the angler's own: half past
// midnight of 1 October at home is still September in UTC.
func TestDayIsTheAnglersOwn(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	fish := r.fish(period, "C")
	fish.CaughtAt = time.Date(2026, 10, 1, 0, 30, 0, 0, time.FixedZone("", 2*3600))
	fish.NotedAt = fish.CaughtAt
	w.clock.move(fish.CaughtAt.Sub(w.clock.read()))
	must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, fish))(t)
	if got := must(w.s.Catch(w.ctx, r.actor, e.trial, fish.ID))(t).Catch.CaughtAt.Format(time.RFC3339); got != "2026-10-01T00:30:00+02:00" {
		t.Errorf("it comes back as %s", got)
	}
	e.lock()
	w.ok(w.s.Analyse(w.ctx, e.trial, 1))
	input := w.stored(e.trial, 1).Input
	if !bytes.Contains(input, []byte(`"2026-10"`)) || bytes.Contains(input, []byte(`"2026-09"`)) {
		t.Errorf("months of %s", input)
	}
	var file bytes.Buffer
	w.ok(w.s.ExportCatches(w.ctx, e.eyes, e.trial, &file))
	if !strings.Contains(file.String(), ",2026-10-01,") {
		t.Errorf("the table says %s", &file)
	}
}

// The ledger as somebody outside would check it: each link is SHA-256 of the canonical JSON (RFC 8785) of the entry and
// the previous hash, each digest SHA-256(salt || part), each part canonical JSON; the public part of a fish is what a
// published table shows, without hour, note or place; receipts are links of the chain.
func TestLedgerFromOutside(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	r, _, _, period := e.inAPeriod(e.anglers[0])
	fish := r.fish(period, "C")
	fish.Note, fish.Length = "by the third alder", &trial.Measure{Value: 31.5, Unit: "cm"}
	view := must(w.s.SubmitCatch(w.ctx, r.actor, e.trial, fish))(t)
	must(w.s.AmendCatch(w.ctx, r.actor, e.trial, fish.ID, patchOf(t, 1, map[string]any{"note": "by the fourth alder", "taken_pattern": "N"})))(t)
	r.swap(period)
	e.lock()
	var kinds []string
	receiptFound := false
	w.ok(w.store.InReadTx(w.ctx, func(ctx context.Context, tx trial.ReadTx) error {
		heads := must(tx.HeadsOf(ctx, e.trial))(t)
		if len(heads) != 2 {
			t.Errorf("%d chains, want the organiser's and the angler's", len(heads))
		}
		for _, head := range heads {
			entries := must(tx.EntriesOf(ctx, e.trial, head.ChainID))(t)
			parts := must(tx.PartsOf(ctx, e.trial, head.ChainID))(t)
			var previous trial.Digest
			for i, entry := range entries {
				text, err := json.Marshal(map[string]any{
					"trial": e.trial.String(), "chain": head.ChainID.Public().String(), "n": i + 1, "kind": entry.Kind, "subject": entry.Subject.Public().String(),
					"public_digest": entry.PublicDigest.String(), "private_digest": entry.PrivateDigest.String(), "previous": previous.String(),
				})
				if err == nil {
					text, err = jcs.Transform(text)
				}
				if want := sha256.Sum256(text); err != nil || entry.Hash != want {
					t.Errorf("entry %d (%s): hash %s, want %x (%v)", entry.N, entry.Kind, entry.Hash, want, err)
				}
				previous = entry.Hash
				kinds = append(kinds, entry.Kind)
				p, ok := parts[entry.N]
				if !ok || sha256.Sum256(append(p.PublicSalt[:], p.Public...)) != entry.PublicDigest || sha256.Sum256(append(p.PrivateSalt[:], p.Private...)) != entry.PrivateDigest {
					t.Errorf("entry %d (%s): a digest is not that of its part", entry.N, entry.Kind)
				}
				for _, part := range [][]byte{p.Public, p.Private} {
					if canonical, err := jcs.Transform(part); err != nil || !bytes.Equal(canonical, part) {
						t.Errorf("entry %d (%s): %s is not canonical (%v)", entry.N, entry.Kind, part, err)
					}
				}
				if head.ChainID != e.trial {
					for _, secret := range []string{"alder", "Upper Wend", "T0", "T1", "caught_at\":\"", r.actor.AccountID.String()} {
						if bytes.Contains(p.Public, []byte(secret)) {
							t.Errorf("entry %d (%s): the public part says %q: %s", entry.N, entry.Kind, secret, p.Public)
						}
					}
				}
				if view.Receipt.ChainID == head.ChainID && view.Receipt.N == entry.N {
					receiptFound = view.Receipt.Hash == entry.Hash && entry.Kind == trial.LedgerCatch && entry.Subject == fish.ID
					var public map[string]any
					if err := json.Unmarshal(p.Public, &public); err != nil || public["taken_pattern"] != "C" || public["length_cm"] != 31.0 || public["week"] != "2026-W36" {
						t.Errorf("public part of the fish %s (%v)", p.Public, err)
					}
				}
			}
			if head.Hash != previous || head.N != int64(len(entries)) {
				t.Errorf("head %+v after %d entries", head, len(entries))
			}
		}
		return nil
	}))
	if !receiptFound {
		t.Errorf("the receipt %+v is no link of the chain", view.Receipt)
	}
	for _, kind := range []string{trial.LedgerEnrolment, trial.LedgerOuting, trial.LedgerUnit, trial.LedgerPeriod, trial.LedgerCatch, trial.LedgerAmendment, trial.LedgerPeriodEnd, trial.LedgerState} {
		if !slices.Contains(kinds, kind) {
			t.Errorf("no entry of kind %s among %v", kind, kinds)
		}
	}
}

// A checkpoint is taken at each change of state and each minute with changes, and only then.
func TestCheckpointsWhenSomethingMoved(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 1).opened(ruleSheet())
	count := func() int { return len(must(w.s.Checkpoints(w.ctx, e.anglers[0], e.trial))(t)) }
	w.ok(w.s.Checkpoint(w.ctx))
	before := count()
	if before != 2 {
		t.Errorf("%d checkpoints after registering and opening", before)
	}
	r, _, _, period := e.inAPeriod(e.anglers[0])
	r.land(period, "C")
	if count() != before {
		t.Error("intake takes checkpoints")
	}
	for range 3 {
		w.ok(w.s.Checkpoint(w.ctx))
	}
	if count() != before+1 {
		t.Errorf("%d checkpoints after a minute with changes and two without, want %d", count(), before+1)
	}
	e.move(trial.Paused)
	points := must(w.s.Checkpoints(w.ctx, e.organiser, e.trial))(t)
	if len(points) != before+2 {
		t.Errorf("%d checkpoints after a change of state, want %d", len(points), before+2)
	}
	var previous trial.Digest
	for i, p := range points {
		if p.N != int64(i+1) || p.Hash != sha256.Sum256(append(previous[:], p.Root[:]...)) {
			t.Errorf("checkpoint %d: %+v", i+1, p)
		}
		previous = p.Hash
	}
}

// A trial that was locked long ago is looked at once an hour.
func TestCheckpointsOfALockedTrial(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := w.newClub("Wend Grayling Club", 1)
	e := c.opened(ruleSheet())
	e.lock()
	count := func() int {
		w.ok(w.s.Checkpoint(w.ctx))
		return len(must(w.s.Checkpoints(w.ctx, e.anglers[0], e.trial))(t))
	}
	w.clock.move(31 * 24 * time.Hour)
	before := count()
	must(w.s.Ask(w.ctx, e.eyes, e.trial, "Who tied the flies, and who saw the hooks?"))(t)
	w.clock.move(59 * time.Minute)
	if got := count(); got != before {
		t.Errorf("%d checkpoints within the hour, want %d", got, before)
	}
	w.clock.move(time.Minute)
	if got := count(); got != before+1 {
		t.Errorf("%d checkpoints after an hour, want %d", got, before+1)
	}
}

// near fails unless two numbers agree to within eps.
func near(t *testing.T, what string, got, want, eps float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > eps {
		t.Errorf("%s: %.10g, want %.10g within %g", what, got, want, eps)
	}
}
