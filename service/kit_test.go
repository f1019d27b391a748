package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"evenrig/openapi"
	"evenrig/service/analysis"
	"evenrig/service/exchange"
	"evenrig/service/trial"
	"evenrig/stats/stattest"
)

// kit runs `kit` with the arguments and returns its exit status and what it printed.
func kit(t *testing.T, args ...string) (status int, out, errs string) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	status = run(append([]string{"kit"}, args...), streams{strings.NewReader(""), &stdout, &stderr}, func(int) {})
	return status, stdout.String(), stderr.String()
}

// kitFlagsOf are flags that make an invented kit.
var kitFlagsOf = []string{
	"--feature", "an orange collar behind the bead", "--changed", "collared nymph", "--usual", "plain nymph", "--species", "Thymallus thymallus",
	"--water", "Mill Reach=river", "--from", "2026-09-01", "--to", "2026-11-30", "--tippet", ".14", "--hook", "straight shank", "--hook-size", "14",
}

func with(flags []string, more ...string) []string { return append(slices.Clone(flags), more...) }

// The folder holds every file, the rule sheet among them is one that a server takes for a draft, and the check code printed is
// the one in the files.
func TestKitWritesAFolder(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(t.TempDir(), "new", "folder")
	status, out, errs := kit(t, with(kitFlagsOf, "--angler", "Alba Fenwright", "--angler", "Bodo Karvel", "--rounds", "9", "--share", "62", "--false-alarms", "10", "--swap-minutes", "0", "--span",
		"--spacing", "40", "--barb", "pinched", "--fish", "150", "--min-length", "180", "--lower-word", "tail", "--upper-word", "top", "--local-rules", "Two flies only.", "--report-line", "The hut.", folder)...)
	if status != 0 || errs != "" {
		t.Fatalf("status %d: %s", status, errs)
	}
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
		if !strings.Contains(out, e.Name()) {
			t.Errorf("%s is not named in %s", e.Name(), out)
		}
	}
	if want := []string{"cards.html", "catches.csv", "check-code.txt", "index.html", "protocol.json", "rules.html", "seed-open-afterwards.txt", "slips.html"}; !slices.Equal(names, want) {
		t.Errorf("the folder holds %v, want %v", names, want)
	}
	k, err := exchange.ReadKit(os.DirFS(folder))
	if err != nil {
		t.Fatal(err)
	}
	if code := regexp.MustCompile(`\b[0-9a-f]{64}\b`).FindString(out); code != k.Commitment.String() {
		t.Errorf("the code printed is %q, in the files %s", code, k.Commitment)
	}
	p := k.Protocol
	if p.SmallestShare != 62 || p.Alpha != .1 || p.Swap.AfterMinutes != nil || *p.Swap.AfterFish != 2 || !p.Draw.BlockMaySpan || p.Rig.SpacingCM != 40 || p.Rig.Barb != "pinched" ||
		p.MaxFish != 150 || p.MinLengthMM != 180 || p.LowerWord != "tail" || p.UpperWord != "top" || p.Welfare.CautionC != 15 || p.MinAnglers != 2 || p.Code(trial.Test) != "C" ||
		p.Code(trial.Control) != "U" || k.Draw.Rounds != 9 || len(k.Draw.Anglers) != 2 || p.Welfare.LocalRules != "Two flies only." || p.Welfare.ReportLine != "The hut." {
		t.Errorf("the flags were read as %+v", k)
	}
	rules, err := os.ReadFile(filepath.Join(folder, "protocol.json"))
	if err != nil {
		t.Fatal(err)
	}
	var draft openapi.NewTrial // strictly: a field that the contract lacks, or a kind that it does not have, is refused
	in := json.NewDecoder(strings.NewReader(fmt.Sprintf(`{"protocol":%s}`, rules)))
	in.DisallowUnknownFields()
	if err := in.Decode(&draft); err != nil || draft.Protocol.Title != p.Title {
		t.Errorf("a server does not take the rule sheet: %v", err)
	}
	before := readAll(t, folder)
	if status, out, errs := kit(t, with(kitFlagsOf, folder)...); status != exitData || out != "" || !strings.Contains(errs, "is not empty") {
		t.Errorf("a second kit in the folder: status %d, %q, %q", status, out, errs)
	}
	if after := readAll(t, folder); after != before {
		t.Error("the refused kit changed the folder")
	}
	again := filepath.Join(t.TempDir(), "again")
	if status, _, errs := kit(t, "--rules", filepath.Join(folder, "protocol.json"), "--changed-code", "X", again); status != 0 {
		t.Fatalf("from another kit's rules: %s", errs)
	}
	if k, err := exchange.ReadKit(os.DirFS(again)); err != nil || k.Protocol.Code(trial.Test) != "X" || k.Protocol.SmallestShare != 62 || k.Protocol.Question != p.Question {
		t.Errorf("from another kit's rules: %v, %+v", err, k.Protocol)
	}
}

func readAll(t *testing.T, folder string) (all string) {
	t.Helper()
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		content, err := os.ReadFile(filepath.Join(folder, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		all += e.Name() + string(content)
	}
	return all
}

// Every fault is told by its flag, all at once, and nothing is written.
func TestKitSaysWhatIsWrong(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	write := func(name, content string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	plan := func(name, change string, value any) string {
		q := analysis.UsualSize()
		text, err := json.Marshal(q)
		if err != nil {
			t.Fatal(err)
		}
		var fields map[string]any
		if err := json.Unmarshal(text, &fields); err != nil {
			t.Fatal(err)
		}
		fields["anglers"] = 1
		fields[change] = value
		if text, err = json.Marshal(map[string]any{"question": fields}); err != nil {
			t.Fatal(err)
		}
		return write(name, string(text))
	}
	for _, c := range []struct {
		args   []string
		status int
		want   []string
	}{
		{nil, exitUsage, []string{
			"--feature has 0 characters; accepted: 3 to 200", "--species has 0 entries", "--water has 0 entries", "--from is \"\"", "--to is \"\"", "--tippet is 0; accepted: 0.08 to 0.6 mm",
			"--hook has 0 characters", "--hook-size is \"\"", "--question has 0 characters",
		}},
		{with(kitFlagsOf, "--share", "50"), exitUsage, []string{"--share is 50; accepted: 51 to 90"}},
		{with(kitFlagsOf, "--changed-code", "U"), exitUsage, []string{`--changed-code, --usual-code both have the code "U"`}},
		{with(kitFlagsOf, "--changed-code", "unknown"), exitUsage, []string{`--changed-code is "unknown"`}},
		{with(kitFlagsOf, "--species", "grayling"), exitUsage, []string{`--species is "grayling"; accepted: a scientific name`}},
		{with(kitFlagsOf, "--water", "Tarn Head"), exitUsage, []string{`--water is "Tarn Head"; accepted: its name, = and its kind`}},
		{with(kitFlagsOf, "--to", "2026-08-01"), exitUsage, []string{"--to 2026-08-01 is before season_start"}},
		{with(kitFlagsOf, "--swap-fish", "0", "--swap-minutes", "0"), exitUsage, []string{"--swap-fish, --swap-minutes needs after_fish"}},
		{with(kitFlagsOf, "--angler", "Alba", "--angler", "Alba"), exitUsage, []string{`--angler "Alba" stands twice`}},
		{with(kitFlagsOf, "--rounds", "0"), exitUsage, []string{"--rounds are 0"}},
		{with(kitFlagsOf, "--rounds", "201"), exitUsage, []string{"accepted: 1 to 200"}},
		{with(kitFlagsOf, "--barb", "sharp"), exitUsage, []string{`--barb is "sharp"`}},
		{with(kitFlagsOf, "--lower-word", "dropper"), exitUsage, []string{"--upper-word is"}},
		{with(kitFlagsOf, "--false-alarms", "30"), exitUsage, []string{"--false-alarms"}},
		{with(kitFlagsOf, "--plan", plan("looks.json", "stopping", "group_sequential")), exitUsage, []string{"stopping is \"group_sequential\"; paper does not remember", "looks is missing"}},
		{with(kitFlagsOf, "--plan", plan("share.json", "smallest_share", .625)), exitUsage, []string{"smallest share is 62.5 of 100"}},
		{with(kitFlagsOf, "--plan", plan("one.json", "design", "alternating")), exitData, []string{"one fly at a time"}},
		{with(kitFlagsOf, "--plan", write("other.json", `{"answer":1}`)), exitData, []string{"it has no question"}},
		{with(kitFlagsOf, "--plan", filepath.Join(dir, "no-such.json")), exitData, []string{"no-such.json"}},
		{with(kitFlagsOf, "--rules", write("bad.json", `{"title":`)), exitData, []string{"no rule sheet in JSON"}},
		{with(kitFlagsOf, "--rules", write("moon.json", `{"moon":1}`)), exitData, []string{"moon"}},
		{with(kitFlagsOf, "--seed", "7"), exitUsage, []string{"--seed"}},
	} {
		folder := filepath.Join(t.TempDir(), "kit")
		status, out, errs := kit(t, append(c.args, folder)...)
		if status != c.status || out != "" {
			t.Errorf("%v: status %d, printed %q, %q", c.args, status, out, errs)
		}
		for _, want := range c.want {
			if !strings.Contains(errs, want) {
				t.Errorf("%v: %q does not say %q", c.args, errs, want)
			}
		}
		if _, err := os.Stat(folder); !os.IsNotExist(err) {
			t.Errorf("%v: a folder was made", c.args)
		}
	}
}

// blocksOfD1 are takes of the lower fly, of 4 fish in each half, with the test pattern lower and then upper: the worked
// example of testdata/reference/analysis/d1.json, which says what computed the expected values and how closely.
var blocksOfD1 = [][2]int{{3, 2}, {4, 2}, {3, 1}, {4, 3}, {2, 2}, {3, 1}, {4, 2}, {3, 3}, {4, 1}, {3, 1}, {4, 2}, {3, 2}}

// The lone angler's way: plan, kit, fish, type, analyse, in one folder and without a server. The fish are those of
// blocksOfD1, each round fished as its slip says.
func TestALoneAnglersTrial(t *testing.T) {
	t.Parallel()
	home := t.TempDir()
	folder := filepath.Join(home, "collar")
	if status, _, errs := plan(t, "", "--anglers", "1", "--fish", "96", "--per-outing", "8", "--swap-fish", "4", "--swap-minutes", "0", "--share", "70", "--seasons", "0", "--out", filepath.Join(home, "plan")); status != 0 {
		t.Fatalf("plan: %s", errs)
	}
	if status, _, errs := kit(t, with(kitFlagsOf, "--plan", filepath.Join(home, "plan", "plan.json"), folder)...); status != 0 {
		t.Fatalf("kit: %s", errs)
	}
	if status, _, errs := analyse(t, "", folder); status != exitData || !strings.Contains(errs, "catches.csv: the table has a header") {
		t.Errorf("a kit without fish: status %d, %s", status, errs)
	}
	r := analyseD1(t, folder)
	if r.Settings.SmallestShare != .7 || r.Counts.Analysed != 96 || r.Counts.Anglers != 1 {
		t.Errorf("the rules or fish were not read: %+v, %+v", r.Settings, r.Counts)
	}
	h, s := r.Headline, r.Stratified
	if h.Method != analysis.ExactStratified {
		t.Fatalf("the headline is %s", h.Method)
	}
	var want struct {
		Strata struct {
			OddsRatio      string `json:"odds_ratio"`
			ExactP         string `json:"exact_p"`
			ExactOddsRatio string `json:"exact_odds_ratio"`
			ExactLow       string `json:"exact_low"`
			ExactHigh      string `json:"exact_high"`
		} `json:"strata_blocks"`
	}
	stattest.Load(t, "analysis/d1.json", &want)
	number := func(text string) float64 {
		x, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	half := func(ratio string) float64 { return math.Log(number(ratio)) / 2 }
	for _, c := range []struct {
		what      string
		got       *float64
		want      float64
		tolerance float64
	}{
		{"strata's exact p", s.ExactP, number(want.Strata.ExactP), 1e-10},                // the digits printed
		{"Mantel-Haenszel odds ratio", s.OddsRatio, number(want.Strata.OddsRatio), 1e-6}, // the digits printed
		{"log odds", h.LogOdds, half(want.Strata.ExactOddsRatio), 1e-3},                  // the reference's root finder stops
		{"low", h.Low, half(want.Strata.ExactLow), 1e-3},                                 // within 1.2e-4 of the odds ratio or of its
		{"high", h.High, half(want.Strata.ExactHigh), 1e-3},                              // inverse, here .063: half of 1.9e-3
	} {
		if c.got == nil || !(math.Abs(*c.got-c.want) <= c.tolerance) {
			t.Errorf("%s is %s, want %v", c.what, shown(c.got), c.want)
		}
	}
	if r.Randomisation == nil || r.AsAllocated == nil || r.AsAllocated.Analysed != 96 || r.AsAllocated.Changed != 0 || r.Settings.Source != trial.Drawn {
		t.Errorf("the slips' draw was not used: %+v, %+v", r.Randomisation, r.AsAllocated)
	}
	if m := r.Monitoring; m == nil || m.EValue == nil {
		t.Errorf("no evidence by the draw: %+v", m)
	}
	status, page, errs := analyse(t, "", "--out", filepath.Join(home, "result"), folder)
	if status != 0 || !strings.Contains(page, "collared nymph") {
		t.Errorf("status %d, %s: %s", status, errs, page)
	}
	html, err := os.ReadFile(filepath.Join(home, "result", "report.html"))
	if err != nil || !strings.Contains(string(html), "sealed slips of paper: 12") {
		t.Errorf("%v: the report does not speak of 12 slips", err)
	}
}

// With a coin for every round the draw could have given any of 4096 orders. The halves' differences are 1 2 2 1 0 2 2 0 3 2 2 1,
// none against the others, so that only the orders that turn none or all of the ten that differ are as extreme: 2 times the 4 orders of the two
// that do not, 8 of 4096.
func TestALoneAnglersCoins(t *testing.T) {
	t.Parallel()
	home := t.TempDir()
	if status, _, errs := kit(t, with(kitFlagsOf, "--swap-fish", "4", filepath.Join(home, "first"))...); status != 0 {
		t.Fatal(errs)
	}
	text, err := os.ReadFile(filepath.Join(home, "first", "protocol.json"))
	if err != nil {
		t.Fatal(err)
	}
	text = bytes.Replace(text, []byte(`"group_sizes":[2,4],"method":"permuted_blocks"`), []byte(`"group_sizes":[],"method":"coin_per_block"`), 1)
	rules := filepath.Join(home, "rules.json")
	if err := os.WriteFile(rules, text, 0o600); err != nil {
		t.Fatal(err)
	}
	if status, _, errs := kit(t, "--rules", rules, filepath.Join(home, "kit")); status != 0 {
		t.Fatal(errs)
	}
	r := analyseD1(t, filepath.Join(home, "kit"))
	if r.Randomisation == nil || !r.Randomisation.Exact || math.Abs(r.Randomisation.P-8./4096) > 1e-12 { // a sum of powers of 2
		t.Errorf("drawn again: %+v", r.Randomisation)
	}
}

// analyseD1 types blocksOfD1 into the kit's table, each round as its slip says, and analyses the folder.
func analyseD1(t *testing.T, folder string) (r analysis.Result) {
	t.Helper()
	k, err := exchange.ReadKit(os.DirFS(folder))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(folder, exchange.KitCatches)
	table, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rows := string(table)
	first := k.Draw.First(k.Protocol, k.Draw.Anglers[0])
	for i, takes := range blocksOfD1 {
		for half := 1; half <= 2; half++ {
			way := trial.Unit{First: first[i]}.Drawn(half)
			lower, _ := k.Protocol.Flies(way)
			low := takes[0]
			if way == trial.ControlLower {
				low = takes[1]
			}
			for fish := range 4 {
				position := "upper"
				if fish < low {
					position = "lower"
				}
				rows += fmt.Sprintf("me,%d,%d,%d,%s,%s,,2026-09-%02d,,wild,,,,,,\r\n", i/2+1, i+1, half, lower, position, i/2+1)
			}
		}
	}
	if err := os.WriteFile(path, []byte(rows), 0o600); err != nil {
		t.Fatal(err)
	}
	status, out, errs := analyse(t, "", "--format", "json", folder)
	if err := json.Unmarshal([]byte(out), &r); status != 0 || err != nil {
		t.Fatalf("analyse: status %d, %v: %s", status, err, errs)
	}
	return r
}

func shown(x *float64) string {
	if x == nil {
		return "null"
	}
	return fmt.Sprint(*x)
}

// What is wrong with a kit's folder, or with flags beside it, is said; a bad row stops everything.
func TestAnalyseOfAKitSaysWhatIsWrong(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(t.TempDir(), "kit")
	if status, _, errs := kit(t, with(kitFlagsOf, "--angler", "Alba", "--angler", "Bodo", folder)...); status != 0 {
		t.Fatal(errs)
	}
	path := filepath.Join(folder, exchange.KitCatches)
	if err := os.WriteFile(path, []byte("angler,block,period,lower_pattern,taken_pattern,species\nAlba,1,1,C,C,grayling\nCilla,99,1,C,C,\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args   []string
		status int
		want   []string
	}{
		{[]string{folder}, exitData, []string{"catches.csv: 3 faults, nothing was analysed", `line 2, species "grayling": accepted: Thymallus thymallus`, `line 3, block "99"`, `line 3, angler "Cilla": has no slips in this kit; accepted: Alba, Bodo`}},
		{[]string{"--test", "C", folder}, exitUsage, []string{"--test is given", "is a kit"}},
		{[]string{"--lower-word", "tail", folder}, exitUsage, []string{"--lower-word is given"}},
		{[]string{"--out", folder, folder}, exitUsage, []string{"--out is the kit's own folder"}},
		{[]string{t.TempDir()}, exitData, []string{"is a folder without protocol.json"}},
	} {
		status, out, errs := analyse(t, "", c.args...)
		if status != c.status || out != "" {
			t.Errorf("%v: status %d, printed %q", c.args, status, out)
		}
		for _, want := range c.want {
			if !strings.Contains(errs, want) {
				t.Errorf("%v: %q does not say %q", c.args, errs, want)
			}
		}
	}
	seed := filepath.Join(folder, exchange.KitSeed)
	text, err := os.ReadFile(seed)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(seed, bytes.Replace(text, []byte("rounds 24"), []byte("rounds 25"), 1), 0o600); err != nil {
		t.Fatal(err)
	}
	if status, _, errs := analyse(t, "", folder); status != exitData || !strings.Contains(errs, "was changed since the kit was made") {
		t.Errorf("another seed: status %d, %s", status, errs)
	}
}
