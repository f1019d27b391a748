#!/bin/sh
# Sets up what is missing and runs every check. Each is named with its seconds; what a failing one said is shown, the
# others run all the same, and the script then ends with status 1.
#
# EVENRIG_TEST_DATABASE_URL: a PostgreSQL server to test on, as a role that may create databases and roles; without it
# the tests start a private one.
set -eu
cd -- "$(dirname -- "$0")/.."
# shellcheck source-path=SCRIPTDIR source=setup.sh
. ./deploy/setup.sh
began=$(date +%s)
set_up to-test

scratch=$(mktemp -d "${TMPDIR:-/tmp}/evenrig-test.XXXXXX")
trap 'rm -rf "$scratch"' EXIT
trap 'exit 1' HUP INT TERM
export REQUIRE_DB=1 REQUIRE_BROWSER=1 REQUIRE_POOLER=1
# A full disk is a small file system of the test's own, which not every machine lets its user mount.
if unshare --mount sh -c 'mount --make-rprivate / && mount -t tmpfs tmpfs /mnt' 2>/dev/null; then
    export REQUIRE_MOUNT=1
else
    echo 'NOT TESTED here: a full disk, since no file system can be mounted.'
fi
export EVENRIG_AXE="$scratch/axe/node_modules/axe-core/axe.min.js"

# step NAME COMMAND...: shows what the command said only if it fails.
step() {
    begin=$(date +%s)
    said=$(mktemp "$scratch/said.XXXXXX")
    name=$1
    shift
    if "$@" >"$said" 2>&1; then
        report good
    else
        cat "$said"
        report BAD
    fi
}

# tests NAME COMMAND...: shows what the command says while it runs.
tests() {
    begin=$(date +%s)
    name=$1
    shift
    if "$@"; then
        report good
    else
        report BAD
    fi
}

report() {
    printf '%-4s %4d s  %s\n' "$1" "$(($(date +%s) - begin))" "$name" | tee -a "$scratch/steps"
}

# What stands before the programs of the checks that leave the processor to the tests.
aside=

# roomy runs one of Go's own programs with more memory, which spares it a fifth of its work. No test runs so.
roomy() {
    # shellcheck disable=SC2086
    env GOGC=400 GOMEMLIMIT=1GiB $aside "$@"
}

tool() {
    roomy go tool -modfile=deploy/tools.mod "$@"
}

# compiled compiles packages and their tests as go test will find them.
compiled() {
    roomy go list -export -deps -test "$@" >/dev/null
}

# formatting fails when gofumpt would change a file, and names it.
formatting() {
    tool gofumpt -l . >"$scratch/unformatted" || return 1
    if [ -s "$scratch/unformatted" ]; then
        echo "Not formatted; run go tool -modfile=deploy/tools.mod gofumpt -w on:"
        cat "$scratch/unformatted"
        return 1
    fi
}

# generated makes the generated code anew in a copy and fails when it differs.
generated() {
    mkdir -p "$scratch/copy/deploy"
    cp go.mod go.sum "$scratch/copy"
    cp deploy/tools.mod deploy/tools.sum "$scratch/copy/deploy"
    cp -R openapi "$scratch/copy"
    (cd "$scratch/copy" && roomy go generate ./openapi/...) || return 1
    if ! diff -r openapi "$scratch/copy/openapi"; then
        echo "The generated code is not what openapi.yaml gives; run: go generate ./openapi/..."
        return 1
    fi
}

# lint runs what go vet and staticcheck check, together, and fails too when this Go's vet has a check that it has not.
lint() {
    roomy go build -modfile=deploy/tools.mod -o "$scratch/lint" deploy/lint.go || return 1
    "$scratch/lint" -list-checks | sed 's/ .*//' | sort >"$scratch/checks"
    go tool vet help | sed -n '/^Registered analyzers:/,/^By default/s/^    \([a-z]*\) .*/\1/p' | sort >"$scratch/vet"
    missing=$(comm -23 "$scratch/vet" "$scratch/checks")
    if [ ! -s "$scratch/vet" ] || [ -n "$missing" ]; then
        echo "deploy/lint.go lacks what go vet checks, as \"go tool vet help\" lists it: $missing"
        return 1
    fi
    roomy "$scratch/lint" ./...
}

# accessibility_rules fetches the rules that the pages are tested against.
accessibility_rules() {
    mkdir "$scratch/axe" &&
        cp deploy/axe/package.json deploy/axe/package-lock.json "$scratch/axe" &&
        (cd "$scratch/axe" && npm ci --no-audit --no-fund)
}

# races runs, with the race detector, the tests in which several run at once, and those of what requests share: limits,
# remembered tokens, jobs. What else there is runs alone, and has run without it.
# All of them: go test -race ./api/... ./service/conduct/... ./db/...
races() {
    together=$(awk '/^func / { test = $2 } /go func|\.Go\(|together\(|newHurried\(|serving\(/ { print test }' \
        ./api/*_test.go ./db/*_test.go ./db/private/*_test.go ./service/conduct/*_test.go |
        sed -n 's/^\(Test[A-Za-z0-9]*\)(.*/\1/p' | sort -u | tr '\n' '|')
    compiled -race ./api ./db ./db/private ./service/conduct || return 1
    # shellcheck disable=SC2086
    $aside go test -vet=off -timeout 15m -race -run "^(${together}Test(Limits|TokensAreRemembered|Jobs?)[A-Z0-9a-z]*)\$" \
        ./api ./db ./db/private ./service/conduct
}

# The program's tests wait for processes that are killed and start again; so several run at once.
tests_of_the_program() {
    # Which packages there are, what they import and what systems have is nothing that the cache of results knows of.
    tests 'imports, other systems' go test -vet=off -count=1 -run '^Test(Imports|OtherSystems)' ./service
    tests 'the program' go test -vet=off -timeout 15m -parallel 4 -skip '^Test(Imports|OtherSystems)' ./service
}

tests_in_turn() {
    # shellcheck disable=SC2046
    tests 'the packages' go test -vet=off -timeout 15m $(go list ./... | grep -vE '/(service|api/web)$')
    # The fewer beside it, the less a browser falls behind the hand it stands for.
    tests 'the phone page in a browser' go test -vet=off -timeout 15m -parallel 4 ./api/web
}

checks_aside() {
    aside='nice -n 19'
    step 'formatting (gofumpt)' formatting
    step 'generated code is up to date' generated
    step 'go vet and staticcheck' lint
    step 'tests for races' races
}

# Pipes, in which nothing flows, since ^C ends all of them, but not what runs in the background. First everything is
# compiled, which the others would else do several times at once; then the checks run beside tests, which wait a good deal.
{
    step 'accessibility rules' accessibility_rules >&3 </dev/null |
        step 'everything compiles' compiled ./... >&3 </dev/null
    checks_aside >&3 2>&1 </dev/null |
        tests_of_the_program >&3 2>&1 </dev/null |
        tests_in_turn >&3 2>&1 </dev/null
} 3>&1

echo
cat "$scratch/steps"
echo "In all $(($(date +%s) - began)) s."
if grep -q '^BAD' "$scratch/steps"; then
    echo "NOT GOOD: $(sed -n 's/^BAD *[0-9]* s  //p' "$scratch/steps" | paste -s -d , -)"
    exit 1
fi
echo "All is good."
