package trial

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"slices"
	"strconv"
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
	kind, err := json.Marshal(e.Kind)
	if err != nil {
		panic(err) // a text: cannot fail
	}
	// Keys in RFC 8785 order; every other value is hexadecimal, a UUID or a whole number, which stand as they are.
	b := make([]byte, 0, 512)
	b = append(append(b, `{"chain":"`...), e.ChainID.Public().String()...)
	b = append(append(b, `","kind":`...), kind...)
	b = strconv.AppendInt(append(b, `,"n":`...), e.N, 10)
	b = hex.AppendEncode(append(b, `,"previous":"`...), previous[:])
	b = hex.AppendEncode(append(b, `","private_digest":"`...), e.PrivateDigest[:])
	b = hex.AppendEncode(append(b, `","public_digest":"`...), e.PublicDigest[:])
	b = append(append(b, `","subject":"`...), e.Subject.Public().String()...)
	b = append(append(append(b, `","trial":"`...), e.TrialID.String()...), `"}`...)
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
