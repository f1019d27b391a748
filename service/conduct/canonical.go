package conduct

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"time"

	"github.com/gowebpki/jcs"

	"evenrig/service/trial"
)

// fields is a record, or a part of one, on its way to canonical JSON.
type fields map[string]any

// canonical returns v as canonical JSON (RFC 8785).
func canonical(v any) ([]byte, error) {
	b, err := json.Marshal(v)
	if err != nil {
		return nil, fmt.Errorf("encode record: %w", err)
	}
	b, err = jcs.Transform(b)
	if err != nil {
		return nil, fmt.Errorf("canonicalise record: %w", err)
	}
	return b, nil
}

// at writes a time as every canonical record does: UTC, to the millisecond.
func at(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000Z07:00") }

func atOrNil(t *time.Time) any {
	if t == nil {
		return nil
	}
	return at(*t)
}

// week is the ISO 8601 week of a time by the phone's own clock, the finest time that is published.
func week(t time.Time) string {
	year, w := t.ISOWeek()
	return fmt.Sprintf("%04d-W%02d", year, w)
}

func idOrNil(id trial.ID) any {
	if id.IsZero() {
		return nil
	}
	return id
}

func measureOrNil(m *trial.Measure) any {
	if m == nil {
		return nil
	}
	return m.String()
}

// record is something about to be saved: its ledger parts and the digest that recognises the same record sent again.
type record struct {
	parts  trial.Parts
	digest trial.Digest
}

// newRecord makes a record from its public and its private fields, with fresh salts.
func (s *Service) newRecord(public, private fields) (record, error) {
	return recordOf(s.salts(), public, private)
}

// salts returns parts with fresh salts and nothing else yet, drawn before a transaction that may run twice.
func (s *Service) salts() trial.Parts {
	return trial.Parts{PublicSalt: s.bytes32(), PrivateSalt: s.bytes32()}
}

// recordOf makes the ledger parts of a record from its public and its private fields, and its sent digest from both
// together.
func recordOf(salts trial.Parts, public, private fields) (record, error) {
	r := record{parts: salts}
	all := fields{}
	for _, part := range []fields{public, private} {
		for k, v := range part {
			all[k] = v
		}
	}
	whole, err := canonical(all)
	if err != nil {
		return r, err
	}
	r.digest = sha256.Sum256(whole)
	if r.parts.Public, err = canonical(public); err != nil {
		return r, err
	}
	r.parts.Private, err = canonical(private)
	return r, err
}
