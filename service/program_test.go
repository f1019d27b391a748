package main

import (
	"archive/zip"
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"evenrig/openapi"
	"evenrig/service/analysis"
	"evenrig/service/exchange"
	"evenrig/service/trial"
)

func TestMain(m *testing.M) {
	status := m.Run()
	_ = os.RemoveAll(built.folder)
	os.Exit(status)
}

// dataFolder is a folder that the database's user may enter, removed at the end.
func dataFolder(t *testing.T) string {
	t.Helper()
	folder, err := os.MkdirTemp("", "evenrig-test-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(folder) })
	if err := os.Chmod(folder, 0o711); err != nil {
		t.Fatal(err)
	}
	return folder
}

// startParts starts the whole program on a private cluster.
func startParts(t *testing.T, clock func() time.Time) (*parts, *running) {
	t.Helper()
	log := slog.New(slog.DiscardHandler)
	where := storage{Data: dataFolder(t), LogLevel: "error"}
	p, err := where.assemble(t.Context(), where.ownDatabase, log, clock)
	if err != nil {
		needServer(t, err)
	}
	r, err := p.start(t.Context(), listening{Listen: "127.0.0.1:0"}, log)
	if err != nil {
		t.Fatal(errors.Join(err, p.close()))
	}
	t.Cleanup(func() {
		if err := errors.Join(r.stop(), p.close()); err != nil {
			t.Error(err)
		}
	})
	return p, r
}

// needServer skips a test for want of PostgreSQL's programs, and fails it for anything else or where they must be there.
func needServer(t *testing.T, err error) {
	t.Helper()
	if os.Getenv("REQUIRE_DB") == "1" || !strings.Contains(err.Error(), "install") {
		t.Fatal(err)
	}
	t.Skipf("SKIPPED, this proves nothing: %v", err)
}

// TestOneTrialByTheClient plays the demo's season through the generated client and compares what comes out with what
// the anglers sent, and with the rules: the contract of the catch table and of the draw (RFC 2104, FIPS 180-4).
func TestOneTrialByTheClient(t *testing.T) {
	t.Parallel()
	clock := &storyClock{}
	clock.set(demoStart)
	p, r := startParts(t, clock.now)
	secret, err := p.service.FirstAdmin(t.Context(), "Secretary")
	if err != nil {
		t.Fatal(err)
	}
	var told bytes.Buffer
	s := newStory(r.url, clock, &told)
	done, err := s.play(t.Context(), secret)
	if err != nil {
		t.Fatalf("%v\n%s", err, told.String())
	}
	var result analysis.Result
	if err := json.Unmarshal(done.result, &result); err != nil {
		t.Fatal(err)
	}
	if got := int(result.Counts.Catches); got != s.fish {
		t.Errorf("%d catches counted, %d fish were sent", got, s.fish)
	}
	if s.fish < 450 || s.fish > 800 {
		t.Errorf("%d fish: the season should have about 600", s.fish)
	}
	for _, reason := range []trial.Exclusion{trial.ExcludeLost, trial.FoulHooked, trial.WrongSpecies, trial.Double, trial.NotSure} {
		if result.Counts.Excluded[reason] == 0 {
			t.Errorf("no fish was excluded as %s", reason)
		}
	}
	// The season is drawn from a model with this pattern effect, anew each time: six standard errors are missed in fewer
	// than one of ten thousand seasons.
	if m := result.MixedModel; m == nil || m.LogOdds == nil || math.Abs(*m.LogOdds-demoPattern) > 6**m.StdError {
		t.Errorf("the mixed model %+v is far from the effect %.2f that the fish were drawn with", m, demoPattern)
	}
	table := download(t, s.organiser, r.url+done.trial+"/catches.csv")
	for what, text := range map[string]string{"result": string(done.result), "catch table": table, "report": string(done.page), "package": unpacked(t, s.pack)} {
		for _, secret := range append(append([]string{demoOrganiser, "dry fly to a rise", "looked at the photograph"}, demoAnglers...), demoWaters[0].Name, demoWaters[1].Name) {
			if strings.Contains(text, secret) {
				t.Errorf("the %s names %q", what, secret)
			}
		}
	}
	readBack(t, table, result)
	s.checkDraw(t)
	if checked, err := p.service.Check(t.Context()); err != nil || len(checked.Faults) > 0 || checked.Chains != len(demoAnglers)+1 {
		t.Errorf("check: %+v, %v", checked, err)
	}
}

// unpacked returns a package's files, one after another.
func unpacked(t *testing.T, pack []byte) string {
	t.Helper()
	archive, err := zip.NewReader(bytes.NewReader(pack), int64(len(pack)))
	if err != nil {
		t.Fatal(err)
	}
	var all strings.Builder
	for _, file := range archive.File {
		r, err := file.Open()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.Copy(&all, r); err != nil {
			t.Fatal(err)
		}
	}
	return all.String()
}

func download(t *testing.T, who person, url string) string {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url, nil)
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set("Authorization", "Bearer "+who.token)
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	body, err := io.ReadAll(response.Body)
	if err != nil || response.StatusCode != http.StatusOK {
		t.Fatalf("%s: %d, %v: %s", url, response.StatusCode, err, body)
	}
	return string(body)
}

// readBack analyses the downloaded table without a database: the same fish give the same answer.
func readBack(t *testing.T, table string, want analysis.Result) {
	t.Helper()
	read, faults, err := exchange.ReadCatchTable(strings.NewReader(table), exchange.ReadOptions{Test: want.Test, Control: want.Control})
	if err != nil || len(faults) > 0 {
		t.Fatalf("the downloaded table: %v, faults %v", err, faults)
	}
	tallies, err := read.Tallies()
	if err != nil {
		t.Fatal(err)
	}
	got, err := analysis.Run(analysis.Input{Design: want.Design, Test: want.Test, Control: want.Control, Tallies: tallies}, analysis.Settings{})
	if err != nil {
		t.Fatal(err)
	}
	if got.Counts.Analysed != want.Counts.Analysed || got.Counts.TestLower != want.Counts.TestLower || got.Counts.ControlLower != want.Counts.ControlLower {
		t.Errorf("the downloaded table gives %+v, the trial %+v", got.Counts, want.Counts)
	}
	for reason, n := range want.Counts.Excluded {
		if got.Counts.Excluded[reason] != n {
			t.Errorf("the downloaded table has %d fish excluded as %s, the trial %d", got.Counts.Excluded[reason], reason, n)
		}
	}
	// Equal up to 1e-6: the anglers stand in another order, in which sums round otherwise.
	if math.Abs(*got.Headline.LogOdds-*want.Headline.LogOdds) > 1e-6 {
		t.Errorf("the downloaded table gives log odds %v, the trial %v", *got.Headline.LogOdds, *want.Headline.LogOdds)
	}
}

// checkDraw recomputes every unit from the opened seed and the anglers' own codes.
func (s *story) checkDraw(t *testing.T) {
	t.Helper()
	view, err := s.organiser.api.GetTrialWithResponse(t.Context(), s.trial)
	if err := expect(view, err, "read the trial", 200); err != nil {
		t.Fatal(err)
	}
	seed, err := hex.DecodeString(*view.JSON200.Seed)
	if err != nil {
		t.Fatal(err)
	}
	protocol, err := s.organiser.api.GetProtocolWithResponse(t.Context(), s.trial)
	if err := expect(protocol, err, "read the protocol", 200); err != nil {
		t.Fatal(err)
	}
	sizes := trial.Draw{Method: trial.PermutedBlocks, GroupSizes: []int{2, 4}}
	for _, p := range s.anglers {
		key := trial.AllocationKey([32]byte(seed), nil, trial.ID(p.enrolment), p.code)
		units, err := p.api.ListUnitsWithResponse(t.Context(), s.trial, nil)
		if err := expect(units, err, "list the units", 200); err != nil {
			t.Fatal(err)
		}
		if len(units.JSON200.Items) < outingsEach {
			t.Errorf("angler %d has only %d units", p.number, len(units.JSON200.Items))
		}
		for _, u := range units.JSON200.Items {
			if want := sizes.UnitArrangement(key, u.N); string(u.First) != string(want) {
				t.Errorf("angler %d, unit %d: handed out %s, the opened seed gives %s", p.number, u.N, u.First, want)
			}
		}
	}
}

// TestKilledWhileSubmitting kills a built binary with no warning while catches are being submitted, starts it again on
// the same data, and looks for every catch that was acknowledged.
func TestKilledWhileSubmitting(t *testing.T) {
	t.Parallel()
	binary := builtProgram(t)
	data := dataFolder(t)
	url, kill := serveBinary(t, binary, data)
	token, err := exec.Command(binary, "token", "--admin", "--data", data, "--log-level", "error").Output()
	if err != nil {
		t.Fatalf("token beside the running service: %v", err)
	}
	angler, period, id := openTrial(t, url, strings.TrimSpace(string(token)))

	var acknowledged sync.Map
	var count atomic.Int64
	var workers sync.WaitGroup
	for w := range 8 {
		workers.Go(func() {
			rng := rand.New(rand.NewPCG(7, uint64(w)))
			for {
				fish := openapi.CatchID(demoID(rng, time.Now()))
				saved, err := angler.api.PutCatchWithResponse(context.Background(), id, fish, catchIn(period))
				if err != nil {
					return // the service is dead
				}
				if saved.StatusCode() != http.StatusCreated {
					t.Errorf("submit: %d %s", saved.StatusCode(), saved.Body)
					return
				}
				acknowledged.Store(fish, true)
				count.Add(1)
			}
		})
	}
	for deadline := time.Now().Add(2 * time.Minute); count.Load() < 300 && time.Now().Before(deadline); {
		time.Sleep(10 * time.Millisecond)
	}
	kill()
	workers.Wait()
	if count.Load() < 100 {
		t.Fatalf("only %d catches were acknowledged before the kill", count.Load())
	}

	url, kill = serveBinary(t, binary, data)
	defer kill()
	again, err := newPerson(url, angler.token, new(atomic.Int64))
	if err != nil {
		t.Fatal(err)
	}
	present := map[openapi.CatchID]int{}
	for after, more := (*openapi.After)(nil), true; more; {
		limit := 500
		page, err := again.api.ListCatchesWithResponse(t.Context(), id, &openapi.ListCatchesParams{After: after, Limit: &limit})
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
	acknowledged.Range(func(key, _ any) bool {
		fish := key.(openapi.CatchID)
		if present[fish] != 1 {
			t.Errorf("catch %s was acknowledged and is there %d times", fish, present[fish])
		}
		return true
	})
	out, err := exec.Command(binary, "check", "--data", data, "--log-level", "error").CombinedOutput()
	if err != nil || !strings.Contains(string(out), "all agrees") {
		t.Errorf("check after the kill: %v\n%s", err, out)
	}
	t.Logf("%d acknowledged before the kill, %d on disk", count.Load(), len(present))
}

// built is the program, built when a test first asks for it.
var built struct {
	once   sync.Once
	folder string
	err    error
}

// builtProgram is the path of the program as a binary of its own.
func builtProgram(t *testing.T) string {
	t.Helper()
	built.once.Do(func() {
		if built.folder, built.err = os.MkdirTemp("", "evenrig-built-"); built.err != nil {
			return
		}
		if out, err := exec.Command("go", "build", "-o", filepath.Join(built.folder, "evenrig"), ".").CombinedOutput(); err != nil {
			built.err = fmt.Errorf("build: %w\n%s", err, out)
		}
	})
	if built.err != nil {
		t.Fatal(built.err)
	}
	return filepath.Join(built.folder, "evenrig")
}

// serveBinary starts the binary's service and returns its address and a way to kill it without warning.
func serveBinary(t *testing.T, binary, data string) (url string, kill func()) {
	t.Helper()
	command := exec.Command(binary, "serve", "--data", data, "--listen", "127.0.0.1:0", "--log-level", "error")
	var complaints bytes.Buffer
	command.Stderr = &complaints
	out, err := command.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	kill = sync.OnceFunc(func() {
		_ = command.Process.Kill()
		_ = command.Wait()
	})
	t.Cleanup(kill)
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		for word := range strings.FieldsSeq(lines.Text()) {
			if strings.HasPrefix(word, "http://") {
				return word, kill
			}
		}
	}
	kill()
	needServer(t, fmt.Errorf("the service did not start: %s", complaints.String()))
	return "", nil
}

// openTrial founds a club with one angler whose first period has begun.
func openTrial(t *testing.T, url, admin string) (person, openapi.PeriodID, openapi.TrialID) {
	t.Helper()
	clock := &storyClock{}
	clock.goReal()
	s := newStory(url, clock, io.Discard)
	for _, part := range []func(context.Context) error{
		func(ctx context.Context) error { return s.found(ctx, admin) }, s.writeRules, s.join,
	} {
		if err := part(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	p, now := s.anglers[0], time.Now().Truncate(time.Second)
	ids := [3]openapi.OutingID{}
	for i := range ids {
		ids[i] = openapi.OutingID(demoID(p.angler.rng, now))
	}
	outing, err := p.api.PutOutingWithResponse(t.Context(), s.trial, ids[0], openapi.NewOuting{Water: demoWaters[0].Name, StartedAt: now})
	if err := expect(outing, err, "open the outing", 201); err != nil {
		t.Fatal(err)
	}
	unit, err := p.api.PutUnitWithResponse(t.Context(), s.trial, ids[1], openapi.NewUnit{})
	if err := expect(unit, err, "fetch a unit", 201); err != nil {
		t.Fatal(err)
	}
	period, err := p.api.PutPeriodWithResponse(t.Context(), s.trial, ids[2], openapi.NewPeriod{Outing: ids[0], Unit: ids[1], Half: 1, Confirmed: true, StartedAt: now})
	if err := expect(period, err, "begin a period", 201); err != nil {
		t.Fatal(err)
	}
	return p.person, ids[2], s.trial
}

func catchIn(period openapi.PeriodID) openapi.NewCatch {
	pattern := demoTest
	return openapi.NewCatch{Period: period, TakenPattern: &pattern, Species: demoSpecies, CaughtAt: time.Now()}
}

// TestSpreadsheetDialect: a table as a spreadsheet program saves it in many countries (semicolons, byte order mark,
// CRLF) gives the same answer as the plain one. The data are worked example D1, whose values were computed with R.
func TestSpreadsheetDialect(t *testing.T) {
	t.Parallel()
	plain, err := os.ReadFile(filepath.Join("..", "testdata", "scenario", "d1.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(plain)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var saved bytes.Buffer
	saved.WriteString("\ufeff")
	w := csv.NewWriter(&saved)
	w.Comma, w.UseCRLF = ';', true
	if err := w.WriteAll(rows); err != nil {
		t.Fatal(err)
	}
	answers := map[string]bool{}
	for _, table := range [][]byte{plain, saved.Bytes()} {
		var out, complaints bytes.Buffer
		if status := run([]string{"analyse", "--test", "A", "--format", "json", "-"}, streams{bytes.NewReader(table), &out, &complaints}, nil); status != 0 {
			t.Fatalf("status %d: %s", status, complaints.String())
		}
		answers[out.String()] = true
	}
	if len(answers) != 1 {
		t.Errorf("the two tables give different answers")
	}
}
