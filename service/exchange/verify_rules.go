package exchange

import (
	"crypto/sha256"
	"encoding/json"
	"reflect"
	"slices"

	"evenrig/service/trial"
)

// rules compares the rule sheet's fingerprints, and what the table of the trial repeats of it.
func (v *verifier) rules() error {
	f := v.Facts
	switch {
	case len(v.Versions) == 0:
		v.found.differs(partRules, "protocol_versions.csv has no version")
		return nil
	case v.Versions[len(v.Versions)-1].Plan != trial.Digest(sha256.Sum256(v.Plan)):
		v.found.differs(partRules, "%s is not the last version of protocol_versions.csv: its SHA-256 is %x", filePlan, sha256.Sum256(v.Plan))
	}
	for i, version := range v.Versions {
		if version.N != i+1 {
			v.found.differs(partRules, "version %d stands at place %d of protocol_versions.csv", version.N, i+1)
		}
	}
	if v.Versions[0].Fingerprint != f.Fingerprint {
		v.found.differs(partRules, "the fingerprint of version 1 is %s in protocol_versions.csv and %s in trial.csv", v.Versions[0].Fingerprint, f.Fingerprint)
	}
	for _, same := range []struct{ what, table, plan string }{
		{"title", f.Title, oneLineEnd(v.plan.Title)},
		{"question", f.Question, oneLineEnd(v.plan.Question)},
		{"design", string(f.Design), string(v.plan.Design)},
		{"source", string(f.Source), string(v.plan.Source)},
		{"stopping", string(f.Stopping), string(v.plan.Stopping)},
		{"code of the test pattern", f.Test, v.plan.Code(trial.Test)},
		{"code of the control pattern", f.Control, v.plan.Code(trial.Control)},
	} {
		if same.table != same.plan {
			v.found.differs(partRules, "the %s is %q in trial.csv and %q in %s", same.what, same.table, same.plan, filePlan)
		}
	}
	v.found.agrees(partRules, "%s is version %d of the rule sheet.", filePlan, len(v.Versions))
	v.found.untold(partRules, "The fingerprint %s covers the names of the waters, which are not here; whoever has the club's rule sheet can compare it.", f.Fingerprint)
	if v.plan.Source == trial.Recorded {
		return nil
	}
	if f.Scheme != trial.AllocationScheme {
		v.found.untold(partDraw, "The draw is by scheme %d, which this program does not know.", f.Scheme)
		return nil
	}
	if got := trial.Digest(trial.CommitmentTo(f.Seed, f.Fingerprint)); got != f.Commitment {
		v.found.differs(partDraw, "seed and fingerprint give the commitment %s, and %s was published at registration: seed or rule sheet is another one", got, f.Commitment)
	} else {
		v.found.agrees(partDraw, "The seed is the one that the commitment fixed at registration, before anybody joined.")
	}
	return nil
}

// organisers follows the organiser's chain and holds what stands in it against the tables.
func (v *verifier) organisers() error {
	chain := newChainCheck(v, v.Facts.Trial.Public(), "the organiser's chain")
	versions, imports := 0, 0
	for e, err := range v.Ledger {
		if err != nil {
			return err
		}
		if e.Angler != "" {
			break
		}
		chain.next(e)
		if e.Public == "" {
			if e.Kind == trial.LedgerWord {
				v.words = append(v.words, "")
			}
			continue
		}
		switch e.Kind {
		case trial.LedgerState:
			v.stateEntry(e)
		case trial.LedgerProtocol:
			versions++
			v.versionEntry(e)
		case trial.LedgerWord:
			v.words = append(v.words, textIn(e.Public, "word"))
		case trial.LedgerImport:
			imports++
		}
	}
	chain.end()
	if v.plan.Source == trial.Recorded {
		v.found.untold(partRecords, "The records were imported from %s; the chain proves which files these were, not what stood in them.", counted(imports, "table", "tables"))
	}
	v.compareWords()
	return nil
}

// stateEntry holds a change of state against the table of the trial.
func (v *verifier) stateEntry(e Entry) {
	var state struct {
		To         trial.State  `json:"to"`
		Protocol   trial.Digest `json:"protocol"`
		Commitment trial.Digest `json:"commitment"`
		Plan       trial.Digest `json:"plan"`
	}
	if json.Unmarshal([]byte(e.Public), &state) != nil || state.To != trial.Registered {
		return
	}
	if state.Protocol != v.Facts.Fingerprint {
		v.found.differs(partRules, "registered was the rule sheet with fingerprint %s, trial.csv has %s", state.Protocol, v.Facts.Fingerprint)
	}
	if state.Commitment != v.Facts.Commitment {
		v.found.differs(partDraw, "registered was the commitment %s, trial.csv has %s", state.Commitment, v.Facts.Commitment)
	}
	v.planEntry(1, state.Plan)
}

// versionEntry holds a later version of the rule sheet against the table of versions.
func (v *verifier) versionEntry(e Entry) {
	var version struct {
		Version  int          `json:"version"`
		Protocol trial.Digest `json:"protocol"`
		Plan     trial.Digest `json:"plan"`
		Fields   []string     `json:"fields"`
		Reason   string       `json:"reason"`
	}
	if err := json.Unmarshal([]byte(e.Public), &version); err != nil {
		v.found.differs(partRules, "entry %d of the organiser's chain cannot be read: %v", e.N, err)
		return
	}
	if version.Version < 1 || version.Version > len(v.Versions) {
		v.found.differs(partRules, "version %d of the rule sheet stands in the ledger and not in protocol_versions.csv", version.Version)
		return
	}
	row := v.Versions[version.Version-1]
	if row.Fingerprint != version.Protocol || !slices.Equal(row.Fields, version.Fields) || row.Reason != oneLineEnd(version.Reason) {
		v.found.differs(partRules, "version %d of the rule sheet has another fingerprint, other fields or another reason in the ledger than in protocol_versions.csv", version.Version)
	}
	v.planEntry(version.Version, version.Plan)
}

// planEntry holds the published form of a version as the ledger fixed it against the table.
func (v *verifier) planEntry(n int, plan trial.Digest) {
	if n > len(v.Versions) {
		return
	}
	switch {
	case plan.IsZero():
		v.found.untold(partRules, "The ledger does not fix what version %d of the rule sheet looks like when it is published.", n)
	case v.Versions[n-1].Plan == plan:
		v.found.agrees(partRules, "The ledger fixed it as version %d.", n)
	case v.Facts.NamesTaken:
		v.found.untold(partRules, "Names of people were taken out of version %d of the rule sheet, so that it is not as the ledger fixed it.", n)
	default:
		v.found.differs(partRules, "version %d of the rule sheet is not as the ledger fixed it when it came into force", n)
	}
}

// compareWords holds the words of draw night against the ledger.
func (v *verifier) compareWords() {
	words := make([]string, len(v.Words))
	for i, w := range v.Words {
		words[i] = w.Word
		if w.N != i+1 {
			v.found.differs(partDraw, "word %d stands at place %d of words.csv", w.N, i+1)
		}
	}
	if len(words)+len(v.words) > 0 && !reflect.DeepEqual(words, v.words) {
		v.found.differs(partDraw, "words.csv has the words %q, the ledger %q", words, v.words)
	}
}

// textIn is a text of a public part.
func textIn(public, key string) string {
	var part map[string]json.RawMessage
	var text string
	if json.Unmarshal([]byte(public), &part) == nil {
		_ = json.Unmarshal(part[key], &text) // what is no text is empty
	}
	return text
}
