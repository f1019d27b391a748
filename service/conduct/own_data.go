package conduct

import (
	"context"
	"io"
	"time"

	"evenrig/service/exchange"
	"evenrig/service/trial"
)

// ownPage is how many of a person's records are read at a time: each page in a snapshot of its own, which is closed before
// anything is written, so that who reads slowly holds no connection to the database.
const ownPage = 500

// OwnDataForm is a form in which a person's data can be had.
type OwnDataForm func(w io.Writer, madeAt time.Time) exchange.OwnDataWriter

// The forms: one JSON object, or a zip with a table for each kind of record.
var (
	OwnDataJSON   OwnDataForm = exchange.NewOwnDataJSON
	OwnDataTables OwnDataForm = exchange.NewOwnDataZip
)

// OwnData writes everything that the server keeps of the actor, over all clubs and trials: account, memberships, sessions,
// tokens and links without their secrets, what happened, what the actor did as an organiser, and in every trial consent, records,
// corrections and the entries of the actor's own chain with their salts. Of others there is nothing in it, so that it hides
// the running effect as an angler's own list does.
func (s *Service) OwnData(ctx context.Context, actor trial.Actor, form OwnDataForm, w io.Writer) error {
	out := form(w, s.now())
	var tables []trial.OwnTable
	var joined []trial.Enrolment
	err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		tables, joined = tx.OwnTables(), nil
		memberships, err := tx.MembershipsOf(ctx, actor.AccountID)
		if err != nil {
			return err
		}
		for _, m := range memberships {
			own, err := tx.EnrolmentsIn(ctx, m.ClubID, actor.AccountID)
			if err != nil {
				return err
			}
			joined = append(joined, own...)
		}
		return nil
	})
	if err != nil {
		return err
	}
	for _, table := range tables {
		parts := []trial.Enrolment{{}}
		if table.InTrial {
			parts = joined
		}
		begun := false
		for _, e := range parts {
			if begun, err = s.ownRecords(ctx, actor, table, e, out, begun); err != nil {
				return err
			}
		}
	}
	return out.Close()
}

// ownRecords writes the actor's records of one table, in one trial where the table has them by trial. begun says that the
// table was begun.
func (s *Service) ownRecords(ctx context.Context, actor trial.Actor, table trial.OwnTable, e trial.Enrolment, out exchange.OwnDataWriter, begun bool) (bool, error) {
	var after trial.OwnPlace
	for {
		var page trial.OwnRecords
		err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) (err error) {
			page, err = tx.OwnRecordsOf(ctx, table, actor.AccountID, e.TrialID, e.ID, after, ownPage)
			return err
		})
		if err != nil {
			return begun, err
		}
		if !begun {
			if err := out.Table(table.Name, page.Columns); err != nil {
				return begun, err
			}
			begun = true
		}
		for _, r := range page.Records {
			if err := out.Record(r); err != nil {
				return begun, err
			}
		}
		if !page.More {
			return begun, nil
		}
		after = page.Last
	}
}
