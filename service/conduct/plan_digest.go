package conduct

import (
	"crypto/sha256"

	"evenrig/service/trial"
)

// planDigest is the SHA-256 of a protocol as it may be published. It stands in the organiser's chain beside the fingerprint, which
// strangers cannot work out again, so that they see what was registered was what is published.
func planDigest(p trial.Protocol) (trial.Digest, error) {
	text, err := canonical(p.Published())
	return sha256.Sum256(text), err
}
