package trial

import (
	"context"
	"time"
)

// RecordsReadTx is the part of ReadTx about a trial's draw night, and about reading more fish than fit into memory.
type RecordsReadTx interface {
	// FishingOf returns all records of an enrolment but its catches.
	FishingOf(ctx context.Context, trial, enrolment ID) (Records, error)
	// EachCatchOf hands out an enrolment's catches in the order of their times, until do fails.
	EachCatchOf(ctx context.Context, trial, enrolment ID, do func(Catch) error) error
	// FurtherColumnsOf returns the names of the further columns that any imported catch of the trial has, in order.
	FurtherColumnsOf(ctx context.Context, trial ID) ([]string, error)
	// DrawNightOf returns the words of a trial's draw night in their order, and whether their list is closed. Of a list
	// that is closed all words are returned.
	DrawNightOf(ctx context.Context, trial ID) (DrawNight, error)
	// WordsOf returns the words alone, as AllocationKey takes them.
	WordsOf(ctx context.Context, trial ID) ([]string, error)
	// SlipSheetsOf returns the sheets of slips that were printed for a trial, in the order of their numbers.
	SlipSheetsOf(ctx context.Context, trial ID) ([]SlipSheet, error)
	// FlyStockOf returns a trial's batches, envelopes and moves in the order of their numbers, and the reports of lost flies.
	FlyStockOf(ctx context.Context, trial ID) (FlyStock, error)
	CardBy(ctx context.Context, trial ID, number int) (Card, error)
	// CardsOf returns the cards that were typed for a trial, in the order of their numbers.
	CardsOf(ctx context.Context, trial ID) ([]Card, error)
	// PaperOut reports whether a trial has slips, guests or cards on paper.
	PaperOut(ctx context.Context, trial ID) (bool, error)
	// EnrolmentsNotedBy returns the enrolments of a trial for which an account may note.
	EnrolmentsNotedBy(ctx context.Context, trial, account ID) ([]Enrolment, error)
	// CatchesNotedBy is CatchesOf for the fish that an account typed.
	CatchesNotedBy(ctx context.Context, trial, enrolment, account ID, page Page) ([]Catch, error)
}

// RecordsTx is the part of Tx about a trial's draw night.
type RecordsTx interface {
	InsertWord(ctx context.Context, w DrawWord) error
	// CloseDrawNight closes the list of words; one that is closed keeps its time.
	CloseDrawNight(ctx context.Context, trial ID, at time.Time) error
	InsertSlipSheet(ctx context.Context, s SlipSheet) error
	InsertFlyBatch(ctx context.Context, b FlyBatch, envelopes []FlyEnvelope) error
	// InspectFlyBatch saves who looked a batch over, when, and the remarks.
	InspectFlyBatch(ctx context.Context, b FlyBatch) error
	InsertFlyMove(ctx context.Context, m FlyMove) error
	InsertCard(ctx context.Context, c Card) error
	// CheckCard saves what a second typing of a card came to.
	CheckCard(ctx context.Context, c Card) error
	// InsertCatch saves one catch, which is the given entry of its chain.
	InsertCatch(ctx context.Context, c Catch, entry int64) error
	// SetNoters replaces the accounts that may note for an angler.
	SetNoters(ctx context.Context, trial, enrolment ID, accounts []ID) error
	// LoseUnit notes that a unit was lost with its phone.
	LoseUnit(ctx context.Context, trial, unit ID, at time.Time) error
}
