package trial

import (
	"fmt"
	"time"
)

// Stopping says when a trial's result may be counted before it is locked.
type Stopping string

// The stopping rules. Fixed counts once, when the trial is locked. GroupSequential counts a planned number of times, each
// against a boundary that spends part of alpha (Lan and DeMets 1983). Anytime weighs the evidence after any finished
// block, by a method that stays honest however often it is looked at.
const (
	FixedSize       Stopping = "fixed"
	GroupSequential Stopping = "group_sequential"
	Anytime         Stopping = "anytime"
)

// Looks is the plan of a group-sequential trial: how many counts in all, the closing one among them, how alpha is spent,
// and the one method that is used at each. Futility asks that each count also says when the trial is unlikely to find
// the smallest share; that advice binds nobody.
type Looks struct {
	Planned  int    `json:"planned"`
	Spending string `json:"spending"`
	Method   string `json:"method"`
	Futility bool   `json:"futility"`
}

// The accepted spending functions and methods of looks.
const (
	SpendOBrienFleming = "obrien_fleming"
	SpendPocock        = "pocock"
	LookMixedModel     = "mixed_model"
	LookCombined       = "combined"
)

// FewestAtLook is the least number of anglers with an analysed fish at which a planned look is made: below it no method
// keeps its level.
const FewestAtLook = 6

// checkStopping names the faults of the stopping rule and of what belongs to it.
func (p Protocol) checkStopping(f *Faults) {
	OneOf(f, "stopping", p.Stopping, FixedSize, GroupSequential, Anytime)
	if p.Source == Recorded && p.Stopping != FixedSize {
		f.Add("stopping", "is %q in a trial whose source is recorded; its fish are all there, accepted: %s", p.Stopping, FixedSize)
	}
	if p.EvidenceOpen && p.Stopping != Anytime {
		f.Add("evidence_open", "is true with stopping %q; the running evidence may be open only with %s", p.Stopping, Anytime)
	}
	if p.Stopping != GroupSequential {
		if p.Looks != nil {
			f.Add("looks", "is given with stopping %q; accepted: null, looks are planned only with %s", p.Stopping, GroupSequential)
		}
		return
	}
	if p.Looks == nil {
		f.Add("looks", "is missing; with stopping %s it says how many looks, their spending and their method", GroupSequential)
		return
	}
	between(f, "looks.planned", p.Looks.Planned, 2, 6, "looks")
	OneOf(f, "looks.spending", p.Looks.Spending, SpendOBrienFleming, SpendPocock)
	OneOf(f, "looks.method", p.Looks.Method, LookMixedModel, LookCombined)
	if p.MinAnglers < FewestAtLook {
		f.Add("min_anglers", "is %d; with planned looks it takes at least %d, since no method keeps its level with fewer", p.MinAnglers, FewestAtLook)
	}
}

// Look is one planned count of an open trial. It is final: what was decided stands, whatever is counted later. Fish and
// Anglers are those analysed in finished blocks. Decision is empty until its analysis is done. The numbers below it are
// null where the rule does not use them or the analysis could not give them. Withdrawn says that the look counted an angler
// whose records were erased since: its decision stands, the numbers behind it are gone.
type Look struct {
	TrialID    ID
	N          int // from 1
	Analysis   int // number of its analysis
	Checkpoint int64
	At         time.Time
	By         ID // zero: the service itself, when the look was due
	Fish       int64
	Anglers    int64
	Decision   Decision
	Withdrawn  bool

	Information *float64 // 1/SE² of θ by the looks' method
	Fraction    *float64 // of the planned information
	Spent       *float64 // alpha spent up to and with this look
	BoundaryP   *float64 // the two-sided p at or below which the look stops the trial
	P           *float64 // the look's own p
	LogOdds     *float64
	EValue      *float64 // evidence against "no difference for any angler"
	ShareLow    *float64 // confidence sequence for the share
	ShareHigh   *float64
}

// Decision is what a look says to do.
type Decision string

// The decisions. Which pattern takes more is not among them: that stays hidden until the trial is locked. StopFutile is
// advice. NoDecision: the look could not be judged, and spent nothing. Ended: all of alpha is spent, and no boundary was crossed.
const (
	GoOn       Decision = "go_on"
	Stop       Decision = "stop"
	StopFutile Decision = "stop_futile"
	NoDecision Decision = "no_decision"
	Ended      Decision = "ended"
)

// anytimePause is the least time between two looks at the evidence.
const anytimePause = 20 * time.Hour

// NextLook returns the number of the look that is due now, with the given numbers of analysed fish in finished blocks and of
// anglers who caught them; else 0 and what is waited for. Looks at the evidence may be taken once a day; planned ones at
// equal parts of max_fish, the last of them when the trial is locked. A look is due only while fish are still taken in.
func (t Trial) NextLook(p Protocol, looks []Look, fish, anglers int64, now time.Time) (n int, waits string) {
	if t.State != Open && t.State != Paused && t.State != Closed {
		return 0, fmt.Sprintf("the trial is %s", t.State)
	}
	n = len(looks) + 1
	if n > 1 {
		switch last := looks[n-2]; {
		case last.Decision == "":
			return 0, fmt.Sprintf("look %d is still being computed", last.N)
		case last.Decision == Stop || last.Decision == Ended:
			return 0, fmt.Sprintf("look %d ended the trial, so it is to be closed", last.N)
		case p.Stopping == Anytime && now.Before(last.At.Add(anytimePause)):
			return 0, fmt.Sprintf("the evidence was looked at on %s, once a day is enough", last.At.UTC().Format(time.RFC3339))
		case p.Stopping == Anytime && last.Fish == fish:
			return 0, fmt.Sprintf("no round was finished since look %d", last.N)
		}
	}
	switch p.Stopping {
	case GroupSequential:
		if n >= p.Looks.Planned {
			return 0, fmt.Sprintf("the last look, number %d, is made when the trial is locked", p.Looks.Planned)
		}
		if needed := p.FishAtLook(n); fish < needed {
			return 0, fmt.Sprintf("look %d of %d is made at %d analysed fish in finished rounds, there are %d", n, p.Looks.Planned, needed, fish)
		}
		if anglers < FewestAtLook {
			return 0, fmt.Sprintf("look %d needs %d anglers with an analysed fish, there are %d", n, FewestAtLook, anglers)
		}
	case Anytime:
		if fish == 0 {
			return 0, "no round with an analysed fish is finished"
		}
	default:
		return 0, fmt.Sprintf("the stopping rule is %s", p.Stopping)
	}
	return n, ""
}

// LookNotDue is the answer to who asks for a look too early.
func LookNotDue(waits string) error {
	return Fail(Conflict, "look.not_due", "no look is due: %s; the running effect stays hidden until the trial is locked", waits)
}

// FishAtLook is the number of analysed fish in finished blocks from which planned look n is due.
func (p Protocol) FishAtLook(n int) int64 {
	return (int64(p.MaxFish)*int64(n) + int64(p.Looks.Planned) - 1) / int64(p.Looks.Planned)
}

// Shown returns the look as members see it: while the running effect is hidden without the numbers behind its decision,
// which all follow from what the fish took, and without evidence unless the protocol opens it.
func (l Look) Shown(t Trial, p Protocol) Look {
	if !t.Hidden() {
		return l
	}
	l.Information, l.Fraction, l.Spent, l.BoundaryP, l.P, l.LogOdds = nil, nil, nil, nil, nil, nil
	if !p.EvidenceOpen {
		l.EValue, l.ShareLow, l.ShareHigh = nil, nil, nil
	}
	return l
}
