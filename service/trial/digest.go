package trial

import (
	"encoding/hex"
	"errors"
)

// Digest is a SHA-256 value, written in hexadecimal.
type Digest [32]byte

// String returns 64 lower-case hexadecimal digits.
func (d Digest) String() string { return hex.EncodeToString(d[:]) }

// IsZero reports whether d is all zero, which stands for "none".
func (d Digest) IsZero() bool { return d == Digest{} }

// MarshalText writes the digest as String does.
func (d Digest) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads 64 hexadecimal digits.
func (d *Digest) UnmarshalText(b []byte) error {
	if len(b) != 64 {
		return errors.New("must be 64 hexadecimal digits")
	}
	_, err := hex.Decode(d[:], b)
	return err
}
