package main_test

import (
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

const module = "evenrig/"

// mayImport is who may import whom, by folder. A package that is not here fails the test: a new one declares itself.
// A name that ends in "/..." stands for the package and all below it.
var mayImport = map[string][]string{
	"service":            {"..."},
	"service/trial":      {},
	"service/analysis":   {"service/trial", "stats/..."},
	"service/report":     {"service/trial", "service/analysis"},
	"service/exchange":   {"service/trial", "service/analysis", "service/report"},
	"service/conduct":    {"service/trial", "service/analysis", "service/report", "service/exchange"},
	"api":                {"service/conduct", "service/trial", "openapi", "api/web"},
	"api/web":            {"service/conduct", "service/trial", "service/report"},
	"db":                 {"service/trial", "db/migrations"},
	"db/migrations":      {},
	"db/private":         {},
	"openapi":            {},
	"stats":              {"stats/..."},
	"stats/num":          {"stats/..."},
	"stats/exact":        {"stats/..."},
	"stats/glm":          {"stats/..."},
	"stats/glmm":         {"stats/..."},
	"stats/meta":         {"stats/..."},
	"stats/sequential":   {"stats/..."},
	"stats/evalue":       {"stats/..."},
	"stats/power":        {"stats/..."},
	"stats/multiplicity": {"stats/..."},
	"stats/ranking":      {"stats/..."},
	"stats/simulate":     {"stats/..."},
	"stats/calibration":  {"stats/..."},

	"db/dbtest":      {"db", "db/migrations", "db/private"},
	"stats/stattest": {},
}

// testsOnly are the packages that no other may import outside its tests; they alone may import package testing.
var testsOnly = []string{"db/dbtest", "stats/stattest"}

// mayUse limits what a package and all below it import from outside the module and the standard library.
var mayUse = map[string][]string{
	"service/trial/...": {},
	"stats/...":         {"gonum.org/v1/gonum/..."},
}

func TestImportsFollowTheTable(t *testing.T) {
	packages := listPackages(t, nil, "./...")
	if len(packages) < 5 {
		t.Fatalf("go list found only %d packages", len(packages))
	}
	for _, p := range packages {
		name := strings.TrimPrefix(p.ImportPath, module)
		allowed, listed := mayImport[name]
		if !listed {
			t.Errorf("%s is not in the import table: add it with what it may import", name)
			continue
		}
		if p.Name == "main" && name != "service" {
			t.Errorf("%s is a second package main: make it a subcommand of service", name)
		}
		for _, path := range p.Imports {
			checkImport(t, name, path, allowed)
		}
	}
}

func checkImport(t *testing.T, name, path string, allowed []string) {
	inside, ours := strings.CutPrefix(path, module)
	first, _, _ := strings.Cut(path, "/")
	switch {
	case ours && slices.Contains(testsOnly, inside):
		t.Errorf("%s imports %s, which is for tests only", name, inside)
	case ours && !matches(inside, allowed):
		t.Errorf("%s imports %s, but may import only %q", name, inside, allowed)
	case !ours && strings.Contains(first, "."):
		for folder, libraries := range mayUse {
			if matches(name, []string{folder}) && !matches(path, libraries) {
				t.Errorf("%s imports %s, but outside the standard library may import only %q", name, path, libraries)
			}
		}
	case path == "testing" && !slices.Contains(testsOnly, name):
		t.Errorf("%s imports testing outside its tests", name)
	}
}

func matches(path string, patterns []string) bool {
	return slices.ContainsFunc(patterns, func(pattern string) bool {
		folder, below := strings.CutSuffix(pattern, "...")
		return path == strings.TrimSuffix(folder, "/") || below && strings.HasPrefix(path, folder)
	})
}

type listed struct {
	ImportPath, Name, Dir string
	GoFiles               []string // with their imports; those of tests are left out
	Imports               []string
	ImportMap             map[string]string // where a path in the files is not the imported package's own
}

// listPackages lists what the arguments of go list name, with further settings in its environment.
func listPackages(t *testing.T, environment []string, arguments ...string) []listed {
	cmd := exec.CommandContext(t.Context(), "go", append([]string{"list", "-json=ImportPath,Name,Dir,GoFiles,Imports,ImportMap"}, arguments...)...)
	cmd.Dir, cmd.Env = "..", append(os.Environ(), environment...)
	out, err := cmd.Output()
	if err != nil {
		if failed, ok := errors.AsType[*exec.ExitError](err); ok {
			t.Fatalf("go list: %v\n%s", err, failed.Stderr)
		}
		t.Fatal("go list: ", err)
	}
	var packages []listed
	for in := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p listed
		err := in.Decode(&p)
		if errors.Is(err, io.EOF) {
			return packages
		}
		if err != nil {
			t.Fatal("go list: ", err)
		}
		packages = append(packages, p)
	}
}
