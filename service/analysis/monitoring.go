package analysis

import "evenrig/service/trial"

// Plan is what the protocol and the looks before say of this count: which look it is, and what the earlier ones gave.
// Look 0 is none of a plan's looks. Closing marks the count of a locked trial; under group_sequential it is the last look.
type Plan struct {
	Closing bool           `json:"closing"`
	Earlier []EarlierLook  `json:"earlier,omitempty"`
	Look    int            `json:"look"`
	Looks   *trial.Looks   `json:"looks,omitempty"`
	Power   float64        `json:"power"`
	Rule    trial.Stopping `json:"rule"`
}

// EarlierLook is a look that was made before: nil where it could not be judged, and where it is Withdrawn, because it counted
// an angler whose records were erased since.
type EarlierLook struct {
	Decision    trial.Decision `json:"decision"`
	Fish        int64          `json:"fish"`
	Information *float64       `json:"information,omitempty"`
	LogOdds     *float64       `json:"log_odds,omitempty"`
	N           int            `json:"n"`
	P           *float64       `json:"p,omitempty"`
	Week        string         `json:"week,omitempty"`
	Withdrawn   bool           `json:"withdrawn,omitempty"`
}

// Monitoring is the state of the planned looks and of the evidence. Information is 1/SE² of θ by the looks' method,
// Boundary the two-sided p at or below which this look stops the trial, Spent the alpha spent up to and with it; nil
// outside group_sequential. EValue is the evidence against "no difference for any angler" from the draw alone, above 0; under
// that hypothesis it reaches 1/alpha at any time with a chance of at most alpha (Ville 1939). The sequence holds θ, one for
// all anglers, at all times together with a chance of 1 - alpha; its shares are expit of its limits, 0 to 1. All nil where
// the blocks cannot give them; Evidence says more.
type Monitoring struct {
	Rule               trial.Stopping  `json:"rule"`
	Decision           trial.Decision  `json:"decision"` // empty for a fixed size
	Look               int             `json:"look"`     // which look this is, 0 for none
	Planned            int             `json:"planned"`  // looks in all, the closing one among them; 0 without a plan
	PlannedInformation *float64        `json:"planned_information"`
	Looks              []MonitoredLook `json:"looks"` // never nil: those made, this one among them
	Information        *float64        `json:"information"`
	Boundary           *float64        `json:"boundary"`
	Spent              *float64        `json:"spent"`
	EValue             *float64        `json:"e_value"`
	SequenceLow        *float64        `json:"sequence_low"`
	SequenceHigh       *float64        `json:"sequence_high"`
	SequenceShareLow   *float64        `json:"sequence_share_low"`
	SequenceShareHigh  *float64        `json:"sequence_share_high"`
	Evidence           *Evidence       `json:"evidence"`
	Adjusted           *AdjustedResult `json:"adjusted"` // nil until the looks have ended
}

// MonitoredLook is one look, judged. Fraction is of the planned information; BoundaryZ is BoundaryP on the normal scale, 0 where the
// look had nothing to spend; FutileAbove is advice: a p above it makes the smallest share unlikely to be found.
type MonitoredLook struct {
	N           int            `json:"n"`
	Week        string         `json:"week"`
	Fish        int64          `json:"fish"`
	LogOdds     *float64       `json:"log_odds"`
	P           *float64       `json:"p"`
	Information *float64       `json:"information"`
	Fraction    *float64       `json:"fraction"`
	Spent       *float64       `json:"spent"`
	BoundaryP   *float64       `json:"boundary_p"`
	BoundaryZ   *float64       `json:"boundary_z"`
	FutileAbove *float64       `json:"futile_above"`
	Decision    trial.Decision `json:"decision"`
}

// Evidence is what the finished blocks say against "no difference for any angler", three ways. Draw uses only the draw
// and so cannot be fooled by an effect of order; TwoStream and Conditional take it that the order within a block does not
// matter, which OrderP checks (small: do not read them). Threshold is 1/alpha. Path is the evidence week by week.
type Evidence struct {
	Blocks      int             `json:"blocks"` // finished ones with an analysed fish
	Threshold   float64         `json:"threshold"`
	Draw        *float64        `json:"draw"`
	TwoStream   *float64        `json:"two_stream"`
	Conditional *float64        `json:"conditional"`
	OrderP      *float64        `json:"order_p"`
	Path        []EvidencePoint `json:"path"` // never nil
}

// EvidencePoint is the evidence at the end of one week; the shares are the limits of the sequence then.
type EvidencePoint struct {
	Week              string   `json:"week"`
	Blocks            int      `json:"blocks"`
	Fish              int64    `json:"fish"`
	EValue            *float64 `json:"e_value"`
	SequenceShareLow  *float64 `json:"sequence_share_low"`
	SequenceShareHigh *float64 `json:"sequence_share_high"`
}

// AdjustedResult allows for the looks made, by the stage-wise order of outcomes (Fairbanks and Madsen 1982; Tsiatis, Rosner and
// Mehta 1984): LogOdds is median-unbiased. A plain estimate after an early stop lies too far out.
type AdjustedResult struct {
	LogOdds   float64 `json:"log_odds"`
	Low       float64 `json:"low"`
	High      float64 `json:"high"`
	P         float64 `json:"p"`
	Share     float64 `json:"share"`
	ShareLow  float64 `json:"share_low"`
	ShareHigh float64 `json:"share_high"`
}
