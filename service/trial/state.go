package trial

import (
	"slices"
	"time"
)

// State is where a trial stands in its life.
type State string

// The states: draft → registered → open ⇄ paused → closed → locked → published, or abandoned with a reason.
const (
	Draft      State = "draft"
	Registered State = "registered"
	Open       State = "open"
	Paused     State = "paused"
	Closed     State = "closed"
	Locked     State = "locked"
	Published  State = "published"
	Abandoned  State = "abandoned"
)

// Trial is one question, tested once. Revision counts the changes of a draft's protocol. SealedSeed is the seed under a
// key outside the database; Seed is null until the trial is locked. Original is the trial that a copy was read from (see CopyOrigin),
// zero for a trial of this server.
type Trial struct {
	ID              ID
	ClubID          ID
	Title           string
	State           State
	Design          Design
	Source          Source
	Revision        int
	ProtocolVersion int
	Fingerprint     Digest
	Commitment      Digest
	Scheme          int
	SealedSeed      []byte
	Seed            *Digest
	CreatedAt       time.Time
	RegisteredAt    *time.Time
	ClosedAt        *time.Time
	LockedAt        *time.Time
	Original        ID
}

// StateChange is one step of a trial's life.
type StateChange struct {
	TrialID ID
	N       int
	At      time.Time
	By      ID
	From    State
	To      State
	Reason  string
}

var transitions = map[State][]State{
	Draft:      {Registered, Abandoned},
	Registered: {Open, Abandoned},
	Open:       {Paused, Closed, Abandoned},
	Paused:     {Open, Closed, Abandoned},
	Closed:     {Locked, Abandoned},
}

// Move returns nil when the trial may go to the wanted state at now, for the given reason. Abandoning needs a reason. A
// closed trial is locked at the earliest late_limit_h after closing, so that what was noted in time still arrives.
func (t Trial) Move(to State, reason string, p Protocol, now time.Time) error {
	if t.State == Locked && to == Published {
		return Fail(Conflict, "trial.publication", "a trial is published by asking for its package: POST its publication, with the licence")
	}
	if !slices.Contains(transitions[t.State], to) {
		return &Error{
			Kind: Conflict, Code: "trial.state", Detail: "the trial is " + string(t.State) + " and cannot become " + string(to) + "; " + next(t.State),
		}
	}
	var f Faults
	least := 0
	if to == Abandoned {
		least = 5 // the reason stays listed
	}
	length(&f, "reason", reason, least, 500)
	if err := f.Err("trial.reason", "the reason has a fault"); err != nil {
		return err
	}
	if to == Locked && t.Source == Drawn {
		earliest := t.ClosedAt.Add(time.Duration(p.OutingLimits.LateLimitH) * time.Hour)
		if now.Before(earliest) {
			return Fail(Conflict, "trial.too_early", "the trial was closed at %s; fish noted in time may still arrive, so it can be locked from %s",
				t.ClosedAt.UTC().Format(time.RFC3339), earliest.UTC().Format(time.RFC3339))
		}
	}
	return nil
}

func next(s State) string {
	after := transitions[s]
	if len(after) == 0 {
		return "nothing follows it"
	}
	text := "accepted: "
	for i, to := range after {
		if i > 0 {
			text += ", "
		}
		text += string(to)
	}
	return text
}

// Hidden reports whether the running effect is hidden: in a drawn trial from registration until it is locked. An
// abandoned trial stays hidden: its split was never meant to be read.
func (t Trial) Hidden() bool {
	return t.Source == Drawn && t.State != Draft && t.State != Locked && t.State != Published
}

// Corrects returns nil while records that stand may be corrected, ended and reported on. Locking fixes which fish are
// analysed: what arrives later is kept with its fish, but changes nothing that was there.
func (t Trial) Corrects() error {
	if t.State == Locked || t.State == Published {
		return Fail(Conflict, "trial.locked", "the trial is %s; its records can no longer be corrected, ended or reported on", t.State)
	}
	return nil
}

// Enrols returns nil when anglers may join.
func (t Trial) Enrols() error {
	switch {
	case t.Source == Recorded:
		return Fail(Conflict, "trial.recorded", "the trial's source is recorded: its anglers come from the imported table")
	case t.State != Registered && t.State != Open && t.State != Paused:
		return Fail(Conflict, "trial.state", "the trial is %s; anglers join while it is registered, open or paused", t.State)
	}
	return nil
}

// Draws returns nil when units may be fetched.
func (t Trial) Draws() error {
	if t.Source == Recorded || t.State != Open {
		return Fail(Conflict, "trial.state", "the trial is %s; units are drawn only in an open trial whose source is drawn", t.State)
	}
	return nil
}

// TakesUnits returns nil when units that were drawn elsewhere may be kept.
func (t Trial) TakesUnits() error {
	if t.Source == Recorded {
		return Fail(Conflict, "trial.recorded", "the trial's source is recorded: it has no units")
	}
	return nil
}

// clockSlack is how far a phone's clock may be wrong.
const clockSlack = 24 * time.Hour

// Takes returns nil when a record of something that happened at the given time may be saved: after registration, but
// for a clock's error. A closed or locked trial takes what happened before closing, whenever it arrives; what arrives
// after locking is kept but never analysed.
func (t Trial) Takes(at time.Time) error {
	if t.RegisteredAt != nil && at.Before(t.RegisteredAt.Add(-clockSlack)) {
		return Fail(Conflict, "trial.before", "it happened at %s, before the trial was registered at %s; earlier fish do not belong to it",
			at.UTC().Format(time.RFC3339), t.RegisteredAt.UTC().Format(time.RFC3339))
	}
	switch t.State {
	case Open, Paused:
		return nil
	case Closed, Locked, Published:
		if at.After(*t.ClosedAt) {
			return Fail(Conflict, "trial.closed", "the trial was closed at %s; only what happened before is taken", t.ClosedAt.UTC().Format(time.RFC3339))
		}
		return nil
	}
	return Fail(Conflict, "trial.state", "the trial is %s; records are taken once it is open", t.State)
}
