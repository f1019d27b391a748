package trial

import (
	"cmp"
	"slices"
	"time"
)

// Dispute says that a member thinks a fish, or all of an outing, should not count, and why. Two other members decide, each with a
// reason, before the trial is locked and without being told which pattern was taken or what would follow. EnrolmentID is the
// record's, Kind LedgerCatch or LedgerOuting. A record is disputed once: nobody asks again until the answer pleases.
type Dispute struct {
	TrialID     ID
	ID          ID
	EnrolmentID ID
	Kind        string
	Subject     ID
	Words       string
	FiledBy     ID
	FiledAs     Role
	FiledAt     time.Time
	Decisions   []DisputeDecision
}

// DisputeDecision is what one of the two said: keep or exclude. N is 1 or 2.
type DisputeDecision struct {
	N        int
	Decision string
	Reason   string
	By       ID
	As       Role
	At       time.Time
}

// The decisions, and with them what became of a dispute: Exclude and Keep where both agreed, Disagreed where they did not and the
// record stays, Undecided while one or both are missing; locked so, the record stays.
const (
	Keep      = "keep"
	Exclude   = "exclude"
	Disagreed = "disagreed"
	Undecided = "open"
)

// deciders is how many members decide a dispute.
const deciders = 2

// Check returns the faults of a dispute as a member sends it.
func (d Dispute) Check() error {
	var f Faults
	if d.Subject.IsZero() {
		f.Add("subject", "is missing; accepted: the id of a catch or an outing")
	}
	length(&f, "words", d.Words, 10, 500)
	return f.Err("dispute.invalid", "the dispute has faults")
}

// Check returns the faults of a decision as a member sends it.
func (d DisputeDecision) Check() error {
	var f Faults
	OneOf(&f, "decision", d.Decision, Keep, Exclude)
	length(&f, "reason", d.Reason, 10, 500)
	return f.Err("dispute.invalid", "the decision has faults")
}

// Outcome says what became of the dispute.
func (d Dispute) Outcome() string {
	switch {
	case len(d.Decisions) < deciders:
		return Undecided
	case d.Decisions[0].Decision != d.Decisions[1].Decision:
		return Disagreed
	}
	return d.Decisions[0].Decision
}

// Decides returns nil when the account may decide the dispute: not whose record it is, not who typed one of its fish, not who
// filed it, and nobody twice. involved are the accounts that know which fly was taken: the angler's and those who typed.
func (d Dispute) Decides(account ID, involved []ID) error {
	switch {
	case slices.Contains(involved, account):
		return Fail(Conflict, "dispute.involved", "you know which fly was taken; two others decide")
	case d.FiledBy == account:
		return Fail(Conflict, "dispute.involved", "you filed the dispute; two others decide")
	case slices.ContainsFunc(d.Decisions, func(made DisputeDecision) bool { return made.By == account }):
		return Fail(Conflict, "dispute.decided", "you have decided; a decision stays as it is")
	case len(d.Decisions) == deciders:
		return Fail(Conflict, "dispute.decided", "two members have decided; the dispute is closed")
	}
	return nil
}

// Disputes returns nil while records may be disputed and disputes decided: in a drawn trial until it is locked.
func (t Trial) Disputes() error {
	if t.Source == Recorded {
		return Fail(Conflict, "trial.recorded", "the trial's records come from a table, and nothing of them is hidden: settle it in the table")
	}
	return t.Corrects()
}

// DisputeFacts is what those who decide are told of a record: all that was noted of it but the fly, its place on the rig and the
// arrangement, and no angler's own words, which might tell. Day is by the phone's clock.
type DisputeFacts struct {
	Day         string
	WaterType   string
	StartedLate bool
	NotLogged   *int // of an outing that has ended
	Fish        int  // of an outing: fish logged
	Reports     []DeviationKind
	Catch       *CatchFacts
}

// CatchFacts is what is told of a disputed fish. Reports, in DisputeFacts, are those that cover it.
type CatchFacts struct {
	Outcome    Outcome
	FoulHooked bool
	RigIntact  bool
	Double     bool
	Species    string
	Origin     Origin
	Length     *Measure
	NotedLate  bool
	Typed      bool // by somebody else than the angler
	Confirmed  bool // "rigged so" was said of its half
	Half       int
}

// FactsOfOuting returns what may be told of an outing.
func (r Records) FactsOfOuting(p Protocol, o Outing) DisputeFacts {
	facts := DisputeFacts{Day: o.StartedAt.Format(time.DateOnly), WaterType: o.WaterTypeAt(p, o.StartedAt, r.Deviations), StartedLate: o.StartedLate}
	if o.End != nil {
		facts.NotLogged = &o.End.NotLogged
	}
	in := map[ID]bool{}
	for _, period := range r.Periods {
		in[period.ID] = period.OutingID == o.ID
	}
	for _, c := range r.Catches {
		if in[c.PeriodID] && !c.Void {
			facts.Fish++
		}
	}
	for _, d := range r.Deviations {
		if d.OutingID == o.ID {
			facts.Reports = append(facts.Reports, d.Kind)
		}
	}
	return facts
}

// FactsOfCatch returns what may be told of a fish.
func (r Records) FactsOfCatch(p Protocol, c Catch) DisputeFacts {
	var period Period
	for _, candidate := range r.Periods {
		if candidate.ID == c.PeriodID {
			period = candidate
		}
	}
	var outing Outing
	for _, candidate := range r.Outings {
		if candidate.ID == period.OutingID {
			outing = candidate
		}
	}
	facts := DisputeFacts{Day: c.CaughtAt.Format(time.DateOnly), WaterType: outing.WaterTypeAt(p, c.CaughtAt, r.Deviations), StartedLate: outing.StartedLate}
	for _, d := range r.Deviations {
		if d.OutingID == outing.ID && (d.PeriodID.IsZero() || d.PeriodID == period.ID) && d.covers(c.CaughtAt) {
			facts.Reports = append(facts.Reports, d.Kind)
		}
	}
	facts.Catch = &CatchFacts{
		Outcome: c.Outcome, FoulHooked: c.FoulHooked, RigIntact: c.RigIntact, Double: !c.DoubleID.IsZero(), Species: c.Species, Origin: c.Origin,
		Length: c.Length, NotedLate: c.Late(p), Typed: c.NotedBy != r.Enrolment.AccountID, Confirmed: period.Confirmed, Half: period.Half,
	}
	return facts
}

// Involved returns the accounts that know which fly was taken in a record: the angler's, and those who typed one of its fish.
func (r Records) Involved(d Dispute) []ID {
	in := map[ID]bool{}
	for _, period := range r.Periods {
		in[period.ID] = period.OutingID == d.Subject
	}
	involved := []ID{r.Enrolment.AccountID}
	for _, c := range r.Catches {
		if c.ID == d.Subject || in[c.PeriodID] {
			involved = append(involved, c.NotedBy)
		}
	}
	slices.SortFunc(involved, func(a, b ID) int { return cmp.Compare(a.String(), b.String()) })
	return slices.Compact(involved)
}
