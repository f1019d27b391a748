package trial

import (
	"encoding/json"
	"time"
)

// Amendment is a correction of a record: who, when, why, and what changed, with the old and the new value of each
// field as JSON. Nothing is overwritten without one. N counts a record's amendments from 1.
type Amendment struct {
	TrialID     ID
	EnrolmentID ID
	Kind        string
	Subject     ID
	N           int
	At          time.Time
	By          ID
	Reason      string
	Old         json.RawMessage
	New         json.RawMessage
}

// CheckReason returns the fault of an amendment's reason.
func CheckReason(reason string) error {
	var f Faults
	length(&f, "reason", reason, 3, 500)
	return f.Err("amendment.invalid", "a correction needs its reason")
}

// CheckVersion returns a Stale error unless the version that the user last saw is the record's.
func CheckVersion(what string, seen, version int) error {
	if seen != version {
		return Fail(Stale, "version.stale", "the %s has been changed: you sent If-Match for version %d, it is at version %d; read it again", what, seen, version)
	}
	return nil
}
