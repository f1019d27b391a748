package trial

import (
	"crypto/sha256"
	"encoding/binary"
	"slices"
)

// Leaf is the hash of the head's leaf in the tree of a checkpoint (RFC 9162, section 2.1): of a zero byte, the chain's public id, its
// length in 8 bytes, big endian, and its last hash. It can be published where the chain may not: the last hash cannot be guessed.
func (h Head) Leaf() Digest {
	id := h.ChainID.Public()
	return sha256.Sum256(slices.Concat([]byte{0}, id[:], binary.BigEndian.AppendUint64(nil, uint64(h.N)), h.Hash[:]))
}

// LeavesRoot returns the root of the Merkle tree whose leaves have the given hashes.
func LeavesRoot(leaves []Digest) Digest {
	switch n := len(leaves); n {
	case 0:
		return sha256.Sum256(nil)
	case 1:
		return leaves[0]
	default:
		k := 1
		for k*2 < n {
			k *= 2
		}
		left, right := LeavesRoot(leaves[:k]), LeavesRoot(leaves[k:])
		return sha256.Sum256(slices.Concat([]byte{1}, left[:], right[:]))
	}
}
