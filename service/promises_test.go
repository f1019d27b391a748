package main

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestNamedTestsExist: DEVELOPERS.md names the tests that hold what is promised; each of them is there.
func TestNamedTestsExist(t *testing.T) {
	guide, err := os.ReadFile(filepath.Join("..", "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	here := map[string]bool{}
	test := regexp.MustCompile(`(?m)^func (Test\w+)\(`)
	err = filepath.WalkDir("..", func(path string, _ fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		for _, found := range test.FindAllSubmatch(text, -1) {
			here[string(found[1])] = true
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	named := regexp.MustCompile(`\bTest[A-Z]\w*`).FindAllString(string(guide), -1)
	if len(named) < 20 {
		t.Errorf("only %d tests are named", len(named))
	}
	for _, name := range named {
		if !here[name] {
			t.Errorf("DEVELOPERS.md names %s, which is not there", name)
		}
	}
}
