package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"evenrig/service/analysis"
)

const scenarios = "../testdata/scenario/"

// analyse runs `analyse` with the arguments and returns its exit status and what it printed.
func analyse(t *testing.T, stdin string, args ...string) (status int, out, errs string) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	status = run(append([]string{"analyse"}, args...), streams{strings.NewReader(stdin), &stdout, &stderr}, func(int) {})
	return status, stdout.String(), stderr.String()
}

// A catch table as a spreadsheet program saves it (semicolons, byte order mark, CRLF) gives the same bytes of result as the
// plain one, from a file and from standard input.
func TestAnalyseReadsEveryDialectAlike(t *testing.T) {
	t.Parallel()
	plain, err := os.ReadFile(scenarios + "d1.csv")
	if err != nil {
		t.Fatal(err)
	}
	saved := "\xef\xbb\xbf" + strings.NewReplacer(",", ";", "\n", "\r\n").Replace(string(plain))
	status, want, errs := analyse(t, "", "--test", "A", "--format", "json", scenarios+"d1.csv")
	if status != 0 || errs != "" {
		t.Fatalf("status %d: %s", status, errs)
	}
	var result analysis.Result
	if err := json.Unmarshal([]byte(want), &result); err != nil || result.Counts.Analysed != 96 || result.Headline.LogOdds == nil {
		t.Fatalf("%v: %s", err, want)
	}
	status, got, errs := analyse(t, saved, "--test", "A", "--format", "json", "-")
	if status != 0 || got != want {
		t.Errorf("status %d, %s, another result:\n%s\n%s", status, errs, got, want)
	}
	lines := strings.Split(strings.TrimSpace(string(plain)), "\n")
	for i, j := 1, len(lines)-1; i < j; i, j = i+1, j-1 {
		lines[i], lines[j] = lines[j], lines[i]
	}
	if _, got, _ := analyse(t, strings.Join(lines, "\n"), "--test=A", "--format=json", "-"); got != want {
		t.Error("the order of the rows changes the result")
	}
}

// --out writes the report, the result as printed, and a table that gives the same result again.
func TestAnalyseWritesAFolder(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(t.TempDir(), "new", "folder")
	status, text, errs := analyse(t, "", "--test", "A", "--control", "B", "--lower-word", "tail", "--upper-word", "top", "--out", folder, scenarios+"d2.csv")
	if status != 0 || errs != "" {
		t.Fatalf("status %d: %s", status, errs)
	}
	for _, want := range []string{"Of 100 fish of these species", "tail", "top", "105 fish", "choice when both flies are in the water", "Local rules first"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	files := map[string]string{}
	for _, name := range []string{"report.html", "result.json", "catches.csv", "summary.html", "picture.svg", "picture.png", "picture-square.png", "post.txt", "club-night.html"} {
		content, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			t.Fatal(err)
		}
		files[name] = string(content)
	}
	if !strings.HasPrefix(strings.ToLower(files["report.html"]), "<!doctype html>") {
		t.Errorf("report.html starts with %.40q", files["report.html"])
	}
	if rows := strings.Count(files["club-night.html"], "data-pseudonym="); rows != 6 {
		t.Errorf("the sheet for club night has %d rows, the table six anglers", rows)
	}
	flags := []string{"--test", "A", "--control", "B", "--lower-word", "tail", "--upper-word", "top"}
	if _, html, _ := analyse(t, "", append(flags, "--format", "html", scenarios+"d2.csv")...); html != files["report.html"] {
		t.Error("--format html prints another page than --out writes")
	}
	if _, again, _ := analyse(t, "", append(flags, "--format", "json", filepath.Join(folder, "catches.csv"))...); again != files["result.json"] {
		t.Errorf("the cleaned table gives another result:\n%s\n%s", again, files["result.json"])
	}
}

// What is wrong with the command line ends with status 2, what is wrong with the table with 1; both say what was wrong
// and what is accepted, print nothing else, and write nothing.
func TestAnalyseSaysWhatIsWrong(t *testing.T) {
	t.Parallel()
	const good = "lower_pattern,taken_position\nA,lower\nB,upper\n"
	for _, c := range []struct {
		name, stdin string
		args        []string
		status      int
		says        []string
	}{
		{"no test pattern", good, []string{"-"}, exitUsage, []string{"--test"}},
		{"no file", good, []string{"--test", "A"}, exitUsage, []string{"file"}},
		{"an unknown format", good, []string{"--test", "A", "--format", "pdf", "-"}, exitUsage, []string{"--format", "pdf", "html"}},
		{"an unknown form of the model", good, []string{"--test", "A", "--vary", "everything", "-"}, exitUsage, []string{"--vary", "everything", "pattern+position"}},
		{"a flag that does not exist", good, []string{"--test", "A", "--weights", "-"}, exitUsage, []string{"--weights"}},
		{"one effect, correlated", good, []string{"--test", "A", "--vary", "pattern", "--correlated", "-"}, exitUsage, []string{"correlated", "pattern+position"}},
		{"a column that is not there", good, []string{"--test", "A", "--subgroup", "moon", "-"}, exitData, []string{"moon"}},
		{"points that are no number", good, []string{"--test", "A", "--points", "many", "-"}, exitUsage, []string{"--points", "many"}},
		{"too many points", good, []string{"--test", "A", "--points", "999", "-"}, exitUsage, []string{"points", "999", "1 to 200"}},
		{"one code for both patterns", good, []string{"--test", "A", "--control", "A", "-"}, exitUsage, []string{"--test and --control"}},
		{"a file that is not there", "", []string{"--test", "A", "no-such.csv"}, exitData, []string{"no-such.csv"}},
		{"an empty table", "", []string{"--test", "A", "-"}, exitData, []string{"standard input", "empty"}},
		{"an unknown test pattern", good, []string{"--test", "Z", "-"}, exitData, []string{`"Z"`, `"A"`, `"B"`}},
		{"an unknown test pattern, the control named", "lower_pattern,taken_position\nB,lower\nB,upper\n", []string{"--test", "Z", "--control", "B", "-"}, exitData, []string{`"Z"`, "it has B"}},
		{"three patterns", good + "C,lower\n", []string{"--test", "A", "-"}, exitData, []string{"3 pattern codes"}},
		{"one pattern", "lower_pattern,taken_position\nA,lower\n", []string{"--test", "A", "-"}, exitData, []string{"--control"}},
		{"a bad row", good + "A,sideways\n", []string{"--test", "A", "-"}, exitData, []string{": 1 fault,", "line 4", "taken_position", "sideways", "lower, upper", "nothing was analysed"}},
	} {
		folder := filepath.Join(t.TempDir(), "out")
		status, out, errs := analyse(t, c.stdin, append(c.args, "--out", folder)...)
		if status != c.status || out != "" {
			t.Errorf("%s: status %d, printed %q", c.name, status, out)
		}
		for _, want := range c.says {
			if !strings.Contains(errs, want) {
				t.Errorf("%s: %q does not say %q", c.name, errs, want)
			}
		}
		if _, err := os.Stat(folder); !os.IsNotExist(err) {
			t.Errorf("%s: a folder was made", c.name)
		}
	}
}

// One code in the table and the control named: the raw share stands, what must be free of position is null.
func TestAnalyseOfOnePattern(t *testing.T) {
	status, out, errs := analyse(t, "lower_pattern,taken_pattern\nA,A\nA,A\nA,A\n", "--test", "A", "--control", "B", "--format", "json", "-")
	var r analysis.Result
	if err := json.Unmarshal([]byte(out), &r); status != 0 || err != nil {
		t.Fatalf("status %d: %v %s", status, err, errs)
	}
	if r.RawShare == nil || r.PooledTable != nil || r.Stratified != nil || r.Combined != nil || r.Headline.Share != nil || r.Verdict.Code != analysis.NotSettled {
		t.Errorf("%s", out)
	}
}
