package exchange

import (
	"time"

	"evenrig/service/report"
	"evenrig/service/trial"
)

// Source is everything of a locked trial from which a package is made: names, times, places and all. What of it may be shown is
// Publish's to decide and nobody else's, so that whoever reads the records hands them over as they are.
//
// Protocol is the version in force, Versions are all, oldest first. Anglers are all enrolments in order of pseudonym, erased ones too
// (their chains' entries are wanted, parts they have none). Moves say how far every chain had come at the checkpoints of which that
// is known. People are the names of the club's members and of the trial's anglers: no text that holds one is published as it is.
type Source struct {
	Trial       trial.Trial
	Club        string // empty: the club is not named
	RepeatOf    trial.ID
	Protocol    trial.Protocol
	Versions    []SourceVersion
	Changes     []trial.StateChange
	Words       []string
	Looks       []trial.Look
	Questions   []Question
	Disputes    []trial.Dispute
	Checkpoints []trial.Checkpoint
	Moves       []trial.CheckpointMove
	Organisers  Chain
	Anglers     Rows[SourceAngler]
	People      []string
	Closing     trial.Analysis // the closing analysis, done
	About       report.About   // for the report; what of it belongs to a club or an angler is Publish's
}

// SourceVersion is a version of the protocol as it was registered, with its canonical JSON (RFC 8785), and what it changed and why.
type SourceVersion struct {
	N         int
	At        time.Time
	Protocol  trial.Protocol
	Canonical []byte
	Fields    []string
	Reason    string
}

// Chain is a ledger chain's entries in order, and their parts by number.
type Chain struct {
	Entries []trial.LedgerEntry
	Parts   map[int64]trial.Parts
}

// SourceAngler is one enrolment's records and chain. The chain of an imported trial's anglers is the organiser's and is not given
// again.
type SourceAngler struct {
	Records trial.Records
	Chain   Chain
}

// Publishing is what the organiser decides: the licence, an SPDX identifier of Licences, and what the server adds: which edition of
// the package it is, and the program's version.
type Publishing struct {
	Licence        string
	Edition        int
	ProgramVersion string
}

// The licences under which a package may be published, by SPDX identifier.
const (
	CCBY4 = "CC-BY-4.0"
	CC0   = "CC0-1.0"
)
