package exchange

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"strings"

	"evenrig/service/trial"
)

// maxKitFile bounds the rule sheet and the seed's file of a kit, in bytes.
const maxKitFile = 4 << 20

// ReadKit reads a kit's rule sheet and, where it is in the folder, its draw: then seed and rule sheet must give the check code
// that stands with the seed and, where that file is there too, the one in check-code.txt. Errors are of kind trial.Invalid,
// with code kit.rules, kit.seed or kit.check, or what the folder gave; one that wraps fs.ErrNotExist says that this is no kit.
func ReadKit(folder fs.FS) (Kit, error) {
	text, err := readKitFile(folder, KitRules)
	if err != nil {
		return Kit{}, err
	}
	p, err := readRules(text)
	if err != nil {
		return Kit{}, err
	}
	kit := Kit{Protocol: p}
	text, err = readKitFile(folder, KitSeed)
	if errors.Is(err, fs.ErrNotExist) {
		return kit, nil
	}
	if err != nil {
		return Kit{}, err
	}
	if kit, err = readDraw(string(text)); err != nil {
		return Kit{}, err
	}
	kit.Protocol = p
	names := make([]string, len(kit.Draw.Anglers))
	for i, a := range kit.Draw.Anglers {
		names[i] = a.Name
	}
	if err := checkKit(p, names, kit.Draw.Rounds); err != nil {
		return Kit{}, fmt.Errorf("%s: %w", KitSeed, err)
	}
	return kit, kit.checkCommitment(folder)
}

// checkCommitment compares the check codes: the one that seed and rule sheet give, the one beside the seed, and the one to pin up.
func (k Kit) checkCommitment(folder fs.FS) error {
	canonical, err := canonicalProtocol(k.Protocol)
	if err != nil {
		return err
	}
	if got := trial.Digest(trial.Commitment(k.Draw.Seed, canonical)); got != k.Commitment {
		return trial.Fail(trial.Invalid, "kit.check", "seed and rule sheet give the check code %s, but %s has %s: one of %s and %s was changed since the kit was made",
			got, KitSeed, k.Commitment, KitRules, KitSeed)
	}
	text, err := readKitFile(folder, KitCheck)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	for _, line := range k.facts() {
		if !slices.Contains(strings.Split(strings.ReplaceAll(string(text), "\r\n", "\n"), "\n"), line) {
			return trial.Fail(trial.Invalid, "kit.check", "%s lacks the line %q of %s: one of them was changed since the kit was made", KitCheck, line, KitSeed)
		}
	}
	return nil
}

// facts are the lines of publicLines.
func (k Kit) facts() (lines []string) {
	k.publicLines(func(format string, args ...any) { lines = append(lines, fmt.Sprintf(format, args...)) })
	return lines
}

func readKitFile(folder fs.FS, name string) ([]byte, error) {
	file, err := folder.Open(name)
	if err != nil {
		return nil, fmt.Errorf("%s of the kit cannot be opened: %w", name, err)
	}
	defer file.Close()
	text, err := io.ReadAll(io.LimitReader(file, maxKitFile+1))
	if err != nil {
		return nil, fmt.Errorf("read %s of the kit: %w", name, err)
	}
	if len(text) > maxKitFile {
		return nil, trial.Fail(trial.Invalid, "kit.too_large", "%s is longer than %d bytes", name, maxKitFile)
	}
	return text, nil
}

// readRules reads a rule sheet strictly: a field that it does not know is a fault, not a rule that nobody follows.
func readRules(text []byte) (p trial.Protocol, err error) {
	in := json.NewDecoder(bytes.NewReader(bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))))
	in.DisallowUnknownFields()
	if err := in.Decode(&p); err != nil {
		return p, trial.Fail(trial.Invalid, "kit.rules", "%s is no rule sheet in JSON: %v", KitRules, err)
	}
	if _, err := in.Token(); !errors.Is(err, io.EOF) {
		return p, trial.Fail(trial.Invalid, "kit.rules", "%s goes on after the rule sheet; accepted: one object", KitRules)
	}
	if err := p.Validate(); err != nil {
		return p, fmt.Errorf("%s: %w", KitRules, err)
	}
	return p, nil
}
