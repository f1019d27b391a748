package trial

import (
	"cmp"
	"time"
)

// Consent holds an angler's ticks. None is ever set beforehand. The first five are needed to take part. Minor says that the
// angler is under age and a guardian agrees: the guardian's yes is confirmed by an organiser, the name is kept nowhere.
type Consent struct {
	TakePart          bool `json:"take_part"`
	Store             bool `json:"store"`
	SharePseudonymous bool `json:"share_pseudonymous"`
	LicenceConfirmed  bool `json:"licence_confirmed"`
	AdultOrGuardian   bool `json:"adult_or_guardian"`
	PublishOpen       bool `json:"publish_open"`
	ContactAgain      bool `json:"contact_again"`
	PlaceCoarse       bool `json:"place_coarse"`
	Minor             bool `json:"minor"`
}

// Enrolment is one angler in one trial, under a pseudonym. Code is the angler's own share of the draw's randomness.
// ChainID names the ledger chain that holds the angler's records: the enrolment's own, or the organiser's (the trial's
// id) where the records were imported; then AccountID is zero and SentDigest is a keyed digest of the table's name for
// the angler, which is not kept. Of an erased enrolment nothing stays but its ids, its times and two numbers: how many outings
// and fish were erased.
type Enrolment struct {
	TrialID    ID
	ID         ID
	ChainID    ID
	AccountID  ID
	Name       string
	Pseudonym  string
	Code       [32]byte
	Consent    Consent
	EnrolledAt time.Time
	SentDigest Digest
	LeftAt     *time.Time
	ErasedAt   *time.Time
	GuardianBy ID         // who has seen the guardian's yes
	GuardianAt *time.Time // nil while nobody has

	Noters    []ID // accounts that the angler lets note for him
	BroughtBy ID   // of a guest for a day, who has no account: the member who wrote down the consent and notes for him

	ErasedOutings int64
	ErasedFish    int64
}

// Active returns nil when the angler still takes part.
func (e Enrolment) Active() error {
	if e.LeftAt != nil || e.ErasedAt != nil {
		return Fail(Conflict, "enrolment.left", "you have left this trial")
	}
	return nil
}

// Draws returns nil when units may be handed to the angler: an active one and, under age, with a guardian's confirmed yes.
func (e Enrolment) Draws() error {
	return cmp.Or(e.Active(), e.guarded())
}

// guarded returns nil unless a guardian's yes is still to be confirmed: nothing of an angler under age is kept before.
func (e Enrolment) guarded() error {
	if e.Consent.Minor && e.GuardianAt == nil {
		return Fail(Conflict, "enrolment.guardian", "you are under age: an organiser confirms first that your guardian agrees; send the same again then")
	}
	return nil
}

// ConfirmsGuardian returns nil when by may confirm that the angler's guardian agrees.
func (e Enrolment) ConfirmsGuardian(by ID) error {
	switch {
	case e.ErasedAt != nil:
		return Fail(Gone, "record.erased", "the enrolment %s was erased on its angler's wish", e.ID)
	case !e.Consent.Minor:
		return Fail(Conflict, "enrolment.adult", "the angler joined as an adult; there is no guardian to confirm")
	case e.AccountID == by:
		return Fail(Forbidden, "forbidden", "nobody confirms his own guardian; another organiser does")
	}
	return nil
}

// Takes returns nil when a record of something that happened at the given time may be kept: what happened before the
// angler left is taken whenever it arrives.
func (e Enrolment) Takes(happened time.Time) error {
	if e.LeftAt != nil && !happened.Before(*e.LeftAt) {
		return Fail(Conflict, "enrolment.left", "you left this trial at %s; only what happened before is taken", e.LeftAt.UTC().Format(time.RFC3339))
	}
	return e.guarded()
}

// Check returns the faults of an enrolment as an angler sends it.
func (e Enrolment) Check() error {
	var f Faults
	if !e.ID.Random() {
		f.Add("enrolment", "is %s; accepted: a UUID of version 4 (RFC 9562), 122 random bits: it stands in the published draw and must tell nothing, not even when you joined", e.ID)
	}
	if e.Code == [32]byte{} {
		f.Add("code", "is all zero; accepted: 32 random bytes in hexadecimal, made by your own program")
	}
	for _, tick := range []struct {
		field string
		given bool
	}{
		{"consent.take_part", e.Consent.TakePart},
		{"consent.store", e.Consent.Store},
		{"consent.share_pseudonymous", e.Consent.SharePseudonymous},
		{"consent.licence_confirmed", e.Consent.LicenceConfirmed},
		{"consent.adult_or_guardian", e.Consent.AdultOrGuardian},
	} {
		if !tick.given {
			f.Add(tick.field, "is not ticked; nobody takes part without it")
		}
	}
	return f.Err("enrolment.invalid", "the enrolment has faults")
}

// PseudonymAlphabet is Crockford's base 32, without letters that look like digits.
const PseudonymAlphabet = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

// Pseudonym turns 6 random bytes into 6 characters of PseudonymAlphabet, each equally likely.
func Pseudonym(random [6]byte) string {
	var name [6]byte
	for i, b := range random {
		name[i] = PseudonymAlphabet[b%32]
	}
	return string(name[:])
}
