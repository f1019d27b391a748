#!/bin/sh
# Builds the program for every system into a new folder, with checksums:
#
#   deploy/release.sh FOLDER [SYSTEM/PROCESSOR...]
#
# The same commit and the same Go give the same bytes, wherever the checkout lies and whoever builds: no path, time or name
# goes into them. So anybody can check a release by building it again. On Windows the commands that need no database work
# as elsewhere; the service needs a PostgreSQL that is given to it. Run were the programs for linux/amd64; emulated, for
# linux/arm64, whose analyses and plans agree to 10^-12, and for windows/amd64, whose plan, kit, analyse and verify say the same
# byte for byte (the emulation had to be given a source of random numbers). Those for macOS were not.
set -eu
cd -- "$(dirname -- "$0")/.."
out=${1:?the folder for the programs; it must not exist yet}
shift
[ $# -gt 0 ] || set -- linux/amd64 linux/arm64 darwin/amd64 darwin/arm64 windows/amd64 windows/arm64
if [ -e "$out" ]; then
    echo "$out is there already; accepted: a folder that does not exist" >&2
    exit 2
fi
if [ -n "$(git status --porcelain)" ]; then
    echo "The checkout differs from its commit, so that nobody could build the same; commit first." >&2
    exit 1
fi
# A tag is the version; without one the commit is (the program reads both from what Go puts into it).
mkdir -p "$out"
out=$(cd "$out" && pwd)
# Nothing of this machine's settings.
unset GOFLAGS GOEXPERIMENT GOAMD64 GOARM64
export CGO_ENABLED=0 GOWORK=off
for target in "$@"; do
    name=evenrig-${target%/*}-${target#*/}
    case $target in windows/*) name=$name.exe ;; esac
    GOOS=${target%/*} GOARCH=${target#*/} go build -trimpath -buildvcs=true -ldflags='-s -w -buildid=' -o "$out/$name" ./service
    echo "$name"
done
sums=sha256sum
command -v sha256sum >/dev/null || sums="shasum -a 256" # macOS
(cd "$out" && $sums evenrig-* >SHA256SUMS)
echo "built by $(go version | cut -d ' ' -f 3) from $(git rev-parse HEAD)" | tee "$out/BUILT"
