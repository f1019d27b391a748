package trial

import "time"

// Publication is one edition of a trial's published package. Editions are numbered from 1; an erasure, or a consent taken back,
// withdraws the one that stands and asks for the next. Title, Question, Club (empty where it is not named), Remarks, Sentence (the
// result's) and the numbers of anglers and fish stand as everybody may read them. Package is the SHA-256 of the package's bytes, which
// never change.
type Publication struct {
	TrialID        ID
	Edition        int
	State          PublicationState
	Licence        string // SPDX identifier
	NameClub       bool
	Remarks        string
	AskedAt        time.Time
	AskedBy        ID
	MadeAt         *time.Time
	WithdrawnAt    *time.Time
	Why            string // it was withdrawn
	Failure        string
	ProgramVersion string
	Title          string
	Question       string
	Club           string
	Sentence       string
	Package        Digest
	Size           int64
	Anglers        int64
	Fish           int64
}

// PublicationState is where an edition stands.
type PublicationState string

// The states of an edition: asked for, being made; standing; not to be made, for a reason; taken back.
const (
	EditionQueued    PublicationState = "queued"
	EditionStanding  PublicationState = "standing"
	EditionFailed    PublicationState = "failed"
	EditionWithdrawn PublicationState = "withdrawn"
)

// PackageChunk is how many bytes of a package are kept and read at a time; the last chunk may be shorter.
const PackageChunk = 1 << 20

// CheckPublication returns the faults of what an organiser asks to be published; licences are the SPDX identifiers to choose from.
func CheckPublication(licence, remarks string, licences []string) error {
	var f Faults
	OneOf(&f, "licence", licence, licences...)
	length(&f, "remarks", remarks, 0, 1000)
	return f.Err("publication.invalid", "the publication has faults")
}

// Publishes returns nil when a package of the trial may be asked for: it is locked, of this server, and no edition stands or is
// being made.
func (t Trial) Publishes(editions []Publication) error {
	switch {
	case t.IsCopy():
		return Fail(Conflict, "trial.copy", "the trial was read from a published package; it is published where it was fished")
	case t.State != Locked && t.State != Published:
		return Fail(Conflict, "trial.state", "the trial is %s; it is published once it is locked", t.State)
	}
	for _, e := range editions {
		switch e.State {
		case EditionQueued:
			return Fail(Conflict, "publication.queued", "edition %d of the trial's package is being made", e.Edition)
		case EditionStanding:
			return Fail(Conflict, "publication.stands", "edition %d of the trial's package stands; what was published is not changed", e.Edition)
		}
	}
	return nil
}

// StandingEdition returns the edition that stands, false when there is none.
func StandingEdition(editions []Publication) (Publication, bool) {
	for _, e := range editions {
		if e.State == EditionStanding {
			return e, true
		}
	}
	return Publication{}, false
}

// EditionBy returns the edition of that number, 0 for the one that stands, as everybody may read it.
//
// Errors: Gone for one that was withdrawn, Missing for one that never stood.
func EditionBy(editions []Publication, n int) (Publication, error) {
	withdrawn := 0
	for _, e := range editions {
		switch {
		case e.State == EditionStanding && (n == 0 || e.Edition == n):
			return e, nil
		case e.State == EditionWithdrawn && e.MadeAt != nil && (n == 0 || e.Edition == n):
			withdrawn = e.Edition
		}
	}
	if withdrawn > 0 {
		return Publication{}, Fail(Gone, "publication.withdrawn", "edition %d of the package was withdrawn; the list of editions says why, and which one stands", withdrawn)
	}
	return Publication{}, Missing("published trial")
}

// CopyOrigin says which published package a copy of a trial was read from. Trial is its id where it was fished, Package the SHA-256 of
// the package's bytes, Club the club's name if the package says it.
type CopyOrigin struct {
	TrialID  ID
	Trial    ID
	Edition  int
	Package  Digest
	Licence  string
	Club     string
	ReadAt   time.Time
	ReadBy   ID
	Findings []byte // what verifying it came to, as JSON
}

// IsCopy reports whether the trial was read from a package that was published elsewhere: it has a result, and no records here.
func (t Trial) IsCopy() bool { return !t.Original.IsZero() }

// OfThisServer returns nil unless the trial is a copy.
func (t Trial) OfThisServer() error {
	if t.IsCopy() {
		return Fail(Conflict, "trial.copy", "the trial was read from a published package; its records are where it was fished, and it cannot be changed here")
	}
	return nil
}

// Repeat returns the protocol, which is in its published form (see Published), as another trial's draft that repeats it: without waters
// and dates, which are the repeating club's to fill in like local rules and whom to tell. of is the trial that it was fished in.
func (p Protocol) Repeat(of ID) Protocol {
	p.RepeatOf, p.Waters, p.SeasonStart, p.SeasonEnd, p.Source = of, []Water{}, "", "", Drawn
	p.Funding, p.Conflicts = "", ""
	return p
}

// WithdrawnFor are the reasons for which an edition is withdrawn.
const (
	WithdrawnForErasure = "an angler's records were erased"
	WithdrawnForConsent = "what an angler lets be published has changed"
)
