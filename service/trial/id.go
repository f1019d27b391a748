package trial

import (
	"encoding/hex"
	"errors"
)

// ID is a UUID (RFC 9562). Records that a phone makes carry version 7 ids made by the phone.
type ID [16]byte

var errBadID = errors.New("must be a UUID like 0190a2b4-7c1d-7e5f-8a3b-0123456789ab")

// ParseID returns the UUID written in s in the usual 8-4-4-4-12 hexadecimal form, in either case.
func ParseID(s string) (ID, error) {
	var id ID
	if len(s) != 36 || s[8] != '-' || s[13] != '-' || s[18] != '-' || s[23] != '-' {
		return ID{}, errBadID
	}
	packed := s[0:8] + s[9:13] + s[14:18] + s[19:23] + s[24:36]
	if _, err := hex.Decode(id[:], []byte(packed)); err != nil {
		return ID{}, errBadID
	}
	return id, nil
}

// String returns the lower-case 8-4-4-4-12 form.
func (id ID) String() string {
	var b [36]byte
	hex.Encode(b[0:8], id[0:4])
	hex.Encode(b[9:13], id[4:6])
	hex.Encode(b[14:18], id[6:8])
	hex.Encode(b[19:23], id[8:10])
	hex.Encode(b[24:36], id[10:16])
	b[8], b[13], b[18], b[23] = '-', '-', '-', '-'
	return string(b[:])
}

// IsZero reports whether id is the nil UUID, which no record may have.
func (id ID) IsZero() bool { return id == ID{} }

// Version is the UUID version, 7 for ids that phones make.
func (id ID) Version() int { return int(id[6] >> 4) }

// SentByPhone reports whether id is a UUID of version 7 in RFC 9562's variant.
func (id ID) SentByPhone() bool { return id.Version() == 7 && id[8]&0xc0 == 0x80 }

// Random reports whether id is a UUID of version 4 in RFC 9562's variant.
func (id ID) Random() bool { return id.Version() == 4 && id[8]&0xc0 == 0x80 }

// Public returns the id as others may see it: a version 7 id without its first 48 bits, which tell the millisecond at
// which it was made (RFC 9562, section 5.7); its 74 other bits still tell it from all others of the trial.
func (id ID) Public() ID {
	if id.Version() == 7 {
		clear(id[:6])
	}
	return id
}

// MarshalText writes the id as String does.
func (id ID) MarshalText() ([]byte, error) { return []byte(id.String()), nil }

// UnmarshalText reads what ParseID accepts.
func (id *ID) UnmarshalText(b []byte) error {
	parsed, err := ParseID(string(b))
	if err != nil {
		return err
	}
	*id = parsed
	return nil
}
