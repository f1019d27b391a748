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

// EarlierLook is a look that was made before: nil where it could not be judged.
type EarlierLook struct {
	Decision    trial.Decision `json:"decision"`
	Fish        int64          `json:"fish"`
	Information *float64       `json:"information,omitempty"`
	LogOdds     *float64       `json:"log_odds,omitempty"`
	N           int            `json:"n"`
	P           *float64       `json:"p,omitempty"`
	Week        string         `json:"week,omitempty"`
}

// Monitoring is the state of the planned looks and of the evidence.
type Monitoring struct {
	Rule     trial.Stopping `json:"rule"`
	Decision trial.Decision `json:"decision"` // empty for a fixed size
}
