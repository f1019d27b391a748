package trial

import (
	"context"
	"time"
)

// Store keeps everything. conduct opens transactions on it and closes them.
type Store interface {
	// InTx runs do in a read-committed transaction and commits it when do returns nil. do may run more than once (on
	// serialisation failures and deadlocks), so it has no effect outside the transaction.
	InTx(ctx context.Context, do func(ctx context.Context, tx Tx) error) error
	// InReadTx runs do on one repeatable-read, read-only snapshot.
	InReadTx(ctx context.Context, do func(ctx context.Context, tx ReadTx) error) error
	// InLongReadTx is InReadTx for what is long to read. It may run on a replica that has everything that had been committed
	// when the call began; do runs once more where that fails on the way.
	InLongReadTx(ctx context.Context, do func(ctx context.Context, tx ReadTx) error) error
	// SubmitCatches saves the catches that can be saved, in one transaction, and says of each what became of it, in the
	// order given. If the transaction fails, every outcome carries the failure and nothing was saved.
	SubmitCatches(ctx context.Context, catches []CatchSubmission) []CatchOutcome
	// Ready returns nil when the database answers and its schema is this program's.
	Ready(ctx context.Context) error
	// NoteStep notes in the queue how far the job of a trial's n-th analysis is.
	NoteStep(ctx context.Context, trial ID, n, step, steps int) error
}

// Page bounds a list: at most Limit records whose id follows After, in order of id.
type Page struct {
	After ID
	Limit int
}

// ReadTx reads one consistent state. A method for one record returns a NotFound error when there is none. Every method
// takes the trial or the club that owns what it reads.
type ReadTx interface {
	PeopleReadTx
	RecordsReadTx
	PublicationReadTx
	OwnDataReadTx
	GuessReadTx
	QuestionReadTx
	JobReadTx
	OutstandingReadTx

	TrialBy(ctx context.Context, trial ID) (Trial, error)
	TrialsOf(ctx context.Context, club ID, page Page) ([]Trial, error)
	// RegisteredTrials lists every trial of the server that was ever registered.
	RegisteredTrials(ctx context.Context) ([]ID, error)
	// TrialsMoved lists trials with a ledger head that their last checkpoint does not cover, without those that were locked, or made and
	// then abandoned, before settled.
	TrialsMoved(ctx context.Context, settled time.Time) ([]ID, error)
	// ProtocolBy returns a version's protocol and its canonical JSON.
	ProtocolBy(ctx context.Context, trial ID, version int) (Protocol, []byte, error)
	// ProtocolsOf returns every version of a registered trial's protocol, oldest first.
	ProtocolsOf(ctx context.Context, trial ID) ([]ProtocolVersion, error)
	StateChangesOf(ctx context.Context, trial ID) ([]StateChange, error)

	EnrolmentBy(ctx context.Context, trial, enrolment ID) (Enrolment, error)
	// EnrolmentOf returns the enrolment of an account, erased ones not.
	EnrolmentOf(ctx context.Context, trial, account ID) (Enrolment, error)
	EnrolmentsOf(ctx context.Context, trial ID) ([]Enrolment, error)
	PseudonymsOf(ctx context.Context, trial ID) ([]string, error)

	OutingBy(ctx context.Context, trial, outing ID) (Outing, error)
	OutingsOf(ctx context.Context, trial, enrolment ID, page Page) ([]Outing, error)
	UnitBy(ctx context.Context, trial, unit ID) (Unit, error)
	UnitsOf(ctx context.Context, trial, enrolment ID) ([]Unit, error)
	// UnitsOfTrial returns the units of every enrolment, in order of enrolment and number.
	UnitsOfTrial(ctx context.Context, trial ID) ([]Unit, error)
	PeriodBy(ctx context.Context, trial, period ID) (Period, error)
	PeriodsOf(ctx context.Context, trial, outing ID) ([]Period, error)
	PeriodsOfUnit(ctx context.Context, trial, unit ID) ([]Period, error)
	TemperatureBy(ctx context.Context, trial, temperature ID) (Temperature, error)
	// TemperaturesOf returns an enrolment's readings of the water's temperature, in the order of their times.
	TemperaturesOf(ctx context.Context, trial, enrolment ID) ([]Temperature, error)
	// DisputesOf returns a trial's disputes in the order in which they were filed, DisputeAbout the one about a record.
	DisputesOf(ctx context.Context, trial ID) ([]Dispute, error)
	DisputeBy(ctx context.Context, trial, dispute ID) (Dispute, error)
	DisputeAbout(ctx context.Context, trial, subject ID) (Dispute, error)
	// WelfareOverridesOf returns a trial's overrides in order of number.
	WelfareOverridesOf(ctx context.Context, trial ID) ([]WelfareOverride, error)
	DeviationBy(ctx context.Context, trial, deviation ID) (Deviation, error)
	DeviationsOf(ctx context.Context, trial, outing ID) ([]Deviation, error)
	CatchBy(ctx context.Context, trial, catch ID) (Catch, error)
	CatchesOf(ctx context.Context, trial, enrolment ID, page Page) ([]Catch, error)
	CatchesOfPeriod(ctx context.Context, trial, period ID) ([]Catch, error)
	AmendmentsOf(ctx context.Context, trial, subject ID) ([]Amendment, error)
	// RecordsOf returns all records of an enrolment.
	RecordsOf(ctx context.Context, trial, enrolment ID) (Records, error)

	// CountsOf returns, for every enrolment of the trial in order of pseudonym, its cached count and the head of its
	// chain; a count is current when CountedAt equals the head's N.
	CountsOf(ctx context.Context, trial ID) ([]EnrolmentCount, error)
	// AnalysedLately returns how many fish would be analysed, as each enrolment was last counted.
	AnalysedLately(ctx context.Context, trial ID) (int64, error)
	HeadsOf(ctx context.Context, trial ID) ([]Head, error)
	EntriesOf(ctx context.Context, trial, chain ID) ([]LedgerEntry, error)
	// PartsOf returns the parts of a chain's entries by entry number; erased ones are missing.
	PartsOf(ctx context.Context, trial, chain ID) (map[int64]Parts, error)
	LastCheckpoint(ctx context.Context, trial ID) (*Checkpoint, error)
	CheckpointsOf(ctx context.Context, trial ID) ([]Checkpoint, error)
	CheckpointMovesOf(ctx context.Context, trial ID) ([]CheckpointMove, error)

	AnalysisBy(ctx context.Context, trial ID, n int) (Analysis, error)
	// AnalysisStateBy is AnalysisBy without input and result, and AnalysesOf lists them so.
	AnalysisStateBy(ctx context.Context, trial ID, n int) (Analysis, error)
	AnalysesOf(ctx context.Context, trial ID) ([]Analysis, error)
	ImportBy(ctx context.Context, trial ID, file Digest) (Import, error)
	LooksOf(ctx context.Context, trial ID) ([]Look, error)
	// SealedSeed returns one trial whose draw is sealed still, and its seed; the zero id when there is none.
	SealedSeed(ctx context.Context) (trial ID, sealed []byte, err error)
	// TrialsWatched lists drawn trials that take in fish and whose stopping rule is not fixed.
	TrialsWatched(ctx context.Context) ([]ID, error)
}

// Tx reads and writes. Locks are taken in one order: trial, ledger heads by chain id, records.
type Tx interface {
	ReadTx

	PeopleTx
	RecordsTx
	QuestionTx
	OutstandingTx
	PublicationTx
	GuessTx
	JobTx

	InsertTrial(ctx context.Context, t Trial) error
	// LockTrial returns the trial, locked against other changes of its state until the transaction ends.
	LockTrial(ctx context.Context, trial ID) (Trial, error)
	UpdateTrial(ctx context.Context, t Trial) error
	// SaveProtocol inserts a version's protocol, or replaces the one of a draft.
	SaveProtocol(ctx context.Context, trial ID, version int, p Protocol, canonical []byte) error
	// InsertVersion adds a later version of a registered protocol.
	InsertVersion(ctx context.Context, v ProtocolVersion) error
	InsertStateChange(ctx context.Context, c StateChange) error

	InsertEnrolment(ctx context.Context, e Enrolment) error
	InsertOuting(ctx context.Context, o Outing) error
	EndOuting(ctx context.Context, trial, outing ID, end OutingEnd) error
	// UpdateOuting saves what a correction may change of an outing and of its end, which must stand already to be changed.
	UpdateOuting(ctx context.Context, o Outing) error
	InsertTemperature(ctx context.Context, r Temperature) error
	InsertDispute(ctx context.Context, d Dispute) error
	InsertDecision(ctx context.Context, trial, dispute ID, d DisputeDecision) error
	// ExcludeDisputed marks the record of a dispute as left out by agreement.
	ExcludeDisputed(ctx context.Context, d Dispute) error
	// InsertWelfareOverride saves an override under the trial's next number, which it returns.
	InsertWelfareOverride(ctx context.Context, w WelfareOverride) (int, error)
	InsertUnit(ctx context.Context, u Unit) error
	OpenUnit(ctx context.Context, trial, unit ID, at time.Time) error
	InsertPeriod(ctx context.Context, p Period) error
	EndPeriod(ctx context.Context, trial, period ID, end PeriodEnd) error
	// UpdatePeriod saves what a correction may change: Fished, Confirmed, StartedAt and Version.
	UpdatePeriod(ctx context.Context, p Period) error
	InsertDeviation(ctx context.Context, d Deviation) error
	// UpdateCatch saves what a correction may change, all but ids, NotedBy, ReceivedAt, SentDigest and AfterLock.
	UpdateCatch(ctx context.Context, c Catch) error
	InsertAmendment(ctx context.Context, a Amendment) error
	// LeaveEnrolment notes that the angler stopped taking part; the records stay.
	LeaveEnrolment(ctx context.Context, trial, enrolment ID, at time.Time) error
	// EraseEnrolment removes the account, pseudonym, code, consent and records of an enrolment and its ledger parts. Public
	// ids stay as tombstones, so that a replay is answered Gone, and the numbers of outings and fish.
	EraseEnrolment(ctx context.Context, trial, enrolment ID, at time.Time) error
	SaveCount(ctx context.Context, trial ID, c EnrolmentCount) error

	// LockImports lets the trial's tables be taken in one after another. It holds up nothing else of the trial.
	LockImports(ctx context.Context, trial ID) error
	// InsertRecorded saves records of a table. An enrolment, outing or period that is there already stays as it is; a fish is
	// never met twice.
	InsertRecorded(ctx context.Context, records TableRecords) error
	InsertImport(ctx context.Context, i Import) error

	// LockHead returns a chain's head, locked until the transaction ends.
	LockHead(ctx context.Context, trial, chain ID) (Head, error)
	// LockHeads locks every head of the trial, in order of chain id.
	LockHeads(ctx context.Context, trial ID) ([]Head, error)
	// InsertHead starts a chain.
	InsertHead(ctx context.Context, h Head) error
	// Append adds an entry and its parts and moves the chain's head to it.
	Append(ctx context.Context, e LedgerEntry, parts Parts) error
	// InsertCheckpoint saves a checkpoint over the given heads, and which of them moved since the one before.
	InsertCheckpoint(ctx context.Context, c Checkpoint, heads []Head) error

	// EnqueueAnalysis saves a queued analysis under the trial's next number, unless one for the same checkpoint stands
	// already, and enqueues its job in the same transaction. It returns the analysis that stands.
	EnqueueAnalysis(ctx context.Context, a Analysis) (Analysis, error)
	// FinishAnalysis saves what came of a queued analysis. It reports false, and changes nothing, when the analysis is not
	// queued any more: it was finished or withdrawn meanwhile.
	FinishAnalysis(ctx context.Context, a Analysis) (bool, error)
	// WithdrawAnalyses withdraws every analysis that counts the enrolment, whatever its state: input and result are dropped,
	// a look that it was to decide is decided as NoDecision, and of one decided before nothing stays but the decision.
	WithdrawAnalyses(ctx context.Context, e Enrolment, at time.Time) error
	// InsertLook saves a look that is to be decided by its analysis; DecideLook saves what was decided, once.
	InsertLook(ctx context.Context, l Look) error
	DecideLook(ctx context.Context, l Look) error
}

// EnrolmentCount is an enrolment's cached count, and how far its chain has come since. An erased one has no tallies, and an
// effort that only says how many fish were erased.
type EnrolmentCount struct {
	EnrolmentID ID
	Pseudonym   string
	Erased      bool
	Left        bool // and let the records stay
	ErasedFish  int64
	HeadN       int64
	CountedAt   int64
	Tallies     []Tally
	Effort      Effort
}

// TableRecords are records of a recorded trial as rows of a table bring them, of any number of anglers. Of outings and periods they hold
// what a table may say: when they began, of a period its block, number and arrangement.
type TableRecords struct {
	Enrolments []Enrolment
	Outings    []Outing
	Periods    []Period
	Catches    []Catch
}

// Import is one catch table taken into a recorded trial.
type Import struct {
	TrialID ID
	File    Digest
	At      time.Time
	By      ID
	Rows    int
}
