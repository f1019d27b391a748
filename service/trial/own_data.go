package trial

import "context"

// OwnTable is one kind of record that the server keeps of a person. InTrial says that the person has records of it in each
// trial that he joined.
type OwnTable struct {
	Name    string
	InTrial bool
}

// OwnPlace is a place in the order of an OwnTable's records; the zero one is before the first.
type OwnPlace struct {
	ID ID
	N  int64
}

// OwnRecords are records of one OwnTable: each a value for every column, which is nil, a truth value, a number, a text,
// a time, or JSON. Last is the place of the last one, More whether others follow.
type OwnRecords struct {
	Columns []string
	Records [][]any
	Last    OwnPlace
	More    bool
}

// OwnDataReadTx is the part of ReadTx that hands a person what the server keeps of him.
type OwnDataReadTx interface {
	// OwnTables lists every kind of record that belongs to a person. Nothing by which others could get in is among them: of
	// tokens, sessions and links no secret, not even its hash.
	OwnTables() []OwnTable
	// OwnRecordsOf returns at most limit of an account's records of a table after the given place. enrolment and trial are
	// zero for a table that is not in a trial.
	OwnRecordsOf(ctx context.Context, table OwnTable, account, trial, enrolment ID, after OwnPlace, limit int) (OwnRecords, error)
}
