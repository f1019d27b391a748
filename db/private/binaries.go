//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package private

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// oldestMajor is the oldest PostgreSQL that evenrig is tested with.
const oldestMajor = 15

const howToInstall = `install PostgreSQL's server programs:
  Debian, Ubuntu     apt-get install postgresql   (first put "create_main_cluster = false" into
                     /etc/postgresql-common/createcluster.conf if you want no server of the system's own)
  Fedora, Red Hat    dnf install postgresql-server
  openSUSE           zypper install postgresql-server
  Alpine             apk add postgresql
  Arch               pacman -S postgresql
  FreeBSD            pkg install postgresql17-server
  macOS              brew install postgresql@17
  where these are older, https://www.postgresql.org/download/ has newer ones
or give the service a database of your own by its URL`

// binaries is one installation of PostgreSQL's server programs.
type binaries struct {
	dir     string
	major   int
	version string
}

// findBinaries returns the installation to run dir's cluster with: of the major version that made its data, else the
// newest one.
func findBinaries(ctx context.Context, dir string, a account) (binaries, error) {
	want, err := dataMajor(dir)
	if err != nil {
		return binaries{}, err
	}
	var found []binaries
	var troubles []error
	for _, candidate := range candidates(ctx) {
		b, err := inspect(ctx, candidate, dir, a)
		switch {
		case err != nil:
			troubles = append(troubles, err)
		case want == b.major, want == 0 && b.major >= oldestMajor:
			found = append(found, b)
		default:
			troubles = append(troubles, fmt.Errorf("%s is version %s", b.dir, b.version))
		}
	}
	if ctx.Err() != nil {
		return binaries{}, fmt.Errorf("looking for PostgreSQL was interrupted: %w", context.Cause(ctx))
	}
	if len(found) > 0 {
		// The first of equals: PATH goes before the usual places.
		return slices.MaxFunc(found, func(x, y binaries) int { return x.major - y.major }), nil
	}
	seen := ""
	if len(troubles) > 0 {
		seen = " (found but of no use: " + strings.ReplaceAll(errors.Join(troubles...).Error(), "\n", "; ") + ")"
	}
	if want != 0 {
		return binaries{}, fmt.Errorf("the data in %s were made by PostgreSQL %d, and its server programs are not on "+
			"this machine%s; the data are untouched. Install version %d beside what there is (on Debian and Ubuntu: "+
			"apt-get install postgresql-%d). In general, %s", dir, want, seen, want, want, howToInstall)
	}
	return binaries{}, fmt.Errorf("no PostgreSQL server of version %d or newer is on this machine%s: %s",
		oldestMajor, seen, howToInstall)
}

// dataMajor returns the major version of dir's data, or 0 when there are none yet.
func dataMajor(dir string) (int, error) {
	data := filepath.Join(dir, "data")
	text, err := os.ReadFile(filepath.Join(data, "PG_VERSION"))
	if errors.Is(err, os.ErrNotExist) {
		_, err := os.Lstat(data)
		if errors.Is(err, os.ErrNotExist) {
			return 0, nil
		}
		return 0, fmt.Errorf("%s is there but has no file PG_VERSION, so it is not PostgreSQL's data: nothing was "+
			"changed; move it away, or choose another folder", data)
	}
	if err != nil {
		return 0, fmt.Errorf("read the version of the data: %w", err)
	}
	major, err := strconv.Atoi(strings.TrimSpace(string(text)))
	if err != nil {
		return 0, fmt.Errorf("%s/PG_VERSION says %q where a whole number is expected: the data were made by a "+
			"version older than 10, or the file is damaged; nothing was changed", data, text)
	}
	return major, nil
}

// candidates lists the folders that hold both programs, the most deliberate choice first, each once.
func candidates(ctx context.Context) []string {
	dirs := filepath.SplitList(os.Getenv("PATH"))
	if out, err := exec.CommandContext(ctx, "pg_config", "--bindir").Output(); err == nil {
		dirs = append(dirs, strings.TrimSpace(string(out)))
	}
	for _, place := range usualPlaces {
		matches, _ := filepath.Glob(place) // the only error is a malformed pattern
		dirs = append(dirs, matches...)
	}
	var found []string
	for _, dir := range dirs {
		// A link on PATH leads to the programs themselves, which look for their other files beside them.
		program, err := filepath.EvalSymlinks(filepath.Join(dir, "postgres"))
		if err != nil || !filepath.IsAbs(program) {
			continue
		}
		dir = filepath.Dir(program)
		if _, err := os.Stat(filepath.Join(dir, "initdb")); err == nil && !slices.Contains(found, dir) {
			found = append(found, dir)
		}
	}
	return found
}

// inspect asks the programs in bin for their version, as the user who is to run them.
func inspect(ctx context.Context, bin, dir string, a account) (binaries, error) {
	cmd := exec.CommandContext(ctx, filepath.Join(bin, "postgres"), "--version")
	cmd.Dir = dir
	cmd.Env = environment()
	cmd.SysProcAttr = a.sysProcAttr()
	out, err := cmd.Output()
	if err != nil {
		return binaries{}, fmt.Errorf("user %s cannot run %s in %s: %w", a.name, cmd.Path, dir, err)
	}
	m := versionText.FindSubmatch(out)
	if m == nil {
		return binaries{}, fmt.Errorf("%s --version says %q", cmd.Path, out)
	}
	major, err := strconv.Atoi(string(m[2]))
	if err != nil {
		return binaries{}, fmt.Errorf("%s --version says %q", cmd.Path, out)
	}
	return binaries{dir: bin, major: major, version: string(m[1])}, nil
}
