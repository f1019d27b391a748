package exchange

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/gowebpki/jcs"

	"evenrig/service/trial"
)

// Kit is a trial without a server: a rule sheet and a draw by scheme 1, for one angler or a few with paper slips, pencil and a
// catch table. Draw is nil in a kit that was read from a folder without its seed.
type Kit struct {
	Protocol   trial.Protocol
	Commitment trial.Digest // the check code: trial.Commitment over the seed and the canonical rule sheet
	Draw       *KitDraw
}

// KitDraw is what every slip follows from; nobody who fishes reads it before the last fish.
type KitDraw struct {
	Seed    [32]byte
	Rounds  int // slips of each angler
	Anglers []KitAngler
}

// KitAngler is one angler's share of the draw: Name is what the catch table calls the angler, ID and Code stand for the
// enrolment and its code of trial.AllocationKey.
type KitAngler struct {
	Name string
	ID   trial.ID
	Code [32]byte
}

// The limits of a kit.
const (
	MaxKitRounds = 200
	MaxKitSlips  = 2000
	MaxKitName   = 40 // characters of an angler's name
)

// MakeKit draws a kit for the named anglers, with the given number of rounds each. Randomness comes from random alone, 32 bytes
// of seed and then 16 and 32 for each angler: crypto/rand's Reader outside tests. The error names every fault of rule sheet,
// anglers and rounds at once, or is that of random.
func MakeKit(p trial.Protocol, anglers []string, rounds int, random io.Reader) (Kit, error) {
	if err := checkKit(p, anglers, rounds); err != nil {
		return Kit{}, err
	}
	draw := KitDraw{Rounds: rounds}
	if _, err := io.ReadFull(random, draw.Seed[:]); err != nil {
		return Kit{}, fmt.Errorf("draw the seed: %w", err)
	}
	for _, name := range anglers {
		a := KitAngler{Name: name}
		if _, err := io.ReadFull(random, a.ID[:]); err != nil {
			return Kit{}, fmt.Errorf("draw an angler's id: %w", err)
		}
		if _, err := io.ReadFull(random, a.Code[:]); err != nil {
			return Kit{}, fmt.Errorf("draw an angler's code: %w", err)
		}
		a.ID[6], a.ID[8] = a.ID[6]&0x0f|0x40, a.ID[8]&0x3f|0x80 // version 4 of RFC 9562, section 5.4
		draw.Anglers = append(draw.Anglers, a)
	}
	canonical, err := canonicalProtocol(p)
	if err != nil {
		return Kit{}, err
	}
	return Kit{Protocol: p, Commitment: trial.Commitment(draw.Seed, canonical), Draw: &draw}, nil
}

// First returns which way round each of the angler's rounds begins, the first round first.
func (d KitDraw) First(p trial.Protocol, a KitAngler) []trial.Arrangement {
	key := trial.AllocationKey(d.Seed, nil, a.ID, a.Code)
	first := make([]trial.Arrangement, d.Rounds)
	for i := range first {
		first[i] = p.Draw.UnitArrangement(key, i+1)
	}
	return first
}

// checkKit names every fault of what a kit is to be made from, the rule sheet's among them.
func checkKit(p trial.Protocol, anglers []string, rounds int) error {
	var f trial.Faults
	if p.Source != trial.Drawn {
		f.Add("source", "is %q; a kit draws its rounds, accepted: %s", p.Source, trial.Drawn)
	}
	if p.Stopping != trial.FixedSize {
		f.Add("stopping", "is %q; paper does not remember what an earlier count found, so that a kit is counted once, after the last fish; accepted: %s", p.Stopping, trial.FixedSize)
	}
	if p.Draw.SameFlyCheck != 0 {
		f.Add("draw.same_fly_check", "is %d; a kit has no slips for rounds with two usual flies, accepted: 0", p.Draw.SameFlyCheck)
	}
	if len(anglers) == 0 {
		f.Add("anglers", "are missing; accepted: one name or more")
	}
	for i, name := range anglers {
		at := fmt.Sprintf("anglers[%d]", i)
		switch n := utf8.RuneCountInString(name); {
		case !utf8.ValidString(name) || strings.ContainsFunc(name, func(r rune) bool { return isControl(r) || !unicode.IsPrint(r) }):
			f.Add(at, "is %q; accepted: 1 to %d characters of plain text", name, MaxKitName)
		case strings.TrimSpace(name) == "" || n > MaxKitName:
			f.Add(at, "has %d characters; accepted: 1 to %d", n, MaxKitName)
		case strings.TrimSpace(name) != name || unguard(name) != name:
			f.Add(at, "is %q, which a catch table reads otherwise; accepted: a name without spaces or apostrophes before it", name)
		case slices.Index(anglers, name) < i:
			f.Add(at, "%q stands twice; two anglers need two names", name)
		}
	}
	switch most := min(MaxKitRounds, MaxKitSlips/max(len(anglers), 1)); {
	case rounds < 1 || rounds > most:
		f.Add("rounds", "are %d for each of %d; accepted: 1 to %d", rounds, len(anglers), most)
	}
	return withFaultsOf(p.Validate(), f.Err("kit.invalid", "the kit has faults"))
}

// withFaultsOf joins the faults of the rule sheet with the kit's own into one error.
func withFaultsOf(protocol, kit error) error {
	first, ok := errors.AsType[*trial.Error](protocol)
	if !ok {
		return kit
	}
	all := &trial.Error{Kind: trial.Invalid, Code: "kit.invalid", Detail: "the kit has faults", Fields: slices.Clone(first.Fields)}
	if second, ok := errors.AsType[*trial.Error](kit); ok {
		all.Fields = append(all.Fields, second.Fields...)
	}
	return all
}

// canonicalProtocol returns the rule sheet as canonical JSON (RFC 8785), which is what protocol.json holds.
func canonicalProtocol(p trial.Protocol) ([]byte, error) {
	text, err := json.Marshal(p)
	if err != nil {
		return nil, fmt.Errorf("encode the rule sheet: %w", err)
	}
	if text, err = jcs.Transform(text); err != nil {
		return nil, fmt.Errorf("canonicalise the rule sheet: %w", err)
	}
	return text, nil
}

// Fingerprint is the SHA-256 of the canonical rule sheet, which is that of the file protocol.json.
func (k Kit) Fingerprint() (trial.Digest, error) {
	text, err := canonicalProtocol(k.Protocol)
	return sha256.Sum256(text), err
}
