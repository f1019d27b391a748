package trial

import (
	"crypto/hmac"
	"crypto/sha256"
	"strconv"
	"strings"
)

// AllocationScheme is the number of the derivation below. It is stored with each trial, so that a later scheme never
// changes an earlier draw.
const AllocationScheme = 1

// Commitment returns SHA-256("alloc-commit-v1" || 0x00 || seed || SHA-256(protocol)), which is published at
// registration: it fixes seed and protocol together before anybody joins. protocol is the registered version's
// canonical JSON (RFC 8785).
func Commitment(seed [32]byte, protocol []byte) [32]byte {
	return CommitmentTo(seed, sha256.Sum256(protocol))
}

// CommitmentTo is Commitment for a protocol of which only the fingerprint is known, SHA-256(protocol).
func CommitmentTo(seed [32]byte, fingerprint Digest) [32]byte {
	h := sha256.New()
	h.Write([]byte("alloc-commit-v1\x00"))
	h.Write(seed[:])
	h.Write(fingerprint[:])
	return [32]byte(h.Sum(nil))
}

// AllocationKey returns the key from which one enrolment's draw is derived: HMAC-SHA256(S, enrolment || code) with
// S = HMAC-SHA256(seed, words joined by 0x00). words are the members' words of draw night (none: an empty message) and
// code is the 32 random bytes that the angler's own client fixed when enrolling, so that neither the seed's keeper nor
// the angler chooses the draw alone. HMAC: RFC 2104.
func AllocationKey(seed [32]byte, words []string, enrolment ID, code [32]byte) [32]byte {
	s := hmacSHA256(seed[:], []byte(strings.Join(words, "\x00")))
	return hmacSHA256(s[:], append(enrolment[:], code[:]...))
}

// UnitArrangement returns which way round the first period of unit n (from 1) is fished: +1 orders the test pattern
// lower first. Under permuted_blocks groups are drawn one after another: a size from d.GroupSizes, then the order of
// its blocks, half of them each way, by Fisher and Yates's shuffle; a coin is a group of one. Cost grows with n.
func (d Draw) UnitArrangement(key [32]byte, n int) Arrangement {
	for g := 1; ; g++ {
		group := d.group(key, g)
		if n <= len(group) {
			return group[n-1]
		}
		n -= len(group)
	}
}

// Orders returns UnitArrangement of units 1 to n.
func (d Draw) Orders(key [32]byte, n int) []Arrangement {
	orders := make([]Arrangement, 0, n)
	for g := 1; len(orders) < n; g++ {
		orders = append(orders, d.group(key, g)...)
	}
	return orders[:n]
}

// group derives group g (from 1): bytes of HMAC-SHA256(key, "g|" g "|" counter), counter from 0, taken one by one.
func (d Draw) group(key [32]byte, g int) []Arrangement {
	stream := byteStream{key: key, prefix: "g|" + strconv.Itoa(g) + "|"}
	if d.Method == CoinPerBlock {
		if stream.below(2) == 0 {
			return []Arrangement{TestLower}
		}
		return []Arrangement{ControlLower}
	}
	size := d.GroupSizes[0]
	if len(d.GroupSizes) > 1 {
		size = d.GroupSizes[stream.below(len(d.GroupSizes))]
	}
	order := make([]Arrangement, size)
	for i := range order {
		order[i] = TestLower
		if i >= size/2 {
			order[i] = ControlLower
		}
	}
	for i := size - 1; i >= 1; i-- {
		j := stream.below(i + 1)
		order[i], order[j] = order[j], order[i]
	}
	return order
}

type byteStream struct {
	key     [32]byte
	prefix  string
	counter int
	block   []byte
}

func (s *byteStream) next() byte {
	if len(s.block) == 0 {
		sum := hmacSHA256(s.key[:], []byte(s.prefix+strconv.Itoa(s.counter)))
		s.block, s.counter = sum[:], s.counter+1
	}
	b := s.block[0]
	s.block = s.block[1:]
	return b
}

// below returns a number of 0 to k-1, each equally likely: bytes that would favour some are rejected.
func (s *byteStream) below(k int) int {
	for {
		if b := int(s.next()); b < 256-256%k {
			return b % k
		}
	}
}

func hmacSHA256(key, message []byte) [32]byte {
	m := hmac.New(sha256.New, key)
	m.Write(message)
	return [32]byte(m.Sum(nil))
}
