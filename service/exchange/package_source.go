package exchange

import (
	"evenrig/service/report"
	"evenrig/service/trial"
)

// Source is everything of a locked trial from which a package is made: names, times, places and all. What of it may be shown is
// Publish's to decide and nobody else's, so that whoever reads the records hands them over as they are.
//
// Anglers are all enrolments in order of pseudonym, erased ones too (their chains' entries are wanted, parts they have none). Heads
// are those of the checkpoints of which they are known, by checkpoint, in any order; of checkpoints made before heads were kept there
// are none. People are the names of the club's members and of the trial's anglers: no text that holds one is published as it is.
type Source struct {
	Trial       trial.Trial
	Club        string // empty: the club is not named
	Protocol    trial.Protocol
	Versions    []SourceVersion
	Changes     []trial.StateChange
	Words       []string
	Looks       []trial.Look
	Questions   []Question
	Flies       []FlyPack
	Disputes    []Dispute
	Checkpoints []trial.Checkpoint
	Heads       map[int64][]trial.Head
	Organisers  Chain
	Anglers     Rows[SourceAngler]
	People      []string
	Closing     trial.Analysis // the closing analysis, done
	About       report.About   // for the report; its protocol, club, links and dates are Publish's
}

// SourceVersion is a version of the protocol with its canonical JSON (RFC 8785).
type SourceVersion struct {
	Version
	Canonical []byte
}

// Chain is a ledger chain's entries in order, and their parts by number.
type Chain struct {
	Entries []trial.LedgerEntry
	Parts   map[int64]trial.Parts
}

// SourceAngler is one enrolment's records, corrections and chain.
type SourceAngler struct {
	Records    trial.Records
	Amendments []trial.Amendment
	Chain      Chain
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
