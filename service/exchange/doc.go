// Package exchange reads and writes the catch table: one row a fish, as CSV in the dialects that spreadsheet programs
// save. It is how anyone with a spreadsheet gets an analysis, and how a locked trial's fish are handed on.
//
// table.go has the columns and the typed row; dialect.go finds separator and encoding; read.go runs the file; fields.go
// checks one value; resolve.go derives the third of lower pattern, position taken and pattern taken; tallies.go counts
// like fish for the analysis; write.go writes a table that reads back as it was.
//
// It also makes, reads and verifies the package in which a trial is published. package.go has what it holds, package_tables.go every
// column of every table; package_publish.go makes one from a trial's records, with package_show.go for an angler's rows,
// package_chains.go for ledger and checkpoints and package_result.go for result and report; package_write.go and package_read.go are the
// archive; package_input.go is what its rows are to an analysis. verify.go works a package out again, part by part in verify_*.go.
//
// A bad row never spoils the others: every fault is named with line, column, value and reason. A table with faults is
// for looking at, not for saving: callers take all rows or none.
package exchange
