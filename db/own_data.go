package db

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"evenrig/service/trial"
)

// ownTable is a kind of record that belongs to a person, and how it is read: key_id and key_n give the order, and every
// other column is handed out. What an angler records is read with all its columns, so that one that is added is not
// forgotten; hidden lists those that say nothing of the person.
type ownTable struct {
	name    string
	inTrial bool
	sql     string
}

// hidden columns are the program's own: whose record it is stands in the person's hand, digests recognise a replay.
var hidden = []string{"key_id", "key_n", "enrolment_id", "account_id", "sent_digest", "end_digest", "ledger_n"}

// ofEnrolment reads a table of an enrolment's records.
func ofEnrolment(table string) string {
	return `SELECT id AS key_id, 0::bigint AS key_n, r.* FROM ` + table + ` r
WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id AND (@after_id::uuid IS NULL OR id > @after_id) ORDER BY id LIMIT @limit`
}

// ofAccount reads columns of one of the small tables.
func ofAccount(table, columns, whose string) string {
	return `SELECT id AS key_id, 0::bigint AS key_n, ` + columns + ` FROM ` + table + `
WHERE ` + whose + ` AND (@after_id::uuid IS NULL OR id > @after_id) ORDER BY id LIMIT @limit`
}

// inOwnTrials begins what looks through the trials of every club that a person is or was in, since the tables of trials
// have no key that begins with the account.
const inOwnTrials = ` FROM memberships m JOIN trials t ON t.club_id = m.club_id `

// byAccount reads what a person did in trials: the records r of a table, numbered within their trial by n.
func byAccount(table, n, columns, whose string) string {
	return `SELECT r.trial_id AS key_id, ` + n + `::bigint AS key_n, r.trial_id, ` + columns + inOwnTrials + `JOIN ` + table + ` r ON r.trial_id = t.id
WHERE m.account_id = @account_id AND ` + whose + ` AND (@after_id::uuid IS NULL OR (r.trial_id, ` + n + `::bigint) > (@after_id, @after_n))
ORDER BY r.trial_id, ` + n + ` LIMIT @limit`
}

// numbered reads columns of a table whose records are numbered within the trial.
func numbered(table, columns string) string {
	return `SELECT trial_id AS key_id, n::bigint AS key_n, trial_id, ` + columns + ` FROM ` + table + `
WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id AND n > @after_n ORDER BY n LIMIT @limit`
}

var ownTables = []ownTable{
	{"account", false, ofAccount("accounts", "id, name, email, password IS NOT NULL AS has_password, admin, created_at", "id = @account_id")},
	{"memberships", false, `
SELECT m.club_id AS key_id, 0::bigint AS key_n, m.club_id, c.name AS club_name, m.role, m.joined_at
FROM memberships m JOIN clubs c ON c.id = m.club_id
WHERE m.account_id = @account_id AND (@after_id::uuid IS NULL OR m.club_id > @after_id) ORDER BY m.club_id LIMIT @limit`},
	{"sessions", false, ofAccount("sessions", "id, created_at, used_at", "account_id = @account_id")},
	{"tokens", false, ofAccount("tokens", "id, name, array_to_string(scopes, ' ') AS scopes, created_at, expires_at, last_used_at, revoked_at", "account_id = @account_id")},
	{"links", false, ofAccount("links", "id, kind, club_id, made_by, made_at, expires_at, used_at", "account_id = @account_id")},
	{"invitations", false, ofAccount("invitations", "id, club_id, role, uses, used, created_at, expires_at, revoked_at", "created_by = @account_id")},
	{"handovers", false, ofAccount("handovers", "id, club_id, from_account, to_account, offered_at, expires_at, taken_at, ended_at", "@account_id IN (from_account, to_account)")},
	{"events", false, ofAccount("events", "id, kind, by_account, club_id, at", "account_id = @account_id")},
	{"draw_words", false, `
SELECT w.trial_id AS key_id, 0::bigint AS key_n, w.trial_id, w.n, w.word, w.at` + inOwnTrials + `JOIN draw_words w ON w.trial_id = t.id AND w.account_id = m.account_id
WHERE m.account_id = @account_id AND (@after_id::uuid IS NULL OR t.id > @after_id) ORDER BY t.id LIMIT @limit`},
	{"state_changes", false, byAccount("state_changes", "r.n", "r.n, r.at, r.from_state, r.to_state, r.reason", "r.by_account = @account_id")},
	{"imports", false, byAccount("imports", "(extract(epoch FROM r.at) * 1000000)", "encode(r.file, 'hex') AS file, r.at, r.rows", "r.by_account = @account_id")},
	{"cards_in", false, byAccount("cards_in", "1", "r.at, r.reason", "r.by_account = @account_id")},
	{"protocols", false, byAccount("protocols", "r.version", "r.version, r.at, r.reason", "r.by_account = @account_id")},
	{"publications", false, byAccount("publications", "r.edition", "r.edition, r.licence, r.remarks, r.asked_at", "r.asked_by = @account_id")},
	{"fly_batches", false, byAccount("fly_batches", "r.n", "r.n, r.batch, r.made_at, r.inspected_at", "@account_id IN (r.made_by, r.inspected_by)")},
	{"origins", false, byAccount("origins", "r.edition", "r.original, r.edition, r.read_at", "r.read_by = @account_id")},
	{"questions", false, byAccount("questions", "r.n", `r.n, r.asked_at, CASE WHEN r.asked_by = @account_id THEN r.question END AS question,
       r.answered_at, CASE WHEN r.answered_by = @account_id THEN r.answer END AS answer`, "@account_id IN (r.asked_by, r.answered_by)")},
	{"disputes_filed", false, `
SELECT d.id AS key_id, 0::bigint AS key_n, d.trial_id, d.id, d.kind, d.subject, d.words, d.filed_as, d.filed_at` + inOwnTrials + `JOIN disputes d ON d.trial_id = t.id
WHERE m.account_id = @account_id AND d.filed_by = @account_id AND (@after_id::uuid IS NULL OR d.id > @after_id) ORDER BY d.id LIMIT @limit`},
	{"dispute_decisions", false, `
SELECT d.dispute_id AS key_id, d.n::bigint AS key_n, d.trial_id, d.dispute_id, d.decision, d.reason, d.by_role, d.at` + inOwnTrials + `JOIN dispute_decisions d ON d.trial_id = t.id
WHERE m.account_id = @account_id AND d.by_account = @account_id AND (@after_id::uuid IS NULL OR d.dispute_id > @after_id) ORDER BY d.dispute_id LIMIT @limit`},
	{"enrolments", false, `
SELECT t.id AS key_id, 0::bigint AS key_n, t.title, t.state, c.name AS club_name, e.*` + inOwnTrials + `JOIN clubs c ON c.id = t.club_id
JOIN enrolments e ON e.trial_id = t.id AND e.account_id = m.account_id
WHERE m.account_id = @account_id AND (@after_id::uuid IS NULL OR t.id > @after_id) ORDER BY t.id LIMIT @limit`},
	{"outings", true, ofEnrolment("outings")},
	{"units", true, ofEnrolment("units")},
	{"periods", true, ofEnrolment("periods")},
	{"deviations", true, ofEnrolment("deviations")},
	{"temperatures", true, ofEnrolment("temperatures")},
	{"catches", true, ofEnrolment("catches")},
	{"welfare_overrides", true, numbered("welfare_overrides", "n, day, reason, at")},
	{"cards", true, `
SELECT trial_id AS key_id, number::bigint AS key_n, trial_id, number, outing_id, convert_from(content, 'UTF8') AS content, written_at, typed_at, again_at FROM cards
WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id AND number > @after_n ORDER BY number LIMIT @limit`},
	{"fly_moves", true, numbered("fly_moves", "n, code, kind, flies, at, note")},
	{"slip_sheets", true, numbered("slip_sheets", "n, first_slip, last_slip, printed_at")},
	// Disputes about the person's records; who filed them is another person.
	{"disputes", true, `
SELECT id AS key_id, 0::bigint AS key_n, trial_id, id, kind, subject, words, filed_as, filed_at FROM disputes
WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id AND (@after_id::uuid IS NULL OR id > @after_id) ORDER BY id LIMIT @limit`},
	{"amendments", true, `
SELECT subject AS key_id, n::bigint AS key_n, a.* FROM amendments a
WHERE trial_id = @trial_id AND enrolment_id = @enrolment_id AND (@after_id::uuid IS NULL OR (subject, n) > (@after_id, @after_n))
ORDER BY subject, n LIMIT @limit`},
	// The chain of an enrolment alone: an imported table's anglers share the organiser's, and have no account.
	{"receipts", true, `
SELECT e.chain_id AS key_id, e.n AS key_n, e.trial_id, e.chain_id, e.n, e.kind, e.subject, encode(e.hash, 'hex') AS hash,
       convert_from(p.public, 'UTF8') AS public, encode(p.public_salt, 'hex') AS public_salt,
       convert_from(p.private, 'UTF8') AS private, encode(p.private_salt, 'hex') AS private_salt
FROM ledger_entries e LEFT JOIN ledger_parts p ON p.trial_id = e.trial_id AND p.chain_id = e.chain_id AND p.n = e.n
WHERE e.trial_id = @trial_id AND e.chain_id = @enrolment_id AND e.n > @after_n ORDER BY e.n LIMIT @limit`},
}

// OwnTables implements trial.ReadTx.
func (r readTx) OwnTables() []trial.OwnTable {
	tables := make([]trial.OwnTable, len(ownTables))
	for i, t := range ownTables {
		tables[i] = trial.OwnTable{Name: t.name, InTrial: t.inTrial}
	}
	return tables
}

// OwnRecordsOf implements trial.ReadTx.
func (r readTx) OwnRecordsOf(ctx context.Context, table trial.OwnTable, account, id, enrolment trial.ID, after trial.OwnPlace, limit int) (trial.OwnRecords, error) {
	var found trial.OwnRecords
	for _, t := range ownTables {
		if t.name != table.Name {
			continue
		}
		args := pgx.StrictNamedArgs{}
		for name, value := range map[string]any{
			"account_id": account, "trial_id": id, "enrolment_id": enrolment, "after_id": after.ID, "after_n": after.N, "limit": limit + 1,
		} {
			if strings.Contains(t.sql, "@"+name) {
				args[name] = value
			}
		}
		rows, err := r.tx.Query(ctx, t.sql, args)
		if err != nil {
			return found, fmt.Errorf("read own %s: %w", t.name, translate(err))
		}
		defer rows.Close()
		columns := newOwnColumns(rows)
		found.Columns = columns.names
		for rows.Next() {
			if len(found.Records) == limit {
				found.More = true
				break
			}
			if err := columns.read(rows, &found); err != nil {
				return found, fmt.Errorf("read own %s: %w", t.name, translate(err))
			}
		}
		rows.Close()
		if err := rows.Err(); err != nil {
			return found, fmt.Errorf("read own %s: %w", t.name, translate(err))
		}
		return found, nil
	}
	return found, trial.Missing("table")
}

// ownColumns says what becomes of the columns that a query gives: their names as the contract has them (period, not
// period_id), the offset of a device's time put back into the time before it.
type ownColumns struct {
	names []string
	oids  []uint32
	kept  []int // index of each name's column
	zone  []int // index of the column with its offset, -1 for none
	keyID int
	keyN  int
}

func newOwnColumns(rows pgx.Rows) *ownColumns {
	c := &ownColumns{}
	at := map[string]int{}
	for i, f := range rows.FieldDescriptions() {
		c.oids = append(c.oids, f.DataTypeOID)
		at[f.Name] = i
	}
	c.keyID, c.keyN = at["key_id"], at["key_n"]
	for i, f := range rows.FieldDescriptions() {
		if slices.Contains(hidden, f.Name) || strings.HasSuffix(f.Name, "_offset") {
			continue
		}
		name := f.Name
		if name != "double_id" {
			name = strings.TrimSuffix(name, "_id")
		}
		zone := -1
		if z, ok := at[strings.TrimSuffix(f.Name, "_at")+"_offset"]; ok && (strings.HasSuffix(f.Name, "_at") || f.Name == "at") {
			zone = z
		}
		c.names, c.kept, c.zone = append(c.names, name), append(c.kept, i), append(c.zone, zone)
	}
	return c
}

// read adds the row to the records.
func (c *ownColumns) read(rows pgx.Rows, into *trial.OwnRecords) error {
	values, err := rows.Values()
	if err != nil {
		return err
	}
	raw := rows.RawValues()
	record := make([]any, len(c.kept))
	for i, column := range c.kept {
		record[i] = c.value(values[column], raw[column], c.oids[column])
		if t, ok := record[i].(time.Time); ok && c.zone[i] >= 0 {
			if minutes, ok := values[c.zone[i]].(int16); ok {
				record[i] = in(t, &minutes)
			}
		}
	}
	into.Records = append(into.Records, record)
	if id, ok := values[c.keyID].([16]byte); ok {
		into.Last.ID = id
	}
	into.Last.N, _ = values[c.keyN].(int64)
	return nil
}

// value is a column's value as it is handed out: ids as UUIDs, bytes in hexadecimal.
func (c *ownColumns) value(v any, raw []byte, oid uint32) any {
	switch v := v.(type) {
	case nil:
		return nil
	case [16]byte:
		return trial.ID(v).String()
	case []byte:
		return hex.EncodeToString(v)
	}
	if oid == pgtype.JSONOID || oid == pgtype.JSONBOID {
		return json.RawMessage(slices.Clone(raw))
	}
	return v
}
