package report

import (
	"time"

	"evenrig/service/trial"
)

// About is what a report says about a trial beside its result. Everything is optional: what is absent is not mentioned,
// so that a lone catch table gives a whole page. Names of people and of waters have no place in it.
type About struct {
	Title string // heading where there is no protocol, for instance a file's name
	Club  string

	Protocol            *trial.Protocol
	ProtocolVersion     int
	ProtocolFingerprint string // SHA-256 of the protocol's canonical JSON, hexadecimal
	RuleChanges         []RuleChange

	Effort *trial.Effort
	Dates  []Dated // in order: registered, first outing, closed, locked, counted

	Draw       Draw
	Checkpoint string // the trial's data version that was analysed
	Links      []Link // result as JSON, catches as CSV, rule sheet

	Cautions []trial.Caution // nil: the protocol's, without a protocol the usual ones
}

// RuleChange is an amendment of the protocol.
type RuleChange struct {
	Version int
	At      time.Time
	Reason  string
}

// Dated is one day of a trial's life: "locked", 2026-10-04.
type Dated struct {
	What string
	At   time.Time
}

// Link is an address that belongs to the result; Href may be relative.
type Link struct {
	Text string
	Href string
}

// Draw is what a sceptic needs to recompute the draw: the commitment that was published at registration and, once the
// trial is locked, the seed (both hexadecimal) and the members' words. UnitsByCoin counts units that a phone without
// carried rounds, or an angler, drew by coin; UnitsByPaper those from sealed slips.
type Draw struct {
	Commitment   string
	Seed         string
	Words        []string
	UnitsByCoin  int64
	UnitsByPaper int64
}

// The stop and caution temperatures of the usual cautions, degrees Celsius, where no protocol sets its own (DAERA and
// Natural Resources Wales guidance for trout and salmon).
const (
	usualCautionC = 18
	usualStopC    = 20
)

func (a About) cautions() []trial.Caution {
	switch {
	case a.Cautions != nil:
		return a.Cautions
	case a.Protocol != nil && len(a.Protocol.Welfare.Cautions) > 0:
		return a.Protocol.Welfare.Cautions
	case a.Protocol != nil && a.Protocol.Welfare.StopC > 0:
		return trial.Cautions(a.Protocol.Welfare.CautionC, a.Protocol.Welfare.StopC)
	default:
		return trial.Cautions(usualCautionC, usualStopC)
	}
}

// names are the words by which a page calls the two patterns and the two positions.
type names struct {
	Test, Control string // a pattern's name, else "pattern A"
	Lower, Upper  string // "point", "dropper"
}

func (a About) names(testCode, controlCode, lowerWord, upperWord string) names {
	n := names{
		Test: patternName(testCode, "the test pattern"), Control: patternName(controlCode, "the control pattern"),
		Lower: lowerWord, Upper: upperWord,
	}
	if a.Protocol != nil {
		for _, p := range a.Protocol.Patterns {
			switch {
			case p.Name == "":
			case p.Part == trial.Test:
				n.Test = p.Name
			case p.Part == trial.Control:
				n.Control = p.Name
			}
		}
		if a.Protocol.LowerWord != "" && a.Protocol.UpperWord != "" {
			n.Lower, n.Upper = a.Protocol.LowerWord, a.Protocol.UpperWord
		}
	}
	if n.Lower == "" || n.Upper == "" {
		n.Lower, n.Upper = "lower fly", "upper fly"
	}
	return n
}

func patternName(code, fallback string) string {
	if code == "" {
		return fallback
	}
	return "pattern " + code
}
