package main

import (
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
)

var update = flag.Bool("update", false, "write the files that show the settings anew")

// serveSettings are the settings of `evenrig serve`, from the tags that the program itself reads them by.
func serveSettings(t *testing.T) []*kong.Flag {
	t.Helper()
	parser, err := newParser(new(commands), streams{nil, io.Discard, io.Discard}, func(int) {})
	if err != nil {
		t.Fatal(err)
	}
	for _, node := range parser.Model.Children {
		if node.Name != "serve" {
			continue
		}
		flags := slices.DeleteFunc(slices.Clone(node.Flags), func(f *kong.Flag) bool { return f.Name == "help" })
		for _, f := range flags {
			if len(f.Envs) != 1 || f.Help == "" {
				t.Errorf("--%s has the variables %v and the help %q; want one and some", f.Name, f.Envs, f.Help)
			}
		}
		return flags
	}
	t.Fatal("there is no command serve")
	return nil
}

// help is a setting's help with the default folder as it is for a service of the system's, whoever runs the test.
func help(f *kong.Flag) string { return strings.ReplaceAll(f.Help, defaultData(), "/var/lib/evenrig") }

// exampleFile is a file of variables, each commented out at its default.
func exampleFile(flags []*kong.Flag) string {
	var b strings.Builder
	b.WriteString("# Every setting of `evenrig serve`. Generated from the program: go test ./service -run TestSettings -update\n")
	b.WriteString("# A line NAME=VALUE sets it; what is commented out stands at its default.\n")
	for _, f := range flags {
		b.WriteString("\n")
		for _, line := range fill(help(f), 100) {
			b.WriteString("# " + line + "\n")
		}
		value := f.Default
		if f.PlaceHolder != "" && !f.HasDefault {
			value = ""
		}
		fmt.Fprintf(&b, "#%s=%s\n", f.Envs[0], value)
	}
	return b.String()
}

// settingsTable is the same as a table.
func settingsTable(flags []*kong.Flag) string {
	var b strings.Builder
	b.WriteString("| variable | flag | default | means |\n|---|---|---|---|\n")
	for _, f := range flags {
		standard := "none"
		if f.Default != "" {
			standard = "`" + f.Default + "`"
		}
		fmt.Fprintf(&b, "| `%s` | `--%s` | %s | %s |\n", f.Envs[0], f.Name, standard, strings.ReplaceAll(help(f), "|", `\|`))
	}
	return b.String()
}

const (
	tableBegins = "<!-- settings: written by go test ./service -run TestSettings -update -->\n"
	tableEnds   = "<!-- end of settings -->\n"
)

// TestSettings: the files that show the settings are what the program's own tags give, so that they cannot drift.
func TestSettings(t *testing.T) {
	flags := serveSettings(t)
	example := filepath.Join("..", "deploy", "env.example")
	runbook := filepath.Join("..", "deploy", "runbook.md")
	text, err := os.ReadFile(runbook)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, found := strings.Cut(string(text), tableBegins)
	_, after, ends := strings.Cut(rest, tableEnds)
	if !found || !ends {
		t.Fatalf("%s has no place for the table of settings", runbook)
	}
	for path, want := range map[string]string{example: exampleFile(flags), runbook: before + tableBegins + settingsTable(flags) + tableEnds + after} {
		if *update {
			if err := os.WriteFile(path, []byte(want), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		got, err := os.ReadFile(path)
		if err != nil || string(got) != want {
			t.Errorf("%s does not show the settings as they are (%v); run: go test ./service -run TestSettings -update", path, err)
		}
	}
}

// TestEnvironmentOfUnits: the files that start the service set only variables that it has, and every name of a variable in
// the documents is one.
func TestEnvironmentOfUnits(t *testing.T) {
	known := []string{
		"EVENRIG_TEST_DATABASE_URL", "EVENRIG_TEST_PARTITIONS", "EVENRIG_BENCH_FISH", "EVENRIG_TEST_REPRODUCIBLE", "EVENRIG_AXE", "EVENRIG_FAULTS", "EVENRIG_ROUNDS", // of the tests
		"EVENRIG_BACKUPS", "EVENRIG_BACKUPS_KEPT", "EVENRIG_PROGRAM", // of backup.sh
		"EVENRIG_DATABASE_PASSWORD", "EVENRIG_VERSION", // of compose.yaml
	}
	for _, f := range serveSettings(t) {
		known = append(known, f.Envs[0])
	}
	for _, pattern := range []string{"../deploy/*", "../README.md", "../DEVELOPERS.md"} {
		paths, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range paths {
			text, err := os.ReadFile(path)
			if err != nil {
				continue // a folder
			}
			for _, word := range strings.FieldsFunc(string(text), func(r rune) bool { return r != '_' && (r < 'A' || r > 'Z') && (r < '0' || r > '9') }) {
				if strings.HasPrefix(word, "EVENRIG_") && !slices.Contains(known, word) {
					t.Errorf("%s speaks of %s, which nothing reads", path, word)
				}
			}
		}
	}
}
