// Package private starts a PostgreSQL cluster of the service's own, so that nobody has to install, configure or
// secure a database server to run evenrig on one machine. Only PostgreSQL's programs must be installed.
//
// Everything lives in one folder:
//
//	owner.lock   locked for as long as its owner runs; holds the owner's process id
//	password     of the database role, mode 0600
//	data/        PostgreSQL's data, with checksums
//	run/         the server's unix socket, mode 0700; there is no network port
//
// The package never deletes data. A new cluster is made in data.new-* and renamed to data only when it is whole; what
// an interrupted attempt left is reported and left alone, since no server ever ran on it. An existing cluster is
// served only by programs of the major version that made it.
//
// The server is a direct child in a process group of its own: ^C in a terminal reaches the service alone, which then
// stops the server in order. On Linux the kernel asks the server to shut down should its owner be killed.
package private

import "errors"

// ErrNotRunning is Attach's answer when no process owns the folder's cluster: Start it instead.
var ErrNotRunning = errors.New("no process runs the database of this folder")

// Database is the application's database, which Start creates when it is missing.
const Database = "evenrig"

// role is the cluster's only role; it owns everything in it.
const role = "evenrig"

// Option changes how Start runs a cluster.
type Option func(*options)

type options struct {
	ephemeral bool
}

// Ephemeral makes starting and writing faster by never waiting for the disk: after a power failure the cluster may be
// damaged beyond repair. For clusters that are thrown away, as those of tests are.
func Ephemeral() Option {
	return func(o *options) { o.ephemeral = true }
}
