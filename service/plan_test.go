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

// plan runs `plan` with the arguments and returns its exit status and what it printed.
func plan(t *testing.T, stdin string, args ...string) (status int, out, errs string) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	status = run(append([]string{"plan"}, args...), streams{strings.NewReader(stdin), &stdout, &stderr}, func(int) {})
	return status, stdout.String(), stderr.String()
}

// A plan in a folder is the one printed, and its question gives it again.
func TestPlanWritesAFolderAndReadsItsQuestion(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(t.TempDir(), "new", "folder")
	status, printed, errs := plan(t, "", "--share", "62.5", "--anglers", "9", "--swap-minutes", "0", "--span", "--seasons", "10", "--format", "json", "--out", folder)
	if status != 0 || errs != "" {
		t.Fatalf("status %d: %s", status, errs)
	}
	written, err := os.ReadFile(filepath.Join(folder, "plan.json"))
	if err != nil || string(written) != printed {
		t.Fatalf("%v: the folder holds another plan", err)
	}
	for _, name := range []string{"plan.html", "curve.svg"} {
		if content, err := os.ReadFile(filepath.Join(folder, name)); err != nil || len(content) < 2000 {
			t.Errorf("%s: %v, %d bytes", name, err, len(content))
		}
	}
	var answer analysis.SizeAnswer
	if err := json.Unmarshal(written, &answer); err != nil {
		t.Fatal(err)
	}
	q := answer.Question
	if q.SmallestShare != .625 || q.Anglers != 9 || q.Swap.AfterMinutes != nil || *q.Swap.AfterFish != 2 || !q.Swap.BlockMaySpan || answer.Played.Seasons != 10 {
		t.Errorf("the flags were read as %+v", q)
	}
	question, err := json.Marshal(q)
	if err != nil {
		t.Fatal(err)
	}
	if status, again, errs := plan(t, string(question), "--format", "json", "-"); status != 0 || again != printed {
		t.Errorf("status %d, %s: the question gives another plan", status, errs)
	}
}

// What is asked in a question's own words is told in the flags' and their units, all at once.
func TestPlanSaysWhatIsWrong(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		args   []string
		stdin  string
		status int
		want   []string
	}{
		{[]string{"--share", "50", "--chance", "100", "--anglers", "0", "--hours", "20"}, "", exitUsage, []string{
			"--share is 50; accepted: 51 to 90", "--chance is 100; accepted: 50 to 99", "--anglers is 0; accepted: 1 to 10000", "--hours is 20; accepted: 0.25 to 12",
		}},
		{[]string{"--swap-fish", "0", "--swap-minutes", "0"}, "", exitUsage, []string{"--swap-fish, --swap-minutes needs after_fish (1 to 20)"}},
		{[]string{"--looks", "3", "--anytime"}, "", exitUsage, []string{"--looks and --anytime were both given"}},
		{[]string{"--looks", "3", "--anglers", "5"}, "", exitUsage, []string{"at least 6 are needed"}},
		{[]string{"--by-outing", "--swap-fish", "2"}, "", exitUsage, []string{"must be null in paired_by_outing"}},
		{[]string{"--one-fly", "--swap-fish", "2"}, "", exitUsage, []string{"--swap-fish is 2 in alternating"}},
		{[]string{"--one-fly", "--looks", "3"}, "", exitUsage, []string{"accepted: fixed"}},
		{[]string{"--one-fly", "--by-outing"}, "", exitUsage, []string{"more than one of --by-outing"}},
		{[]string{"--flies", "9"}, "", exitUsage, []string{"--flies is 9; accepted: 3 to 8"}},
		{[]string{"--flies", "3", "--one-fly"}, "", exitUsage, []string{"more than one of --by-outing"}},
		{[]string{"--share", "most"}, "", exitUsage, []string{"--share"}},
		{[]string{"-"}, `{"smallest": 0.6}`, exitData, []string{"standard input: this is no question in JSON", "smallest"}},
		{[]string{"no-such-file.json"}, "", exitData, []string{"the question cannot be opened"}},
	} {
		status, out, errs := plan(t, c.stdin, append([]string{"--seasons", "0"}, c.args...)...)
		if status != c.status || out != "" {
			t.Errorf("%v: status %d, printed %q", c.args, status, out)
		}
		for _, want := range c.want {
			if !strings.Contains(errs, want) {
				t.Errorf("%v: %q lacks %q", c.args, errs, want)
			}
		}
	}
}

// Without any flag there is an answer.
func TestPlanOfTheUsualQuestion(t *testing.T) {
	t.Parallel()
	status, text, errs := plan(t, "", "--seasons", "0")
	if status != 0 || errs != "" {
		t.Fatalf("status %d: %s", status, errs)
	}
	for _, want := range []string{"How large must the trial be?", "12 anglers landing 24 fish each", "Local law", "What was taken for granted"} {
		if !strings.Contains(text, want) {
			t.Errorf("the plan lacks %q", want)
		}
	}
	if _, html, _ := plan(t, "", "--seasons", "0", "--format", "html"); !strings.HasPrefix(html, "<!DOCTYPE html>") {
		t.Error("--format html prints no page")
	}
}
