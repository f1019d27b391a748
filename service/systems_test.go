package main_test

import (
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"go/types"
	"path/filepath"
	"strings"
	"testing"
)

// The program is whole on systems that it cannot be tested on here: every package of it and of what it imports has its
// types checked as that system would compile it. That finds what is not there on a system in a fraction of the time
// that compiling for it takes.
func TestOtherSystems(t *testing.T) {
	for _, system := range []string{"windows/amd64", "darwin/arm64", "freebsd/amd64"} {
		t.Run(system, func(t *testing.T) {
			t.Parallel()
			checkTypes(t, system)
		})
	}
}

// checkTypes checks the program's packages, those first that others import.
func checkTypes(t *testing.T, system string) {
	goos, arch, _ := strings.Cut(system, "/")
	files := token.NewFileSet()
	known := map[string]*types.Package{"unsafe": types.Unsafe}
	for _, p := range listPackages(t, []string{"GOOS=" + goos, "GOARCH=" + arch, "CGO_ENABLED=0"}, "-deps", "./service", "./db/...") {
		if p.ImportPath == "unsafe" {
			continue
		}
		var parsed []*ast.File
		for _, name := range p.GoFiles {
			file, err := parser.ParseFile(files, filepath.Join(p.Dir, name), nil, parser.SkipObjectResolution)
			if err != nil {
				t.Fatal(err)
			}
			parsed = append(parsed, file)
		}
		checker := types.Config{
			Importer:         imported(func(path string) (*types.Package, error) { return found(known, p.ImportMap, path) }),
			Sizes:            types.SizesFor("gc", arch),
			IgnoreFuncBodies: !strings.HasPrefix(p.ImportPath+"/", module),
			Error:            func(err error) { t.Errorf("%s: %v", system, err) },
		}
		known[p.ImportPath], _ = checker.Check(p.ImportPath, files, parsed, nil)
	}
	if known[module+"service"] == nil {
		t.Errorf("%s: the program was not checked", system)
	}
}

type imported func(path string) (*types.Package, error)

func (f imported) Import(path string) (*types.Package, error) { return f(path) }

// found returns a package that was checked already; names says under which path one finds what another one vendors.
func found(known map[string]*types.Package, names map[string]string, path string) (*types.Package, error) {
	if real, ok := names[path]; ok {
		path = real
	}
	if p := known[path]; p != nil {
		return p, nil
	}
	return nil, errors.New("not listed before what imports it: " + path)
}
