#!/bin/sh
# Sets up what is missing and plays a whole invented trial: see "go run ./service demo --help" for what may follow.
set -eu
cd -- "$(dirname -- "$0")/.."
# shellcheck source-path=SCRIPTDIR source=setup.sh
. ./deploy/setup.sh
set_up to-run
echo "Building evenrig; the first time this takes a minute or two."
exec go run ./service demo "$@"
