package conduct

import (
	"context"

	"evenrig/service/trial"
)

// SlipSheet is a sheet of slips as it is printed: whom it is for, the numbers outside the slips and the orders inside. It is told
// once, to who prints it.
type SlipSheet struct {
	Pseudonym string
	Sheet     trial.SlipSheet
	Slips     []Slip
}

// Slip is one slip: the number outside, and inside the order with the codes of the flies at the two positions in its first half.
type Slip struct {
	Number       int
	First        trial.Arrangement
	Lower, Upper string
}

// PrintSlips draws the orders of a sheet of sealed slips for an angler, a coin for each, and notes who printed it and for whom.
// The orders themselves are kept nowhere: the paper alone has them.
func (s *Service) PrintSlips(ctx context.Context, actor trial.Actor, id, enrolment trial.ID, count int) (printed SlipSheet, err error) {
	now, salts := s.now(), s.salts()
	var random [trial.MostSlips]byte
	s.fill(random[:])
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.PrintSlips); err != nil {
			return err
		}
		if err := trial.CheckSlips(count); err != nil {
			return err
		}
		// Locked, so that numbers are given out once.
		t, err := tx.LockTrial(ctx, id)
		if err != nil {
			return err
		}
		if err := t.Enrols(); err != nil {
			return err
		}
		if err := fishesNot(ctx, tx, id, actor.AccountID); err != nil {
			return err
		}
		e, err := tx.EnrolmentBy(ctx, id, enrolment)
		if trial.KindOf(err) == trial.NotFound {
			return trial.Unknown("enrolment")
		}
		if err != nil {
			return err
		}
		if err := e.Active(); err != nil {
			return err
		}
		sheets, err := tx.SlipSheetsOf(ctx, id)
		if err != nil {
			return err
		}
		sheet := trial.NextSheet(sheets, count)
		sheet.TrialID, sheet.EnrolmentID, sheet.PrintedBy, sheet.PrintedAt = id, enrolment, actor.AccountID, now
		if err := tx.InsertSlipSheet(ctx, sheet); err != nil {
			return err
		}
		p, err := s.rulesOf(ctx, tx, t)
		if err != nil {
			return err
		}
		printed = SlipSheet{Pseudonym: e.Pseudonym, Sheet: sheet}
		for i, b := range random[:count] {
			slip := Slip{Number: sheet.First + i, First: trial.Toss(b)}
			slip.Lower, slip.Upper = p.Flies(slip.First)
			printed.Slips = append(printed.Slips, slip)
		}
		r, err := recordOf(salts, fields{"sheet": sheet.N, "enrolment": enrolment, "from": sheet.First, "to": sheet.Last, "week": week(now)}, fields{"at": at(now)})
		if err != nil {
			return err
		}
		return appendOrganisers(ctx, tx, id, trial.LedgerSlips, r)
	})
	if err != nil {
		return SlipSheet{}, err
	}
	return printed, nil
}

// fishesNot returns nil when an account has no part in a trial.
func fishesNot(ctx context.Context, tx trial.ReadTx, id, account trial.ID) error {
	own, err := tx.EnrolmentOf(ctx, id, account)
	switch {
	case trial.KindOf(err) == trial.NotFound:
		return nil
	case err != nil:
		return err
	}
	return own.PrintsSlips()
}

// SlipSheetView is what is known of a sheet of slips: whom it was for, who printed it, and which of its slips were opened.
type SlipSheetView struct {
	Sheet     trial.SlipSheet
	Pseudonym string
	PrintedBy string // the member's name
	Opened    []int
}

// SlipSheets lists the sheets of slips that were printed for a trial.
func (s *Service) SlipSheets(ctx context.Context, actor trial.Actor, id trial.ID) (views []SlipSheetView, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.ReadSlips); err != nil {
			return err
		}
		sheets, err := tx.SlipSheetsOf(ctx, id)
		if err != nil || len(sheets) == 0 {
			return err
		}
		units, err := tx.UnitsOfTrial(ctx, id)
		if err != nil {
			return err
		}
		for _, sheet := range sheets {
			view := SlipSheetView{Sheet: sheet}
			e, err := tx.EnrolmentBy(ctx, id, sheet.EnrolmentID)
			if err != nil {
				return err
			}
			by, err := tx.AccountBy(ctx, sheet.PrintedBy)
			if err != nil {
				return err
			}
			view.Pseudonym, view.PrintedBy = e.Pseudonym, by.Name
			for _, u := range units {
				if sheet.First <= u.Slip && u.Slip <= sheet.Last {
					view.Opened = append(view.Opened, u.Slip)
				}
			}
			views = append(views, view)
		}
		return nil
	})
	return views, err
}
