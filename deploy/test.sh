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
set_up to-test

scratch=$(mktemp -d "${TMPDIR:-/tmp}/evenrig-test.XXXXXX")
trap 'rm -rf "$scratch"' EXIT
trap 'exit 1' HUP INT TERM
failed=
export REQUIRE_DB=1 REQUIRE_BROWSER=1
export EVENRIG_AXE="$scratch/axe/node_modules/axe-core/axe.min.js"

# step NAME COMMAND...: shows what the command said only if it fails.
step() {
    name=$1
    shift
    begin=$(date +%s)
    if "$@" >"$scratch/said" 2>&1; then
        verdict=good
    else
        verdict=BAD
        failed="$failed, $name"
        cat "$scratch/said"
    fi
    report
}

# tests NAME COMMAND...: shows what the command says while it runs.
tests() {
    name=$1
    shift
    begin=$(date +%s)
    verdict=good
    "$@" || {
        verdict=BAD
        failed="$failed, $name"
    }
    report
}

report() {
    printf '%-4s %4d s  %s\n' "$verdict" "$(($(date +%s) - begin))" "$name"
}

tool() {
    go tool -modfile=deploy/tools.mod "$@"
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
    (cd "$scratch/copy" && go generate ./openapi/...) || return 1
    if ! diff -r openapi "$scratch/copy/openapi"; then
        echo "The generated code is not what openapi.yaml gives; run: go generate ./openapi/..."
        return 1
    fi
}

# accessibility_rules fetches the rules that the pages are tested against.
accessibility_rules() {
    mkdir "$scratch/axe" &&
        cp deploy/axe/package.json deploy/axe/package-lock.json "$scratch/axe" &&
        (cd "$scratch/axe" && npm ci --no-audit --no-fund)
}

# other_systems compiles the program and its tests for a system that they cannot run on here.
other_systems() {
    for target in windows/amd64; do
        GOOS=${target%/*} GOARCH=${target#*/} CGO_ENABLED=0 go vet ./service ./db/... || return 1
    done
}

step 'formatting (gofumpt)' formatting
step 'vet' go vet ./...
step 'staticcheck' tool staticcheck ./...
step 'other systems' other_systems
step 'generated code is up to date' generated
step 'accessibility rules' accessibility_rules
# Which packages there are and what they import is nothing that the cache of test results knows of.
tests 'import rules' go test -vet=off -count=1 -run '^TestImports' ./service
# A browser beside other tests is slower than the hand it stands for.
# shellcheck disable=SC2046
tests 'all tests but those of the phone page' go test -vet=off -timeout 15m $(go list ./... | grep -v '/api/web$')
tests 'the phone page in a browser' go test -vet=off -timeout 15m ./api/web
# Not again what another user or a browser does, nor what is sent for the sake of its content: the race detector learns nothing there.
tests 'tests for races' go test -vet=off -timeout 15m -race \
    -skip '^(TestAsPlainUser|TestPagesHoldToTheRulesOfAccess|TestMalformedRequestsAreNeverOurFault)$' \
    ./api ./service/conduct/... ./db/...

if [ -n "$failed" ]; then
    echo "NOT GOOD: ${failed#, }"
    exit 1
fi
echo "All is good."
