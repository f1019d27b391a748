// Package migrations holds the schema of evenrig's database as numbered steps, each with its way back. A merged step
// never changes; a new one comes first as an addition, so that the program before it and the program after it both run.
package migrations

import "embed"

// FS holds the steps: 000001_verb_object.up.sql and 000001_verb_object.down.sql and so on, without gaps.
//
//go:embed *.sql
var FS embed.FS

// Jobs is the number of the step that makes the schema "jobs", in which the job queue keeps tables of its own.
const Jobs = 5
