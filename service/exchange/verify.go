package exchange

import (
	"fmt"
	"slices"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// Verdict is what verifying a package came to: what agrees, what does not, and what cannot be told and why.
type Verdict struct {
	Title     string       `json:"title"`
	Trial     trial.ID     `json:"trial"`
	Edition   int          `json:"edition"`
	CheckCode trial.Digest `json:"check_code"` // hash of the checkpoint that was analysed, to be held against what the club pinned up
	Findings  []Finding    `json:"findings"`
	Own       []OwnFish    `json:"own,omitempty"` // of the receipts that were given
}

// Finding is one thing that was looked into.
type Finding struct {
	Part    string  `json:"part"`
	Outcome Outcome `json:"outcome"`
	Text    string  `json:"text"`
}

// Outcome is what came of looking into something.
type Outcome string

// The outcomes.
const (
	Agrees     Outcome = "agrees"
	Disagrees  Outcome = "disagrees"
	CannotTell Outcome = "cannot_tell"
)

// Agrees reports whether nothing disagrees.
func (v Verdict) Agrees() bool {
	return !slices.ContainsFunc(v.Findings, func(f Finding) bool { return f.Outcome == Disagrees })
}

// VerifyOptions say by which program the package is verified, and which receipts are looked for in it.
type VerifyOptions struct {
	ProgramVersion string
	Receipts       []Receipt
}

// The parts of a verdict, in the order in which they are told.
const (
	partFiles       = "files"
	partRules       = "rule sheet"
	partDraw        = "draw"
	partChains      = "chains"
	partCheckpoints = "checkpoints"
	partRecords     = "records"
	partDerived     = "what follows"
	partPrivacy     = "what is left out"
	partResult      = "result"
	partReport      = "report"
	partReceipt     = "receipt"
)

// Verify works the package out again: checksums and files, the rule sheet's fingerprints, the draw from its seed, words and codes, every
// chain and checkpoint, every row against the ledger with its corrections, what follows from the rows, what had to be left out, the counts
// and the result. It needs nothing but the package, and memory for one angler's rows.
//
// An error means that it could not be read; what is read and does not agree is a Finding.
func Verify(p Package, o VerifyOptions) (Verdict, error) {
	v := &verifier{Package: p, options: o, found: newFindings()}
	plan, err := p.readPlan()
	if err != nil {
		return Verdict{}, err
	}
	v.plan = plan
	for _, step := range []func() error{v.files, v.rules, v.organisers, v.anglersRecords, v.checkpoints, v.privacy, v.result, v.report, v.receipts} {
		if err := step(); err != nil {
			return Verdict{}, err
		}
	}
	verdict := Verdict{Title: p.Facts.Title, Trial: p.Facts.Trial, Edition: p.Facts.Edition, Findings: v.found.list(), Own: v.own}
	for _, c := range p.Checkpoints {
		if c.N == p.Facts.Checkpoint {
			verdict.CheckCode = c.Hash
		}
	}
	return verdict, nil
}

// verifier holds what is found while a package is gone through.
type verifier struct {
	Package
	options VerifyOptions
	plan    trial.Protocol
	found   *findings

	sharers sharers
	hashes  map[headKey]trial.Digest // of the entries at which heads stand
	lengths map[trial.ID]int64       // of the chains that are here
	words   []string                 // by the ledger
	proven  int                      // records that the ledger proves
	hidden  int                      // records whose entries are left out
	onTimes int                      // fish left out for reasons that rest on what is not published
	input   analysis.Input           // of the rows
	own     []OwnFish
}

// findings gathers what is found, part by part.
type findings struct {
	parts map[string]*finding
}

// finding is what was found of one part; of many faults of one part some are told and the rest counted.
type finding struct {
	faults, untold []string
	more           int
	agrees         string
}

const faultsTold = 6

func newFindings() *findings { return &findings{map[string]*finding{}} }

func (f *findings) at(part string) *finding {
	if f.parts[part] == nil {
		f.parts[part] = &finding{}
	}
	return f.parts[part]
}

// differs notes that something does not agree.
func (f *findings) differs(part, format string, args ...any) {
	at := f.at(part)
	if len(at.faults) == faultsTold {
		at.more++
		return
	}
	at.faults = append(at.faults, fmt.Sprintf(format, args...))
}

// untold notes what cannot be told and why; the same twice is once.
func (f *findings) untold(part, format string, args ...any) {
	at, text := f.at(part), fmt.Sprintf(format, args...)
	if !slices.Contains(at.untold, text) && len(at.untold) < faultsTold {
		at.untold = append(at.untold, text)
	}
}

// agrees says what agrees in a part where nothing differs.
func (f *findings) agrees(part, format string, args ...any) {
	at := f.at(part)
	if at.agrees != "" {
		at.agrees += " "
	}
	at.agrees += fmt.Sprintf(format, args...)
}

// list tells all parts in their order.
func (f *findings) list() []Finding {
	var list []Finding
	for _, part := range []string{partFiles, partRules, partDraw, partChains, partCheckpoints, partRecords, partDerived, partPrivacy, partResult, partReport, partReceipt} {
		at := f.parts[part]
		if at == nil {
			continue
		}
		if at.agrees != "" && len(at.faults) == 0 {
			list = append(list, Finding{part, Agrees, at.agrees})
		}
		for _, text := range at.faults {
			list = append(list, Finding{part, Disagrees, text})
		}
		if at.more > 0 {
			list = append(list, Finding{part, Disagrees, fmt.Sprintf("%d more do not agree", at.more)})
		}
		for _, text := range at.untold {
			list = append(list, Finding{part, CannotTell, text})
		}
	}
	return list
}

// files compares the archive's files with the checksums and with what this program writes for the same rows.
func (v *verifier) files() error {
	if v.archive == nil {
		v.found.untold(partFiles, "the package was not read from an archive: there are no files to compare")
		return nil
	}
	wrong, err := v.archive.checksums()
	if err != nil {
		return err
	}
	for _, text := range wrong {
		v.found.differs(partFiles, "%s", text)
	}
	files, err := v.Package.files()
	if err != nil {
		return err
	}
	for _, f := range files {
		written, err := sumOf(f.write)
		if err != nil {
			return err
		}
		there, err := v.archive.sum(f.name)
		switch {
		case err != nil:
			return err
		case written == there:
		case v.Facts.ProgramVersion != v.options.ProgramVersion:
			v.found.untold(partFiles, "%s is not as this program writes it; it was written by version %s and this is %s", f.name, v.Facts.ProgramVersion, v.options.ProgramVersion)
		default:
			v.found.differs(partFiles, "%s is not what follows from the tables", f.name)
		}
	}
	v.found.agrees(partFiles, "All %d files have the checksums that %s tells of, and are as the tables have it.", len(files), fileChecksums)
	return nil
}
