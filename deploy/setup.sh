# Makes a machine ready to build and run evenrig; sourced by try.sh and test.sh, which stand beside it.
#
#   set_up to-run     Go and PostgreSQL's server programs
#   set_up to-test    and a C compiler, which Go's race detector needs, for the pages a browser and npm, and a pooler
#
# What is missing is installed where that is possible without asking (Debian and its relatives, as root or where sudo
# needs no password); anywhere else set_up says what to install and ends. It creates and starts no database server.
#
# shellcheck shell=sh

oldest_postgres=15 # as in db/private/binaries.go

complain() {
    printf '%s\n' "$@" >&2
    exit 1
}

set_up() {
    set_up_folders
    set_up_go
    purpose=$1
    set --
    if ! find_postgres; then
        set -- postgresql
    fi
    if [ "$purpose" = to-test ] && ! command -v "$(go env CC | cut -d ' ' -f 1)" >/dev/null 2>&1; then
        set -- "$@" gcc libc6-dev
    fi
    if [ "$purpose" = to-test ] && ! find_browser; then
        set -- "$@" chromium fonts-dejavu-core
    fi
    if [ "$purpose" = to-test ] && ! command -v npm >/dev/null 2>&1; then
        set -- "$@" npm
    fi
    if [ "$purpose" = to-test ] && ! find_pooler; then
        set -- "$@" pgbouncer
    fi
    if [ $# -gt 0 ]; then
        fetch_modules | install_packages "$@" </dev/null
    fi
}

# fetch_modules fetches, beside the packages, what tests would fetch next. What fails here is said there.
fetch_modules() {
    if [ "$purpose" = to-test ]; then
        go mod download >/dev/null 2>&1 || true
        go mod download -modfile=deploy/tools.mod >/dev/null 2>&1 || true
    fi
}

# Go must be able to write its caches. Where there is no home folder, or one that cannot be written, they go to a
# folder of this user's own under the temporary one.
set_up_folders() {
    spare=${TMPDIR:-/tmp}/evenrig-cache-$(id -u)
    if [ -z "${GOCACHE-}" ] && ! may_write "${XDG_CACHE_HOME:-${HOME:+$HOME/.cache}}"; then
        own_folder "$spare"
        export GOCACHE="$spare/go-build" STATICCHECK_CACHE="$spare/staticcheck"
    fi
    if [ -z "${GOMODCACHE-}" ] && ! may_write "${GOPATH:-${HOME:+$HOME/go}}"; then
        own_folder "$spare"
        export GOMODCACHE="$spare/go-mod"
    fi
}

# may_write says whether a folder can be written, or be made.
may_write() {
    case $1 in
    /*) mkdir -p "$1" 2>/dev/null && [ -w "$1" ] ;;
    *) return 1 ;;
    esac
}

# own_folder makes a folder that nobody else could have made before, to have programs built from what he put there.
own_folder() {
    mkdir -m 700 "$1" 2>/dev/null || true
    if [ -z "$(find "$1" -prune -type d -user "$(id -u)" -perm 700 2>/dev/null)" ]; then
        complain "There is no home folder to keep Go's caches in, and $1 is not a folder of yours with mode 700." \
            "Set HOME to a folder that you may write in, or set GOCACHE and GOMODCACHE."
    fi
}

set_up_go() {
    wanted=$(sed -n 's/^go //p' go.mod)
    if ! command -v go >/dev/null 2>&1 && [ -x /usr/local/go/bin/go ]; then
        PATH=$PATH:/usr/local/go/bin
        export PATH
    fi
    if ! command -v go >/dev/null 2>&1; then
        complain "Go is not installed (or not on PATH); version $wanted or newer is needed." "$(how_to_get_go)"
    fi
    # An older Go that may fetch the newer one does so here, in the folder of go.mod, and tells the newer one's version.
    if ! found=$(go env GOVERSION 2>&1); then
        complain "Go does not work here; version $wanted or newer is needed. It says: $found" "$(how_to_get_go)"
    fi
    found=$(echo "$found" | sed 's/^.*go\([0-9][0-9.]*\).*$/\1/')
    if [ "$(printf '%s\n' "$wanted" "$found" | sort -t . -k 1,1n -k 2,2n -k 3,3n | head -n 1)" != "$wanted" ]; then
        complain "Go $found is installed; version $wanted or newer is needed." "$(how_to_get_go)"
    fi
    # The checkout may be another user's, and then git does not tell Go about it.
    GOFLAGS="$(go env GOFLAGS) -buildvcs=false"
    export GOFLAGS
}

how_to_get_go() {
    echo "Get it from https://go.dev/dl/ or, where it is new enough, from the system's packages, and put it on PATH."
}

# find_postgres looks where db/private looks: PATH, pg_config, the usual places. A subshell, for the sake of IFS.
find_postgres() (
    IFS=:
    for place in $PATH "$(pg_config --bindir 2>/dev/null)" /usr/lib/postgresql/*/bin \
        /usr/pgsql-*/bin /usr/libexec/postgresql* /usr/lib/postgresql*/bin /usr/lib64/postgresql-*/bin \
        /usr/local/pgsql/bin /opt/homebrew/opt/postgresql*/bin /usr/local/opt/postgresql*/bin \
        /opt/local/lib/postgresql*/bin /Library/PostgreSQL/*/bin /Applications/Postgres.app/Contents/Versions/*/bin; do
        if [ -x "$place/postgres" ] && [ -x "$place/initdb" ]; then
            major=$("$place/postgres" --version 2>/dev/null | sed -n 's/.*(PostgreSQL) \([0-9]*\).*/\1/p')
            if [ "${major:-0}" -ge "$oldest_postgres" ]; then
                return 0
            fi
        fi
    done
    return 1
)

# find_browser looks for the browsers that the tests of the pages know.
find_browser() {
    for browser in chromium chromium-browser google-chrome; do
        if command -v $browser >/dev/null 2>&1; then
            return 0
        fi
    done
    return 1
}

# find_pooler looks where db/dbtest looks.
find_pooler() {
    command -v pgbouncer >/dev/null 2>&1 || [ -x /usr/sbin/pgbouncer ]
}

# install_packages installs Debian packages, or says what to install and ends.
install_packages() {
    sudo=
    if ! command -v apt-get >/dev/null 2>&1; then
        explain "$*" "This script installs packages only on Debian and its relatives."
    elif [ "$(id -u)" -ne 0 ]; then
        if ! sudo -n true 2>/dev/null; then
            explain "$*" "This script may not: you are not root, and sudo is not there or wants a password."
        fi
        sudo=yes
    fi
    echo "Installing from the system's packages: $*"
    if ! quietly as_root apt-get update || ! keep_servers_away "$@" || ! apt_install "$@"; then
        explain "$*" "The packages could not be installed; what apt-get said stands above."
    fi
    if ! find_postgres; then
        explain postgresql "The system's packages have an older PostgreSQL than version $oldest_postgres."
    fi
}

# keep_servers_away sees to it that none of the packages starts a server of the system's own.
keep_servers_away() {
    for package in "$@"; do
        case $package in
        postgresql) keep_clusters_away || return 1 ;;
        pgbouncer) keep_pooler_away || return 1 ;;
        esac
    done
}

# Debian's server package makes and starts a cluster of the system's own unless told not to. A machine that has a
# server already is left as it is set.
keep_clusters_away() {
    if ls -d /usr/lib/postgresql/*/bin/postgres >/dev/null 2>&1; then
        return 0
    fi
    apt_install postgresql-common &&
        as_root sed -i '/^[# ]*create_main_cluster/d; $ a create_main_cluster = false' \
            /etc/postgresql-common/createcluster.conf
}

# Debian's pooler is started when it is installed and with the system, unless told not to.
keep_pooler_away() {
    if [ -d /run/systemd/system ] && [ ! -e /etc/systemd/system/pgbouncer.service ]; then
        as_root ln -s /dev/null /etc/systemd/system/pgbouncer.service || return 1
    fi
    echo START=0 | as_root tee /etc/default/pgbouncer >/dev/null
}

apt_install() {
    quietly as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends \
        -o Dpkg::Options::=--force-confdef -o Dpkg::Options::=--force-confold "$@" </dev/null
}

as_root() {
    if [ -n "$sudo" ]; then
        sudo -n "$@"
    else
        "$@"
    fi
}

# quietly shows what a command said only if it fails.
quietly() {
    if ! said=$("$@" 2>&1); then
        printf '%s\n' "$said" >&2
        return 1
    fi
}

explain() {
    echo "Missing on this machine: $1" >&2
    case $1 in *postgresql*)
        cat >&2 <<'LIST'
PostgreSQL's server programs, version 15 or newer (evenrig starts a server of its own):
  Debian, Ubuntu     apt-get install postgresql   (starts a server of the system's own, too, unless
                     /etc/postgresql-common/createcluster.conf says create_main_cluster = false)
  Fedora, Red Hat    dnf install postgresql-server
  openSUSE           zypper install postgresql-server
  Alpine             apk add postgresql
  Arch               pacman -S postgresql
  FreeBSD            pkg install postgresql17-server
  macOS              brew install postgresql@17
  where these are older, https://www.postgresql.org/download/ has newer ones
LIST
        ;;
    esac
    case $1 in *pgbouncer*)
        cat >&2 <<'LIST'
A pooler, to test behind (PgBouncer):
  Debian, Ubuntu     apt-get install pgbouncer   (starts one of the system's own, too)
  Fedora, Red Hat    dnf install pgbouncer
  Alpine             apk add pgbouncer
  Arch               pacman -S pgbouncer
  macOS              brew install pgbouncer
LIST
        ;;
    esac
    case $1 in *gcc*)
        cat >&2 <<'LIST'
A C compiler, for Go's race detector:
  Debian, Ubuntu     apt-get install gcc libc6-dev
  Fedora, Red Hat    dnf install gcc
  openSUSE           zypper install gcc
  Alpine             apk add gcc musl-dev
  Arch               pacman -S gcc
  macOS              xcode-select --install
LIST
        ;;
    esac
    complain "$2 Install what is missing and start this again."
}
