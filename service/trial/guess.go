package trial

import "context"

// LedgerGuess is the kind of a guess in an angler's chain. How many it says stands in the private part alone.
const LedgerGuess = "guess"

// Guess is what an angler thought beforehand: of 100 fish, how many will take the changed fly. It is given once and read by
// nobody else before the trial is published.
type Guess struct {
	EnrolmentID ID
	Pseudonym   string
	Share       int
}

// CheckGuess returns the fault of a guess.
func CheckGuess(share int) error {
	var f Faults
	between(&f, "guess", share, 0, 100, "of 100 fish")
	return f.Err("enrolment.invalid", "the guess has a fault")
}

// Guesses reports whether the trial takes guesses: while anglers may join it.
func (t Trial) Guesses() error {
	if err := t.Enrols(); err != nil {
		return Fail(Conflict, "trial.state", "the trial is %s; guesses are taken while it is registered, open or paused", t.State)
	}
	return nil
}

// GuessReadTx is the part of ReadTx about guesses.
type GuessReadTx interface {
	// GuessesOf returns the guesses of a trial's anglers, in the order of their pseudonyms.
	GuessesOf(ctx context.Context, trial ID) ([]Guess, error)
}

// GuessTx is the part of Tx about guesses.
type GuessTx interface {
	// SaveGuess keeps an enrolment's guess; one that stands stays.
	SaveGuess(ctx context.Context, trial, enrolment ID, share int) error
}
