package trial

import (
	"context"
	"io"
)

// PublicationReadTx is the part of ReadTx about published packages, what they are made from, and copies of them.
type PublicationReadTx interface {
	// PublicationsOf returns the editions of a trial's package, in order of number.
	PublicationsOf(ctx context.Context, trial ID) ([]Publication, error)
	// PackageBytes returns the n-th chunk (from 0) of an edition's package, PackageChunk bytes but for the last.
	PackageBytes(ctx context.Context, trial ID, edition, n int) ([]byte, error)
	// HandedOutOf returns the units that were handed out, in order of pseudonym and number.
	HandedOutOf(ctx context.Context, trial ID) ([]HandedOut, error)
	// RepeatsOf returns the trials registered here that repeat this one, in order of id.
	RepeatsOf(ctx context.Context, trial ID) ([]ID, error)
	// OriginOf returns where a copy was read from.
	OriginOf(ctx context.Context, trial ID) (CopyOrigin, error)
}

// PublicationTx is the part of Tx about published packages and copies of them.
type PublicationTx interface {
	// EnqueuePublication saves a queued edition under the trial's next number and enqueues its job in the same transaction. It
	// returns the edition with its number.
	EnqueuePublication(ctx context.Context, p Publication) (Publication, error)
	// UpdatePublication saves what may become of an edition: all but its number and who asked for it, when and under which licence.
	UpdatePublication(ctx context.Context, p Publication) error
	// SavePackage saves an edition's bytes, which are read from the start to the end.
	SavePackage(ctx context.Context, trial ID, edition int, bytes io.Reader) error
	// DropPackage removes an edition's bytes.
	DropPackage(ctx context.Context, trial ID, edition int) error
	// InsertRepeat notes that a trial registered here repeats another one.
	InsertRepeat(ctx context.Context, trial, repeat ID) error
	InsertOrigin(ctx context.Context, o CopyOrigin) error
	// InsertAnalysis saves an analysis that was computed elsewhere.
	InsertAnalysis(ctx context.Context, a Analysis) error
}
