package trial

import (
	"slices"
	"time"
)

// FlyBatch is flies that were tied together: by whom, in a pseudonym or words that are no account, on which lot of hooks and of
// which materials. A member who did not tie them looks them over and signs.
type FlyBatch struct {
	TrialID     ID
	N           int
	Batch       string
	TiedBy      string
	HookLot     string
	Materials   string
	MadeBy      ID
	MadeAt      time.Time
	InspectedBy ID
	InspectedAt *time.Time
	Remarks     string
}

// FlyEnvelope is an envelope of a batch, under a random code that tells nothing of what is in it: PerPattern flies of each of the two
// patterns, numbered from 1.
type FlyEnvelope struct {
	TrialID    ID
	Code       string
	Batch      int
	PerPattern int
}

// FlyMoveKind says what happened to an envelope.
type FlyMoveKind string

// An envelope is issued to an angler, topped up by as many flies of one pattern as of the other, returned with what is left in it, or
// lost as a whole. None of it tells one pattern from the other: how many of each are gone could tell which fish took.
const (
	Issued   FlyMoveKind = "issued"
	ToppedUp FlyMoveKind = "topped_up"
	Returned FlyMoveKind = "returned"
	LostAll  FlyMoveKind = "lost"
)

// FlyMove is one thing that happened to an envelope. EnrolmentID is whom it was issued to. Flies are, topped up, those of each
// pattern, returned, all that came back.
type FlyMove struct {
	TrialID     ID
	N           int
	Code        string
	Kind        FlyMoveKind
	EnrolmentID ID
	Flies       int
	At          time.Time
	By          ID
	Note        string
}

// FlyLoss is a report that a fly was lost at the water, and the number of the one that took its place, 0 where it is not known. Of
// which pattern it was nothing is said.
type FlyLoss struct {
	EnrolmentID ID
	At          time.Time
	Fly         int
}

// FlyStock is all that is known of a trial's flies.
type FlyStock struct {
	Batches   []FlyBatch
	Envelopes []FlyEnvelope
	Moves     []FlyMove // in order
	Losses    []FlyLoss
}

// LedgerFlies is the kind of entry about flies.
const LedgerFlies = "flies"

// What flies may be counted to.
const (
	MostEnvelopes  = 60
	mostPerPattern = 20
	mostMoves      = 200
)

// Check returns the faults of a batch with so many envelopes, each with so many flies of either pattern.
func (b FlyBatch) Check(envelopes, perPattern int) error {
	var f Faults
	length(&f, "batch", b.Batch, 1, 80)
	length(&f, "tied_by", b.TiedBy, 1, 80)
	length(&f, "hook_lot", b.HookLot, 0, 80)
	length(&f, "materials", b.Materials, 0, 2000)
	between(&f, "envelopes", envelopes, 1, MostEnvelopes, "envelopes")
	between(&f, "per_pattern", perPattern, 1, mostPerPattern, "flies of each pattern")
	return f.Err("flies.invalid", "the batch has faults")
}

// Inspect returns nil when a member may sign a batch as looked over: one who did not tie it and did not enter it either, once.
func (b FlyBatch) Inspect(by ID, notTyer bool, remarks string) error {
	if b.InspectedAt != nil {
		return Fail(Conflict, "flies.inspected", "the batch was looked over at %s; it is signed once", b.InspectedAt.UTC().Format(time.RFC3339))
	}
	if by == b.MadeBy {
		return Fail(Conflict, "flies.own", "you entered this batch; it is looked over by another member, who did not tie it")
	}
	var f Faults
	if !notTyer {
		f.Add("not_tyer", "is not ticked; a batch is looked over by a member who did not tie it")
	}
	length(&f, "remarks", remarks, 0, 500)
	return f.Err("flies.invalid", "the inspection has faults")
}

// KeepsFlies returns nil while flies may be entered and moved.
func (t Trial) KeepsFlies() error {
	if t.Source == Recorded || !slices.Contains([]State{Registered, Open, Paused, Closed}, t.State) {
		return Fail(Conflict, "trial.state", "the trial is %s; flies are kept from registration until locking, in a trial whose source is drawn", t.State)
	}
	return nil
}

// EnvelopeState is where an envelope is after its moves: with whom and since when, how many flies of each pattern were put into it
// in all, how many came back, and how many times a fly was reported lost, and replaced by a numbered one, by who had it.
type EnvelopeState struct {
	State      string // stock, issued or lost
	Holder     ID
	Since      *time.Time
	PerPattern int
	Back       int
	Lost       int
	Retied     int
}

// Of returns where an envelope is.
func (s FlyStock) Of(e FlyEnvelope) EnvelopeState {
	now := EnvelopeState{State: "stock", PerPattern: e.PerPattern}
	count := func(until time.Time) {
		for _, l := range s.Losses {
			if now.State != "issued" || l.EnrolmentID != now.Holder || l.At.Before(*now.Since) || !until.IsZero() && !l.At.Before(until) {
				continue
			}
			if now.Lost++; l.Fly != 0 {
				now.Retied++
			}
		}
	}
	for _, m := range s.Moves {
		if m.Code != e.Code {
			continue
		}
		switch m.Kind {
		case Issued:
			now.State, now.Holder, now.Since = "issued", m.EnrolmentID, &m.At
		case ToppedUp:
			now.PerPattern += m.Flies
		case Returned:
			count(m.At)
			now.State, now.Holder, now.Since, now.Back = "stock", ID{}, nil, now.Back+m.Flies
		case LostAll:
			count(m.At)
			now.State, now.Holder, now.Since = "lost", ID{}, nil
		}
	}
	count(time.Time{})
	return now
}

// Next returns the faults of a move of an envelope, and what the order of moves does not allow.
func (s FlyStock) Next(e FlyEnvelope, m FlyMove, now time.Time) error {
	var f Faults
	OneOf(&f, "kind", m.Kind, Issued, ToppedUp, Returned, LostAll)
	checkTime(&f, "at", m.At, now)
	length(&f, "note", m.Note, 0, 500)
	is := s.Of(e)
	switch {
	case (m.Kind == Issued) != !m.EnrolmentID.IsZero():
		f.Add("enrolment", "goes with issued alone, and is needed there")
	case m.Kind == ToppedUp:
		between(&f, "flies", m.Flies, 1, mostPerPattern, "flies of each pattern")
	case m.Kind == Returned:
		between(&f, "flies", m.Flies, 0, 2*is.PerPattern, "flies in all")
	case m.Flies != 0:
		f.Add("flies", "is %d; accepted: none with %s", m.Flies, m.Kind)
	}
	if err := f.Err("flies.invalid", "the move has faults"); err != nil {
		return err
	}
	last := time.Time{}
	for _, before := range s.Moves {
		if before.Code == e.Code {
			last = before.At
		}
	}
	switch {
	case m.At.Before(last):
		return Fail(Conflict, "flies.order", "the envelope was last moved at %s; this would be before it", last.UTC().Format(time.RFC3339))
	case is.State == "lost", m.Kind == Issued && is.State != "stock", m.Kind == Returned && is.State != "issued":
		return Fail(Conflict, "flies.order", "the envelope is %s and cannot be %s", map[string]string{"stock": "in stock", "issued": "issued", "lost": "lost"}[is.State], m.Kind)
	case len(s.Moves) >= mostMoves*max(1, len(s.Envelopes)):
		return Fail(Conflict, "flies.order", "the trial's envelopes were moved too often to keep account of")
	}
	return nil
}

// EnvelopeCode turns 8 random bytes into a code like 7K3M-0QVD, in PseudonymAlphabet.
func EnvelopeCode(random [8]byte) string {
	first, second := Pseudonym([6]byte(random[:6])), Pseudonym([6]byte{random[6], random[7]})
	return first[:4] + "-" + first[4:] + second[:2]
}

// checkFly records a fault unless a number is 0 or one that a fly in an envelope can have.
func checkFly(f *Faults, field string, number int) {
	if number != 0 {
		between(f, field, number, 1, mostPerPattern*4, "as the fly is numbered")
	}
}
