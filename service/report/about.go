package report

import (
	"time"

	"evenrig/service/analysis"
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

	Questions []Question          // scrutineers' questions, in order
	Disputes  []Dispute           // fish and outings whose place in the trial was disputed
	Withdrawn []WithdrawnAnalysis // results that were taken back because somebody's records were erased
	Overrides []Override          // fishing on at the stop temperature
	Flies     []FlyPack
	Helpers   Helpers
	Halves    []Half // how long every half was fished, in the order of the records

	Guesses   []int  // what anglers guessed beforehand, of 100; nil until they may be told
	Remarks   string // the organiser's own words, beside the numbers and never in them
	Funding   string // who pays; empty: not stated
	Conflicts string // who sells or tied the flies; empty: not stated

	Lineup *analysis.Lineup // nil without a draw

	Cautions []trial.Caution // nil: the protocol's, without a protocol the usual ones
}

// Question is what a scrutineer asked of a locked trial, with the organiser's answer; an empty Answer is none.
type Question struct {
	N            int
	Asked        time.Time
	Text, Answer string
}

// Dispute is a fish or an outing of which a member said that it should not count. What is "a fish" or "an outing"; Outcome is
// keep or exclude where both deciders agreed, disagreed (then it stays) or open; Reasons are theirs.
type Dispute struct {
	What, Outcome string
	Reasons       []string
}

// WithdrawnAnalysis is an analysis whose numbers were dropped, and why.
type WithdrawnAnalysis struct {
	N   int
	At  time.Time
	Why string
}

// Override lets fishing go on although the water had reached the stop temperature; a zero At is not told.
type Override struct {
	At     time.Time
	Reason string
}

// FlyPack is what is known of the flies of one batch: by whom they were tied and looked over, in words that name nobody, and how
// many were handed out, lost, and tied anew at the water. It is by batch, never by fish taken.
type FlyPack struct {
	Batch, TiedBy, Hook, Inspected string
	Issued, Lost, Retied           int64
}

// Helpers counts what did not come from an angler's own phone. CardsIn is why the organiser said that every paper card was in before
// the time for cards was over, empty where nobody did.
type Helpers struct {
	CardsIn       string
	Guests        int64 // anglers for a day, on paper
	TypedByOthers int64 // fish that somebody else typed
	PaperCards    int64
}

// Half is one period as it was fished: whose, in which week, for how many minutes and fish, how it ended in plain words, and
// whether the swap rule ended it.
type Half struct {
	Angler  string
	Week    string
	Minutes float64
	Fish    int
	Ended   string
	ByRule  bool
}

// RuleChange is an amendment of the protocol; Fields are what it changed.
type RuleChange struct {
	Version int
	At      time.Time
	Reason  string
	Fields  []string
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
// trial is locked, the seed (both hexadecimal) and the members' words. Units counts those that the service worked out,
// UnitsByCoin those that a phone without carried rounds, or an angler, drew by coin, UnitsByPaper those from sealed slips, and
// UnitsLost those of a lost phone, never dealt again. Slips says who printed the slips, in words that name nobody.
type Draw struct {
	Commitment   string
	Seed         string
	Words        []string
	Units        int64
	UnitsByCoin  int64
	UnitsByPaper int64
	UnitsLost    int64
	Slips        string
}

// OnPaper reports whether all of the draw was on slips of paper, as a kit's is.
func (d Draw) OnPaper() bool { return d.UnitsByPaper > 0 && d.Units == 0 }

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
