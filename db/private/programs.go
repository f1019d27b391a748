package private

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
)

// usualPlaces are where systems put PostgreSQL's programs when they are not on PATH.
var usualPlaces = []string{
	"/usr/lib/postgresql/*/bin",                          // Debian, Ubuntu
	"/usr/pgsql-*/bin",                                   // PostgreSQL's own packages for Fedora and Red Hat
	"/usr/libexec/postgresql*",                           // Alpine
	"/usr/lib/postgresql*/bin",                           // openSUSE
	"/usr/lib64/postgresql-*/bin",                        // Gentoo
	"/usr/local/pgsql/bin",                               // built from source
	"/opt/homebrew/opt/postgresql*/bin",                  // Homebrew on Apple silicon
	"/usr/local/opt/postgresql*/bin",                     // Homebrew on Intel
	"/opt/local/lib/postgresql*/bin",                     // MacPorts
	"/Library/PostgreSQL/*/bin",                          // the graphical installer
	"/Applications/Postgres.app/Contents/Versions/*/bin", // Postgres.app
	`C:\Program Files\PostgreSQL\*\bin`,                  // the graphical installer on Windows
}

var versionText = regexp.MustCompile(`\(PostgreSQL\) ((\d+)\S*)`)

// Program returns the path of one of PostgreSQL's client programs, like "pg_dump", that fits a server of the given major
// version: of that version where it is installed, else of the next newer one. An older program refuses a newer server.
//
// Errors: no such program is on this machine; the error says what was found and what to install.
func Program(ctx context.Context, name string, major int) (string, error) {
	var places []string
	for _, place := range usualPlaces {
		matches, _ := filepath.Glob(place) // the only error is a malformed pattern
		places = append(places, matches...)
	}
	// PATH comes last: what stands there may be a script that chooses a version by itself.
	places = append(places, filepath.SplitList(os.Getenv("PATH"))...)
	file := name
	if runtime.GOOS == "windows" {
		file += ".exe"
	}
	best, bestMajor := "", 0
	var seen []string
	for _, place := range places {
		path := filepath.Join(place, file)
		if _, err := os.Stat(path); err != nil || !filepath.IsAbs(path) {
			continue
		}
		version, found, err := programVersion(ctx, path)
		if ctx.Err() != nil {
			return "", fmt.Errorf("looking for %s was interrupted: %w", name, context.Cause(ctx))
		}
		if err != nil {
			seen = append(seen, err.Error())
			continue
		}
		seen = append(seen, path+" is version "+version)
		if found >= major && (best == "" || found < bestMajor) {
			best, bestMajor = path, found
		}
	}
	if best != "" {
		return best, nil
	}
	found := ""
	if len(seen) > 0 {
		found = " (found but of no use: " + strings.Join(seen, "; ") + ")"
	}
	return "", fmt.Errorf("PostgreSQL's program %s of version %d or newer, which the database server needs, is not on this machine%s: install PostgreSQL's client "+
		"programs, on Debian and Ubuntu by apt-get install postgresql-client-%d", name, major, found, major)
}

// programVersion asks a program for its version.
func programVersion(ctx context.Context, path string) (version string, major int, err error) {
	out, err := exec.CommandContext(ctx, path, "--version").Output()
	if err != nil {
		return "", 0, fmt.Errorf("%s --version: %w", path, err)
	}
	m := versionText.FindSubmatch(out)
	if m == nil {
		return "", 0, fmt.Errorf("%s --version says %q", path, out)
	}
	if major, err = strconv.Atoi(string(m[2])); err != nil {
		return "", 0, errors.Join(fmt.Errorf("%s --version says %q", path, out), err)
	}
	return string(m[1]), major, nil
}
