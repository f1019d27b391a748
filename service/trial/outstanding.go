package trial

import (
	"context"
	"time"
)

// Outstanding is what may still be on its way from one angler: Carried are the units that were handed out and neither fished nor
// lost, OpenOutings the outings without an end, since OpenSince at the earliest, Slips the slips printed for him that no round was
// drawn by, CardOut whether a guest's card was not typed in yet. LastHeard is when anything of his last arrived, nil for nothing.
type Outstanding struct {
	EnrolmentID ID
	Pseudonym   string
	Name        string
	Guest       bool
	Left        bool
	Carried     int
	OpenOutings int
	OpenSince   *time.Time
	Slips       int
	CardOut     bool
	LastHeard   *time.Time
}

// Waits reports whether something of the angler's is known to be missing. Units that a phone carries are not: nobody has to fish them.
func (o Outstanding) Waits() bool { return o.OpenOutings > 0 || o.CardOut }

// LedgerCardsIn is the kind of entry by which the organiser says that every card is in.
const LedgerCardsIn = "cards_in"

// CardsIn is the organiser's word that every paper card of a trial was handed in. It is given once.
type CardsIn struct {
	TrialID ID
	At      time.Time
	By      ID
	Reason  string
}

// DeclareCardsIn returns nil when the organiser may say, for the given reason, that every card is in: once the trial is closed, since
// only then no card can be begun any more.
func (t Trial) DeclareCardsIn(reason string) error {
	var f Faults
	length(&f, "reason", reason, 10, 500)
	if err := f.Err("trial.reason", "the reason has a fault"); err != nil {
		return err
	}
	if t.Source != Drawn || t.State != Closed {
		return Fail(Conflict, "trial.state", "the trial is %s, its source %s; that all cards are in is said of a drawn trial that is closed and not locked yet", t.State, t.Source)
	}
	return nil
}

// OutstandingReadTx is the part of ReadTx about what has not arrived yet.
type OutstandingReadTx interface {
	// OutstandingOf returns what may be on its way from each angler who was not erased, in the order of joining.
	OutstandingOf(ctx context.Context, trial ID) ([]Outstanding, error)
	// CardsInOf returns the word that every card is in, nil where it was not given.
	CardsInOf(ctx context.Context, trial ID) (*CardsIn, error)
}

// OutstandingTx is the part of Tx about it.
type OutstandingTx interface {
	InsertCardsIn(ctx context.Context, c CardsIn) error
}
