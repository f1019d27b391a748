package trial

import (
	"crypto/sha256"
	"encoding/json"
	"slices"
	"time"
)

// LedgerEntry is one link of an enrolment's hash chain, or of the organiser's, whose ChainID is the trial's id. Kind
// says what was recorded, Subject of which record. The digests hide their parts behind random salts that stand apart,
// so that a part can be erased while the chain still verifies.
type LedgerEntry struct {
	TrialID       ID
	ChainID       ID
	N             int64
	Kind          string
	Subject       ID
	PublicDigest  Digest
	PrivateDigest Digest
	Hash          Digest
}

// The kinds of ledger entries.
const (
	LedgerEnrolment   = "enrolment"
	LedgerOuting      = "outing"
	LedgerOutingEnd   = "outing_end"
	LedgerUnit        = "unit"
	LedgerPeriod      = "period"
	LedgerPeriodEnd   = "period_end"
	LedgerDeviation   = "deviation"
	LedgerTemperature = "temperature"
	LedgerOverride    = "welfare_override"
	LedgerDispute     = "dispute"
	LedgerDecision    = "dispute_decision"
	LedgerCatch       = "catch"
	LedgerAmendment   = "amendment"
	LedgerWithdrawal  = "withdrawal"
	LedgerProtocol    = "protocol"
	LedgerState       = "state"
	LedgerImport      = "import"
	LedgerWord        = "draw_word"
	LedgerDrawNight   = "draw_night"
	LedgerPublication = "publication"
	LedgerConsent     = "consent"
	LedgerQuestion    = "question"
	LedgerAnswer      = "answer"
)

// Parts are a record's canonical JSON (RFC 8785), split: the public part is what a published table shows, the private
// part the rest. The salts are 32 random bytes each.
type Parts struct {
	Public      []byte
	PublicSalt  [32]byte
	Private     []byte
	PrivateSalt [32]byte
}

// Head is the last link of a chain: N entries, the last with Hash. A chain without entries has N 0 and a zero hash.
type Head struct {
	TrialID ID
	ChainID ID
	N       int64
	Hash    Digest
}

// Next returns the entry that follows the head, its hash computed: SHA-256 of the canonical JSON of its other fields
// and the previous hash.
func (h Head) Next(kind string, subject ID, p Parts) LedgerEntry {
	e := LedgerEntry{
		TrialID: h.TrialID, ChainID: h.ChainID, N: h.N + 1, Kind: kind, Subject: subject,
		PublicDigest: PartDigest(p.PublicSalt, p.Public), PrivateDigest: PartDigest(p.PrivateSalt, p.Private),
	}
	e.Hash = e.Link(h.Hash)
	return e
}

// Link computes the entry's hash given the previous one. The chain's and the subject's ids enter it as they may be
// published, without the times in them.
func (e LedgerEntry) Link(previous Digest) Digest {
	// Keys in RFC 8785 order; every value is hexadecimal, a UUID, a word or a whole number, which encoding/json writes
	// as that standard does.
	b, err := json.Marshal(struct {
		Chain   ID     `json:"chain"`
		Kind    string `json:"kind"`
		N       int64  `json:"n"`
		Prev    Digest `json:"previous"`
		Private Digest `json:"private_digest"`
		Public  Digest `json:"public_digest"`
		Subject ID     `json:"subject"`
		Trial   ID     `json:"trial"`
	}{e.ChainID.Public(), e.Kind, e.N, previous, e.PrivateDigest, e.PublicDigest, e.Subject.Public(), e.TrialID})
	if err != nil {
		panic(err) // fixed types: cannot fail
	}
	return sha256.Sum256(b)
}

// Head returns the head of the chain after the entry.
func (e LedgerEntry) Head() Head { return Head{e.TrialID, e.ChainID, e.N, e.Hash} }

// PartDigest is SHA-256(salt || part).
func PartDigest(salt [32]byte, part []byte) Digest {
	h := sha256.New()
	h.Write(salt[:])
	h.Write(part)
	return Digest(h.Sum(nil))
}

// Receipt is what an angler gets for a saved record: its place in the chain.
type Receipt struct {
	ChainID ID
	N       int64
	Hash    Digest
}

// Checkpoint fingerprints all chains of a trial at one moment: SHA-256 over the previous checkpoint's hash and the
// Merkle root of the heads. It is the trial's data version, short enough to pin up.
type Checkpoint struct {
	TrialID ID
	N       int64
	At      time.Time
	Root    Digest
	Hash    Digest
}

// CheckpointMove says that a chain stood at entry N in the given checkpoint and in those that follow, until it moves again.
type CheckpointMove struct {
	Checkpoint int64
	ChainID    ID
	N          int64
}

// NextCheckpoint returns the checkpoint that follows previous (nil for the first). heads may be in any order; they
// enter the tree in order of their chains' public ids.
func NextCheckpoint(trial ID, previous *Checkpoint, heads []Head, at time.Time) Checkpoint {
	c := Checkpoint{TrialID: trial, N: 1, At: at, Root: HeadsRoot(heads)}
	if previous != nil {
		c.N = previous.N + 1
	}
	c.Hash = c.Follow(previous)
	return c
}

// HeadsRoot returns the Merkle root of chains' heads, in any order; see Head.Leaf.
func HeadsRoot(heads []Head) Digest {
	heads = slices.Clone(heads)
	for i := range heads {
		heads[i].ChainID = heads[i].ChainID.Public()
	}
	slices.SortFunc(heads, func(a, b Head) int { return slices.Compare(a.ChainID[:], b.ChainID[:]) })
	leaves := make([]Digest, len(heads))
	for i, h := range heads {
		leaves[i] = h.Leaf()
	}
	return LeavesRoot(leaves)
}

// Follow computes the checkpoint's hash given the previous one, nil for the first: SHA-256(previous hash || root).
func (c Checkpoint) Follow(previous *Checkpoint) Digest {
	var before Digest
	if previous != nil {
		before = previous.Hash
	}
	return sha256.Sum256(append(before[:], c.Root[:]...))
}
