package db

import (
	"context"

	"github.com/jackc/pgx/v5"

	"evenrig/service/trial"
)

// OutstandingOf implements trial.ReadTx. What arrived last is the latest of everything that is kept with the time of its arrival.
func (r readTx) OutstandingOf(ctx context.Context, id trial.ID) ([]trial.Outstanding, error) {
	const outstandingOf = `
SELECT e.id AS enrolment_id, coalesce(e.pseudonym, '') AS pseudonym, coalesce(a.name, '') AS name,
       e.account_id IS NULL AND e.chain_id = e.id AS guest, e.left_at IS NOT NULL AS left, u.carried, o.open_outings, o.open_since,
       greatest(0, s.printed - u.drawn) AS slips, e.account_id IS NULL AND e.chain_id = e.id AND k.cards = 0 AND o.outings = 0 AS card_out,
       greatest(o.heard, p.heard, c.heard, w.heard, d.heard, u.heard) AS last_heard
FROM enrolments e
LEFT JOIN accounts a ON a.id = e.account_id
CROSS JOIN LATERAL (
    SELECT count(*) FILTER (WHERE opened_at IS NULL AND lost_at IS NULL) AS carried, count(slip) AS drawn, max(fetched_at) AS heard
    FROM units WHERE trial_id = e.trial_id AND enrolment_id = e.id) u
CROSS JOIN LATERAL (
    SELECT count(*) AS outings, count(*) FILTER (WHERE end_reason IS NULL AND NOT void) AS open_outings,
           min(started_at) FILTER (WHERE end_reason IS NULL AND NOT void) AS open_since, max(greatest(received_at, end_received_at)) AS heard
    FROM outings WHERE trial_id = e.trial_id AND enrolment_id = e.id) o
CROSS JOIN LATERAL (SELECT max(greatest(received_at, end_received_at)) AS heard FROM periods WHERE trial_id = e.trial_id AND enrolment_id = e.id) p
CROSS JOIN LATERAL (SELECT max(received_at) AS heard FROM catches WHERE trial_id = e.trial_id AND enrolment_id = e.id) c
CROSS JOIN LATERAL (SELECT max(received_at) AS heard FROM temperatures WHERE trial_id = e.trial_id AND enrolment_id = e.id) w
CROSS JOIN LATERAL (SELECT max(received_at) AS heard FROM deviations WHERE trial_id = e.trial_id AND enrolment_id = e.id) d
CROSS JOIN LATERAL (SELECT coalesce(sum(last_slip - first_slip + 1), 0) AS printed FROM slip_sheets WHERE trial_id = e.trial_id AND enrolment_id = e.id) s
CROSS JOIN LATERAL (SELECT count(*) AS cards FROM cards WHERE trial_id = e.trial_id AND enrolment_id = e.id) k
WHERE e.trial_id = @trial_id AND e.erased_at IS NULL
ORDER BY e.enrolled_at, e.id`
	return list(ctx, r.tx, "what is outstanding", outstandingOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByName[trial.Outstanding])
}

// CardsInOf implements trial.ReadTx.
func (r readTx) CardsInOf(ctx context.Context, id trial.ID) (*trial.CardsIn, error) {
	const cardsInOf = `SELECT trial_id, at, by_account AS by, reason FROM cards_in WHERE trial_id = @trial_id`
	found, err := list(ctx, r.tx, "cards in", cardsInOf, pgx.StrictNamedArgs{"trial_id": id}, pgx.RowToStructByName[trial.CardsIn])
	if err != nil || len(found) == 0 {
		return nil, err
	}
	return &found[0], nil
}

// InsertCardsIn implements trial.Tx.
func (w writeTx) InsertCardsIn(ctx context.Context, c trial.CardsIn) error {
	const insertCardsIn = `INSERT INTO cards_in (trial_id, at, by_account, reason) VALUES (@trial_id, @at, @by_account, @reason)`
	return insert(ctx, w.tx, "cards in", insertCardsIn, pgx.StrictNamedArgs{"trial_id": c.TrialID, "at": c.At, "by_account": c.By, "reason": c.Reason})
}
