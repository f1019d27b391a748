package conduct

import (
	"crypto/sha256"
	"encoding/hex"

	"evenrig/service/trial"
)

// Opens reports whether the trial's seed was sealed under this key.
func (k SealKey) Opens(id trial.ID, sealed []byte) bool {
	_, err := k.open(id, sealed)
	return err == nil
}

// Fingerprint is 64 hexadecimal digits by which the key can be recognised but not found out: SHA-256 of a fixed word and
// the key, which is random.
func (k SealKey) Fingerprint() string {
	sum := sha256.Sum256(append([]byte("evenrig seal key "), k[:]...))
	return hex.EncodeToString(sum[:])
}
