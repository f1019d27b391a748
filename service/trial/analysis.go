package trial

import (
	"encoding/json"
	"time"
)

// Analysis is one run of the pooled analysis on one checkpoint. Input and Result are stored as they were computed, byte
// for byte, until an angler whom they count has the records erased: then neither is kept.
type Analysis struct {
	TrialID         ID
	N               int
	State           AnalysisState
	Checkpoint      int64
	RequestedAt     time.Time
	RequestedBy     ID
	FinishedAt      *time.Time
	WithdrawnAt     *time.Time
	ProtocolVersion int
	ProgramVersion  string
	Settings        json.RawMessage
	Fingerprint     Digest
	Input           []byte
	Result          []byte
	Failure         string
}

// AnalysisState is where an analysis stands.
type AnalysisState string

// The states of an analysis.
const (
	Queued    AnalysisState = "queued"
	Done      AnalysisState = "done"
	Failed    AnalysisState = "failed"
	Withdrawn AnalysisState = "withdrawn" // it counted an angler whose records were erased since
)

// Stands reports whether the analysis is computed or is going to be.
func (a Analysis) Stands() bool { return a.State == Queued || a.State == Done }

// Analyses returns nil when an analysis may be asked for: in a recorded trial at any time after opening, in a drawn one
// once it is locked, since before that its running effect is hidden.
func (t Trial) Analyses() error {
	switch {
	case t.State == Locked || t.State == Published:
		return nil
	case t.Source == Recorded && (t.State == Open || t.State == Paused || t.State == Closed):
		return nil
	}
	return LookNotDue("the trial is " + string(t.State))
}
