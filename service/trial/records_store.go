package trial

import (
	"context"
	"time"
)

// RecordsReadTx is the part of ReadTx about a trial's draw night.
type RecordsReadTx interface {
	// DrawNightOf returns the words of a trial's draw night in their order, and whether their list is closed. Of a list
	// that is closed all words are returned.
	DrawNightOf(ctx context.Context, trial ID) (DrawNight, error)
	// WordsOf returns the words alone, as AllocationKey takes them.
	WordsOf(ctx context.Context, trial ID) ([]string, error)
}

// RecordsTx is the part of Tx about a trial's draw night.
type RecordsTx interface {
	InsertWord(ctx context.Context, w DrawWord) error
	// CloseDrawNight closes the list of words; one that is closed keeps its time.
	CloseDrawNight(ctx context.Context, trial ID, at time.Time) error
}
