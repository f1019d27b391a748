package trial

import "cmp"

// CatchSubmission is one valid catch on its way into the store: who sends it, whether he may keep nobody's records but his own,
// the protocol it was checked against, its record with every default filled in, and its ledger parts. Swap asks how far the swap
// rule has come in its period.
type CatchSubmission struct {
	Account  ID
	OwnOnly  bool
	Swap     bool
	Protocol *Protocol
	Catch    Catch
	Parts    Parts
}

// CatchOutcome says what became of a submitted catch: created with its receipt, or a replay (Created false) with the
// current state and the first receipt, or Err. NotedBy is ByAngler or ByHelper. Swap is what the submission asked for, with the catch counted,
// as of when it was received.
type CatchOutcome struct {
	Created bool
	Swap    *SwapState
	Catch   Catch
	NotedBy string
	Receipt Receipt
	Err     error
}

// Standing is what the store knows, under the lock of the enrolment's chain, when it settles a submission. Stored is
// the catch that already has the submission's id, if any, StoredAccount its angler (zero when erased, and for a guest). Period,
// Enrolment and Deviations are those of the submission's period; Period is nil when there is none.
type Standing struct {
	Trial         Trial
	Enrolment     Enrolment
	Period        *Period
	Deviations    []Deviation
	Stored        *Catch
	StoredAccount ID
	Erased        bool
}

// Settle decides what becomes of a submission. It returns the catch to insert, or replay true when the stored catch is
// the same record sent again, or an error: Gone for an erased record, Conflict for an id that carries other content or
// is somebody else's, NotFound for a period that is not the sender's, Invalid for a fly that does not fit the
// arrangement, Conflict for what happened outside the trial's time.
func (s CatchSubmission) Settle(now Standing) (insert Catch, replay bool, err error) {
	c := s.Catch
	switch {
	case now.Erased:
		return Catch{}, false, Fail(Gone, "record.erased", "the record %s was erased on its angler's wish", c.ID)
	case now.Stored != nil && (now.StoredAccount == s.Account || now.Stored.NotedBy == s.Account) && now.Stored.SentDigest == c.SentDigest:
		return Catch{}, true, nil
	case now.Stored != nil:
		return Catch{}, false, Fail(Conflict, "record.conflict", "the id %s already stands for another record; a correction is sent as an amendment, a new fish under a new id", c.ID)
	case now.Period == nil || s.Account.IsZero() || now.Enrolment.AccountID != s.Account && (s.OwnOnly || !now.Enrolment.MayBeNotedBy(s.Account)):
		return Catch{}, false, Unknown("period")
	case now.Enrolment.ErasedAt != nil:
		return Catch{}, false, Fail(Gone, "record.erased", "the enrolment was erased")
	}
	if err := cmp.Or(now.Trial.Takes(c.CaughtAt), now.Enrolment.Takes(c.CaughtAt)); err != nil {
		return Catch{}, false, err
	}
	if err := c.Agrees(*s.Protocol, now.Period.ArrangementAt(c.CaughtAt, now.Deviations)); err != nil {
		return Catch{}, false, err
	}
	c.EnrolmentID = now.Enrolment.ID
	c.Version = 1
	c.AfterLock = now.Trial.State == Locked || now.Trial.State == Published
	return c, false, nil
}
