package analysis

import (
	"cmp"
	"encoding/json"
	"fmt"

	"evenrig/service/trial"
)

// InputOf is what a protocol says of an analysis: everything but the fish. It is the one way from a rule sheet to an input.
func InputOf(p trial.Protocol) Input {
	in := Input{
		Design: p.Design, Test: p.Code(trial.Test), Control: p.Code(trial.Control), LowerWord: p.LowerWord, UpperWord: p.UpperWord,
		SmallestShare: float64(p.SmallestShare) / 100, Alpha: p.Alpha, Source: p.Source, Choices: p.Draw, Subgroups: p.Subgroups,
	}
	for _, pattern := range p.Patterns {
		switch pattern.Part {
		case trial.Test:
			in.TestName = pattern.Name
		case trial.Control:
			in.ControlName = pattern.Name
		}
	}
	return in
}

// stored is what the canonical form of an input holds beside what the protocol says.
type stored struct {
	Tallies   []trial.Tally      `json:"tallies"`
	Effort    trial.Effort       `json:"effort"`
	Draw      []trial.DrawnBlock `json:"draw"`
	Plan      *Plan              `json:"plan"`
	NotLogged []AnglerCount      `json:"not_logged"`
	Left      []string           `json:"left"`
}

// ReadInput returns the input whose canonical form was stored (see Canonical), under the protocol that it was counted by.
func ReadInput(p trial.Protocol, canonical []byte) (Input, error) {
	var s stored
	if err := json.Unmarshal(canonical, &s); err != nil {
		return Input{}, fmt.Errorf("decode stored counts: %w", err)
	}
	in := InputOf(p)
	in.Tallies, in.Effort, in.Draw, in.Plan, in.NotLogged, in.Left = s.Tallies, s.Effort, s.Draw, s.Plan, s.NotLogged, s.Left
	return in, nil
}

// test and control are what the patterns are called in sentences: their names, else their codes.
func (in Input) test() string    { return cmp.Or(in.TestName, in.Test) }
func (in Input) control() string { return cmp.Or(in.ControlName, in.Control) }

// testOnce and controlOnce are what they are called where a sentence first meets them: with the code that tables carry.
func (in Input) testOnce() string    { return withCode(in.TestName, in.Test) }
func (in Input) controlOnce() string { return withCode(in.ControlName, in.Control) }

func withCode(name, code string) string {
	if name == "" || name == code {
		return code
	}
	return name + " (" + code + ")"
}
