package db

import (
	"context"
	"errors"
	"io"
	"net"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"evenrig/service/trial"
)

// Codes and classes of PostgreSQL's errors (its manual, appendix A).
const (
	classConnection      = "08"
	classResources       = "53"
	classOperator        = "57"
	readOnlyTransaction  = "25006"
	diskFull             = "53100"
	idleTransaction      = "25P03"
	serializationFailure = "40001"
	deadlockDetected     = "40P01"
	undefinedTable       = "42P01"
	lockNotAvailable     = "55P03"
)

// broken says what a broken constraint means to a user: conflicts, and things that are not there. A constraint that is
// not listed is broken only by a fault of the program.
var broken = map[string]struct {
	kind         trial.Kind
	code, detail string
}{
	"accounts_pkey":            {trial.Conflict, "record.conflict", "the id already stands for another account"},
	"accounts_email_key":       {trial.Conflict, "email.taken", "the e-mail address is in use for another account"},
	"tokens_pkey":              {trial.Conflict, "record.conflict", "the id already stands for another token"},
	"tokens_hash_key":          {trial.Conflict, "record.conflict", "the token already exists"},
	"clubs_pkey":               {trial.Conflict, "record.conflict", "the id already stands for another club"},
	"invitations_pkey":         {trial.Conflict, "record.conflict", "the id already stands for another invitation"},
	"invitations_hash_key":     {trial.Conflict, "record.conflict", "the invitation already exists"},
	"trials_pkey":              {trial.Conflict, "record.conflict", "the id already stands for another trial"},
	"state_changes_pkey":       {trial.Conflict, "trial.state", "the trial was moved by somebody else meanwhile; read it again"},
	"enrolments_pkey":          {trial.Conflict, "record.conflict", "the id already stands for another enrolment; join under a new id"},
	"enrolments_account_key":   {trial.Conflict, "enrolment.exists", "you have joined this trial already"},
	"enrolments_pseudonym_key": {trial.Conflict, "enrolment.pseudonym", "the pseudonym that was drawn is taken; send the same again to draw another"},
	"outings_pkey":             {trial.Conflict, "record.conflict", "the id already stands for another record; a new outing has a new id"},
	"outings_enrolment_key":    {trial.Conflict, "record.conflict", "the id already stands for another record; a new outing has a new id"},
	"units_pkey":               {trial.Conflict, "record.conflict", "the id already stands for another record; a new unit has a new id"},
	"units_enrolment_key":      {trial.Conflict, "record.conflict", "the id already stands for another record; a new unit has a new id"},
	"units_n_key":              {trial.Conflict, "unit.order", "that unit was handed out already; fetch the next one"},
	"units_slip_key":           {trial.Conflict, "slip.used", "a unit was drawn from that slip already; each slip is opened once"},
	"cards_pkey":               {trial.Conflict, "record.conflict", "the card was typed by somebody else meanwhile; send the same again"},
	"fly_envelopes_pkey":       {trial.Conflict, "flies.code", "a code that was drawn is taken; send the same again to draw another"},
	"fly_moves_pkey":           {trial.Conflict, "record.conflict", "an envelope was moved by somebody else meanwhile; read the stock again"},
	"slip_sheets_pkey":         {trial.Conflict, "record.conflict", "slips were printed by somebody else meanwhile; ask again"},
	"periods_pkey":             {trial.Conflict, "record.conflict", "the id already stands for another record; a new period has a new id"},
	"periods_enrolment_key":    {trial.Conflict, "record.conflict", "the id already stands for another record; a new period has a new id"},
	"periods_half_key":         {trial.Conflict, "period.half", "that half of the unit has already begun"},
	"deviations_pkey":          {trial.Conflict, "record.conflict", "the id already stands for another record; a new report has a new id"},
	"temperatures_pkey":        {trial.Conflict, "record.conflict", "the id already stands for another record; a new reading has a new id"},
	"protocols_pkey":           {trial.Stale, "version.stale", "the rule sheet was changed by somebody else meanwhile; read it again"},
	"disputes_subject_key":     {trial.Conflict, "dispute.exists", "the record is disputed already; a record is disputed once"},
	"dispute_decisions_pkey":   {trial.Conflict, "dispute.decided", "somebody else decided at the same moment; read the dispute again"},
	"catches_pkey":             {trial.Conflict, "record.conflict", "the id already stands for another record; a new fish has a new id"},
	"amendments_pkey":          {trial.Stale, "version.stale", "the record was corrected by somebody else meanwhile; read it again"},
	"ledger_heads_pkey":        {trial.Conflict, "record.conflict", "the chain was started already"},
	"imports_pkey":             {trial.Conflict, "import.repeated", "the file was imported already"},
	"analyses_checkpoint_key":  {trial.Conflict, "analysis.exists", "an analysis of the same records stands already"},

	"tokens_account_fkey":        {trial.NotFound, "", "account"},
	"memberships_club_fkey":      {trial.NotFound, "", "club"},
	"memberships_account_fkey":   {trial.NotFound, "", "account"},
	"invitations_club_fkey":      {trial.NotFound, "", "club"},
	"trials_club_fkey":           {trial.NotFound, "", "club"},
	"protocols_trial_fkey":       {trial.NotFound, "", "trial"},
	"state_changes_trial_fkey":   {trial.NotFound, "", "trial"},
	"enrolments_trial_fkey":      {trial.NotFound, "", "trial"},
	"enrolments_account_fkey":    {trial.NotFound, "", "account"},
	"outings_enrolment_fkey":     {trial.NotFound, "", "enrolment"},
	"units_enrolment_fkey":       {trial.NotFound, "", "enrolment"},
	"fly_moves_enrolment_fkey":   {trial.NotFound, "", "enrolment"},
	"fly_moves_envelope_fkey":    {trial.NotFound, "", "envelope"},
	"slip_sheets_enrolment_fkey": {trial.NotFound, "", "enrolment"},
	"periods_outing_fkey":        {trial.NotFound, "", "outing"},
	"periods_unit_fkey":          {trial.NotFound, "", "unit"},
	"deviations_outing_fkey":     {trial.NotFound, "", "outing"},
	"deviations_period_fkey":     {trial.NotFound, "", "period"},
	"catches_period_fkey":        {trial.NotFound, "", "period"},
	"amendments_enrolment_fkey":  {trial.NotFound, "", "enrolment"},
	"counts_enrolment_fkey":      {trial.NotFound, "", "enrolment"},
	"checkpoints_trial_fkey":     {trial.NotFound, "", "trial"},
	"analyses_trial_fkey":        {trial.NotFound, "", "trial"},
	"imports_trial_fkey":         {trial.NotFound, "", "trial"},
}

// translate turns what the driver says into what trial says: a broken constraint by its name, a database that does not
// answer or has no room as Unavailable. A cancelled context passes through; anything else is the program's fault.
func translate(err error) error {
	switch {
	case err == nil, errors.Is(err, context.Canceled):
		return err
	case errors.Is(err, context.DeadlineExceeded):
		return &trial.Error{Kind: trial.Unavailable, Code: "database.slow", Detail: "the database did not answer in time; send the same again later", Err: err}
	}
	if _, ok := errors.AsType[*trial.Error](err); ok {
		return err
	}
	if pgErr, ok := errors.AsType[*pgconn.PgError](err); ok {
		return translateServer(pgErr, err)
	}
	_, connecting := errors.AsType[*pgconn.ConnectError](err)
	_, network := errors.AsType[net.Error](err)
	if connecting || network || pgconn.SafeToRetry(err) || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, net.ErrClosed) {
		return unavailable(err)
	}
	return err
}

// translateServer translates an error that the server sent.
func translateServer(pgErr *pgconn.PgError, err error) error {
	if b, ok := broken[pgErr.ConstraintName]; ok {
		if b.kind == trial.NotFound {
			missing, _ := errors.AsType[*trial.Error](trial.Missing(b.detail))
			missing.Err = err
			return missing
		}
		return &trial.Error{Kind: b.kind, Code: b.code, Detail: b.detail, Err: err}
	}
	if isFull(err) {
		return &trial.Error{Kind: trial.Unavailable, Code: "database.full", Detail: "the server's disk is full, so nothing can be kept there; send the same again later", Err: err}
	}
	switch pgErr.Code[:2] {
	case classConnection, classResources, classOperator:
		return unavailable(err)
	}
	switch pgErr.Code {
	case serializationFailure, deadlockDetected, lockNotAvailable, readOnlyTransaction, idleTransaction:
		return unavailable(err)
	}
	return err
}

func unavailable(err error) error {
	return &trial.Error{Kind: trial.Unavailable, Code: "database.unavailable", Detail: "the database cannot be used at the moment; send the same again later", Err: err}
}

// isRetryable reports whether a transaction failed only because of others beside it: a serialisation failure or a
// deadlock.
func isRetryable(err error) bool {
	pgErr, ok := errors.AsType[*pgconn.PgError](err)
	return ok && (pgErr.Code == serializationFailure || pgErr.Code == deadlockDetected)
}

// isFull reports whether the server found no room on its disk.
func isFull(err error) bool {
	pgErr, ok := errors.AsType[*pgconn.PgError](err)
	return ok && pgErr.Code == diskFull
}

// brokenConstraint returns the name of the constraint that was broken, or "".
func brokenConstraint(err error) string {
	if pgErr, ok := errors.AsType[*pgconn.PgError](err); ok {
		return pgErr.ConstraintName
	}
	return ""
}

func isMissingTable(err error) bool {
	pgErr, ok := errors.AsType[*pgconn.PgError](err)
	return ok && pgErr.Code == undefinedTable
}

// missing turns the driver's "no rows" into trial's answer for what does not exist.
func missing(err error, what string) error {
	if errors.Is(err, pgx.ErrNoRows) {
		return trial.Missing(what)
	}
	return translate(err)
}
