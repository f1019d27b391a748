package exchange

import (
	"iter"

	"evenrig/service/trial"
)

// Package is a published trial: everything that a stranger may see of it, and enough of that to work the result out again. Times
// are weeks, places cells of the protocol's grid, anglers pseudonyms of this trial alone; it holds no name, no water and no note.
// Publish makes one from a trial's records, WritePackage writes it as a zip, ReadPackage reads it back, Verify follows it.
//
// The long tables are sequences that may be run more than once, each time from the start, so that a package of any size is
// written, read and verified in bounded memory. Rows of all of them are in order of their anglers' pseudonyms, and of an angler in
// the order in which they were kept.
type Package struct {
	Facts       Facts
	Flow        []FlowCount
	Versions    []Version
	Plan        []byte // the protocol in force, as canonical JSON (RFC 8785) without names and waters; see trial.Protocol
	Words       []Word
	Anglers     []Angler
	Looks       []Look
	Questions   []Question
	Flies       []FlyPack
	Disputes    []Dispute
	Checkpoints []Checkpoint
	Heads       []Head

	Outings    Rows[Outing]
	Units      Rows[Unit]
	Periods    Rows[Period]
	Deviations Rows[Deviation]
	Catches    Rows[Fish]
	Amendments Rows[Amendment]
	Ledger     Rows[Entry]

	Result []byte // analysis.Result as encoded, byte for byte
	Report []byte // the report as one HTML page

	archive *packageArchive // nil for a package that was not read
}

// Rows is a table that is read row by row, as often as wanted; it ends with the first error.
type Rows[T any] iter.Seq2[T, error]

// RowsOf makes Rows of a list.
func RowsOf[T any](list []T) Rows[T] {
	return func(yield func(T, error) bool) {
		for _, row := range list {
			if !yield(row, nil) {
				return
			}
		}
	}
}

// Facts are what a package says of its trial as a whole. Edition counts the packages made of the trial, from 1: after an erasure
// another one follows. Club is empty where the club is not named. Commitment, Seed and Scheme are zero in a recorded trial.
// Fingerprint is that of version 1 of the protocol as the commitment binds it, names of waters among it. Checkpoint is the one
// that the result was computed on. NamesTaken says that names of people were taken out of the rule sheet's texts. Of all
// Enrolled anglers the rows of Withheld ones are left out; ErasedAnglers more had theirs erased.
type Facts struct {
	Trial          trial.ID
	Edition        int
	Title          string
	Question       string
	Club           string
	Design         trial.Design
	Source         trial.Source
	Stopping       trial.Stopping
	Test, Control  string
	Scheme         int
	Commitment     trial.Digest
	Seed           trial.Digest
	Fingerprint    trial.Digest
	Checkpoint     int64
	Registered     string // weeks
	Closed         string
	Locked         string
	RepeatOf       trial.ID
	NamesTaken     bool
	Enrolled       int64
	Withheld       int64
	ErasedAnglers  int64
	ErasedFish     int64
	Licence        string // SPDX identifier, see Licences
	ProgramVersion string // that wrote the package
}

// FlowCount is one number of the flow diagram, by its name in trial.Effort. Some follow from the rows; others are told in numbers alone,
// since it would be few to choose from whose they are.
type FlowCount struct {
	What string
	N    int64
}

// Version is a version of the protocol. Fields names what it changed, Reason says why; both are empty for version 1.
type Version struct {
	N           int
	Week        string
	Fingerprint trial.Digest
	Plan        trial.Digest // of the version as it may be published
	Fields      []string
	Reason      string
}

// Word is a word of draw night. Who gave it is not told.
type Word struct {
	N    int
	Word string
}

// Angler is who took part and lets the records be published. Enrolment and Code are what the draw was made with, both zero in
// a recorded trial.
type Angler struct {
	Pseudonym string
	Consent   string // publish_open, the only one with rows
	Enrolment trial.ID
	Code      [32]byte
	Left      bool // the trial, with the records kept
}

// Look is a planned count as it was decided. Withdrawn says that it counted an angler whose records were erased since: its numbers went with
// them.
type Look struct {
	N           int
	Checkpoint  int64
	Week        string
	Fish        int64
	Anglers     int64
	Decision    trial.Decision
	Withdrawn   bool
	Information *float64
	Fraction    *float64
	Spent       *float64
	BoundaryP   *float64
	P           *float64
	LogOdds     *float64
	EValue      *float64
	ShareLow    *float64
	ShareHigh   *float64
}

// Question is what a member asked of the trial, and the organiser's answer, empty when there is none.
type Question struct {
	N        int
	Week     string
	Question string
	Answer   string
}

// FlyPack is a batch of flies, of both patterns.
type FlyPack struct {
	N         int
	Batch     string
	Hook      string
	Inspected string
	Issued    int64
	Lost      int64
	Retied    int64
}

// Dispute is a record that somebody disputed, and what two others found.
type Dispute struct {
	N       int
	Kind    string // catch, outing
	Subject trial.ID
	Outcome string // keep, exclude, disagreed, open
	Reasons []string
}

// Checkpoint is a fingerprint of all chains at one moment.
type Checkpoint struct {
	N    int64
	Week string
	Root trial.Digest
	Hash trial.Digest
}

// Head is how far a chain had come at a checkpoint. The heads of a checkpoint stand for all its chains, in order of the chains' ids,
// or none do: of every checkpoint they would tell the minute of every record. Chain and N are zero for a chain whose entries are
// left out; Leaf, the hash of its leaf in the tree (RFC 9162, section 2.1), stands for every chain.
type Head struct {
	Checkpoint int64
	Place      int // from 1, in the tree
	Chain      trial.ID
	N          int64
	Leaf       trial.Digest
}

// Outing is a day's fishing.
type Outing struct {
	Angler      string
	ID          trial.ID
	Version     int // of the protocol that the phone carried
	Week        string
	Cell        string
	StartedLate bool
	Temperature *trial.Measure // of the water
	End         string         // reason, empty while not ended
	NotLogged   int
	Void        bool
	Disputed    bool
	Withheld    []string // columns left empty on purpose
}

// Unit is the order of one block as it was handed out. N is its number, DrawN its number in the allocation, 0 when it was not
// drawn by the service.
type Unit struct {
	Angler       string
	ID           trial.ID
	N            int
	DrawN        int
	First        trial.Arrangement
	DrawnBy      trial.DrawnBy
	Slip         int
	SameFlyCheck bool
	Fetched      string // weeks
	Opened       string
	Fished       string
	Lost         bool
	Withheld     []string
}

// Period is fishing in one arrangement. Block, Number and Half are as in trial.Tally; Finished says that both periods of its block
// ended by the rule.
type Period struct {
	Angler     string
	ID         trial.ID
	Outing     trial.ID
	Unit       trial.ID
	Block      string
	Number     string
	Half       int
	Drawn      trial.Arrangement
	Fished     trial.Arrangement
	Confirmed  bool
	Week       string
	End        string // reason, empty while not ended
	Finished   bool
	TestFly    int // numbers of the two flies, 0 where they are not known
	ControlFly int
	Amendments int
	Withheld   []string
}

// Deviation is a report of something that was not as planned.
type Deviation struct {
	Angler   string
	ID       trial.ID
	Outing   trial.ID
	Period   trial.ID
	Kind     trial.DeviationKind
	Fly      int // number of the fly that took the lost one's place, 0 for none
	Week     string
	Withheld []string
}

// Fish is one catch. TakenPattern and TakenPosition are as given, the columns from Arrangement on follow from the fish's period and
// times, as trial.Records counts them; Late and Deviated rest on times that are not published, and so may DisputedOnly.
type Fish struct {
	Angler        string
	ID            trial.ID
	Outing        trial.ID
	Period        trial.ID
	TakenPattern  string
	TakenPosition trial.Position
	Outcome       trial.Outcome
	FoulHooked    bool
	RigIntact     bool
	Double        trial.ID
	Species       string
	Origin        trial.Origin
	LengthCM      *int // whole centimetres, rounded down
	Week          string
	Welfare       string
	Void          bool
	AfterLock     bool
	Disputed      bool
	Amendments    int
	Withheld      []string

	Arrangement  trial.Arrangement
	Taken        trial.Taken
	Exclusion    trial.Exclusion
	Late         bool
	Deviated     bool
	DisputedOnly bool
	WaterType    string
	Fly          string
	Columns      string // the further columns that the protocol's subgroups name, as trial.Further writes them
}

// Amendment is a correction of a record: what was published of it before and after, as canonical JSON.
type Amendment struct {
	Angler   string
	Subject  trial.ID
	Kind     string
	N        int
	By       string // role
	Reason   string
	Old      string
	New      string
	Withheld []string
}

// Entry is an entry of the ledger. Salt and Public are there where the entry's public part is published.
type Entry struct {
	Angler        string // whose chain it is; empty for the organiser's
	Chain         trial.ID
	N             int64
	Kind          string
	Subject       trial.ID
	PublicDigest  trial.Digest
	PrivateDigest trial.Digest
	Hash          trial.Digest
	Salt          trial.Digest
	Public        string
}
