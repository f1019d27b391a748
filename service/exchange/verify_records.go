package exchange

import (
	"cmp"
	"encoding/json"
	"fmt"
	"reflect"
	"slices"

	"evenrig/service/trial"
)

// anglersRecords goes through the anglers one by one: chain, draw, every row against the ledger, and what follows from the rows.
func (v *verifier) anglersRecords() error {
	units, rows := 0, 0
	for a, err := range v.byAngler() {
		if err != nil {
			return err
		}
		if v.plan.Source == trial.Drawn {
			chain := newChainCheck(v, a.Enrolment, "the chain of "+a.Pseudonym)
			for _, e := range a.entries {
				chain.next(e)
			}
			chain.end()
			units += v.drawOf(a)
			v.ledgerOf(a)
		}
		v.derivedOf(a)
		v.sharers.add(a)
		v.count(a)
		rows += len(a.outings) + len(a.units) + len(a.periods) + len(a.deviations) + len(a.fish)
	}
	if v.plan.Source == trial.Drawn {
		v.found.agrees(partDraw, "%s follow from seed, words and the anglers' codes.", counted(units, "unit", "units"))
		v.found.agrees(partRecords, "%d of %d rows are what was entered in the ledger, with every correction; no entry lacks its row.", v.proven, rows)
	}
	if v.hidden > 0 {
		v.found.untold(partRecords, "Of %d rows it cannot be told whether they are what was entered: the entries that would tell are left out, for they or a correction would show what fewer than three anglers share, or a name.", v.hidden)
	}
	if v.onTimes > 0 {
		v.found.untold(partDerived, "Of %d fish that are not analysed the reason rests on times or lengths that are not published: they were caught outside a confirmed period, with the rig not as planned, while swapping, or too short. catches.csv says which.", v.onTimes)
	}
	v.found.agrees(partDerived, "What each fish took, why it is not analysed and which blocks were finished follow from the rows.")
	return nil
}

// drawOf draws the angler's units again.
func (v *verifier) drawOf(a publishedAngler) (drawn int) {
	most, byService := 0, 0
	numbers := map[int]bool{}
	for _, u := range a.units {
		if numbers[u.N] || u.N < 1 {
			v.found.differs(partDraw, "unit %d of %s stands twice or has no number", u.N, a.Pseudonym)
		}
		numbers[u.N] = true
		if u.DrawnBy == trial.ByService {
			most = max(most, u.DrawN)
			byService++
		}
	}
	for n := 1; n <= len(numbers); n++ {
		if !numbers[n] {
			v.found.differs(partDraw, "unit %d of %s is missing; later ones are there", n, a.Pseudonym)
		}
	}
	if v.Facts.Scheme != trial.AllocationScheme {
		return 0
	}
	if slices.ContainsFunc(v.Words, func(w Word) bool { return w.Word == "" }) {
		v.found.untold(partDraw, "The units cannot be drawn again: a word of draw night is left out, because it names somebody.")
		return 0
	}
	if most != byService {
		v.found.differs(partDraw, "%s has %d units of the draw, and the last is its number %d", a.Pseudonym, byService, most)
		return 0
	}
	orders := v.plan.Draw.Orders(v.allocationKey(a.Angler), most)
	for _, u := range a.units {
		switch {
		case u.DrawnBy != trial.ByService:
			v.found.untold(partDraw, "Units that were drawn by a coin or a paper slip cannot be drawn again; units.csv says which.")
		case u.DrawN < 1 || orders[u.DrawN-1] != u.First:
			v.found.differs(partDraw, "unit %d of %s is not what seed, words and code give", u.N, a.Pseudonym)
		default:
			drawn++
		}
		if u.DrawnBy == trial.ByService && u.SameFlyCheck != (u.N <= v.plan.Draw.SameFlyCheck) {
			v.found.differs(partDraw, "unit %d of %s is wrongly said to be fished with two control flies, or not", u.N, a.Pseudonym)
		}
	}
	return drawn
}

// part is a public part, or what a row says of one, by key.
type part map[string]any

// recordKinds are the kinds of entries that have rows, one entry each.
var recordKinds = []string{
	trial.LedgerOuting, trial.LedgerOutingEnd, trial.LedgerUnit, trial.LedgerUnitLost, trial.LedgerPeriod, trial.LedgerPeriodEnd, trial.LedgerDeviation, trial.LedgerCatch,
}

// entered is a record as the ledger has it: as first sent, then corrected.
type entered struct {
	now       part
	left      bool // out, so that nothing can be told
	corrected int
}

// recordKey tells records of different kinds apart.
type recordKey struct {
	kind string
	id   trial.ID
}

// ledgerOf replays the angler's chain and holds it against the rows.
func (v *verifier) ledgerOf(a publishedAngler) {
	records := map[recordKey]*entered{}
	amendments := map[[2]string]Amendment{}
	disputed := map[trial.ID]string{}
	for _, row := range a.amendments {
		amendments[[2]string{row.Subject.String(), fmt.Sprint(row.N)}] = row
	}
	for _, e := range a.entries {
		switch e.Kind {
		case trial.LedgerAmendment:
			v.amendmentEntry(a, e, records, amendments)
		case trial.LedgerDispute, trial.LedgerDecision:
			disputed[e.Subject] = outcomeIn(e)
		case trial.LedgerEnrolment, trial.LedgerWithdrawal:
		default:
			if !slices.Contains(recordKinds, e.Kind) {
				v.found.untold(partRecords, "Entries of the kind %s are followed as links of their chain and held against no table.", e.Kind)
				continue
			}
			r := &entered{}
			if e.Public == "" {
				r.left = true
			} else if err := json.Unmarshal([]byte(e.Public), &r.now); err != nil {
				v.found.differs(partRecords, "entry %d of %s cannot be read: %v", e.N, a.Pseudonym, err)
			}
			if records[recordKey{e.Kind, e.Subject}] != nil {
				v.found.differs(partRecords, "%s %s of %s was entered twice", e.Kind, e.Subject, a.Pseudonym)
			}
			records[recordKey{e.Kind, e.Subject}] = r
		}
	}
	for key := range amendments {
		v.found.differs(partRecords, "correction %s of record %s of %s is not in the ledger", key[1], key[0], a.Pseudonym)
	}
	for _, o := range a.outings {
		v.row(a, records, trial.LedgerOuting, o.ID, o.parts())
		if end := records[recordKey{trial.LedgerOutingEnd, o.ID}]; (end != nil) != (o.End != "") {
			v.found.differs(partRecords, "the end of outing %s of %s is in the table or the ledger alone", o.ID, a.Pseudonym)
		} else if end != nil {
			v.row(a, records, trial.LedgerOutingEnd, o.ID, part{"outing": o.ID, "reason": o.End, "not_logged": o.NotLogged})
		}
	}
	ended := map[trial.ID]bool{}
	for _, o := range a.outings {
		ended[o.ID] = o.End != ""
	}
	for _, u := range a.units {
		v.row(a, records, trial.LedgerUnit, u.ID, u.parts())
		if lost := records[recordKey{trial.LedgerUnitLost, u.ID}] != nil; lost != u.Lost {
			v.found.differs(partRecords, "that unit %d of %s was lost is in the table or the ledger alone", u.N, a.Pseudonym)
		}
		delete(records, recordKey{trial.LedgerUnitLost, u.ID})
	}
	for _, p := range a.periods {
		v.row(a, records, trial.LedgerPeriod, p.ID, p.parts())
		end := records[recordKey{trial.LedgerPeriodEnd, p.ID}]
		switch {
		case end != nil:
			v.row(a, records, trial.LedgerPeriodEnd, p.ID, part{"period": p.ID, "reason": p.End})
		case p.End == "" && !ended[p.Outing], p.End == endedWithOuting && ended[p.Outing]:
		default:
			v.found.differs(partRecords, "period %s of %s is said to have ended as %q, which is not in the ledger", p.ID, a.Pseudonym, p.End)
		}
	}
	for _, d := range a.deviations {
		v.row(a, records, trial.LedgerDeviation, d.ID, part{"deviation": d.ID, "outing": d.Outing, "period": idOrNull(d.Period), "kind": d.Kind, "fly": d.Fly, "week": d.Week})
	}
	for _, c := range a.fish {
		v.row(a, records, trial.LedgerCatch, c.ID, c.parts())
	}
	v.without(a, records)
	v.disputesOf(a, disputed)
}

// outcomeIn is what had become of a dispute at an entry, "left out" where the entry's part is.
func outcomeIn(e Entry) string {
	if e.Public == "" {
		return "left out"
	}
	return cmp.Or(textIn(e.Public, "outcome"), trial.Undecided)
}

// disputesOf holds what became of disputes about an angler's records against the rows.
func (v *verifier) disputesOf(a publishedAngler, entered map[trial.ID]string) {
	rows := map[trial.ID]Dispute{}
	for _, d := range v.Disputes {
		rows[d.Subject] = d
	}
	said := map[trial.ID]bool{}
	for _, o := range a.outings {
		said[o.ID] = o.Disputed
	}
	for _, c := range a.fish {
		said[c.ID] = c.Disputed
	}
	for id, disputed := range said {
		outcome, known := entered[id]
		row, listed := rows[id]
		switch {
		case outcome == "left out":
			v.found.untold(partRecords, "Of some disputed records it cannot be told what was decided: the entries are left out.")
		case disputed != (outcome == trial.Exclude) || known != listed || listed && row.Outcome != outcome:
			v.found.differs(partRecords, "record %s of %s: what became of a dispute is otherwise in the ledger than in the tables", id, a.Pseudonym)
		}
	}
}

// endedWithOuting is the reason of a period that nobody ended.
const endedWithOuting = "outing_ended"

// without names what the ledger has and no table: a row that was dropped.
func (v *verifier) without(a publishedAngler, records map[recordKey]*entered) {
	for key := range records {
		v.found.differs(partRecords, "%s %s of %s was entered in the ledger and has no row", key.kind, key.id, a.Pseudonym)
	}
}

// row holds a row against the record as the ledger has it, and takes the record off the list.
func (v *verifier) row(a publishedAngler, records map[recordKey]*entered, kind string, id trial.ID, row part) {
	r := records[recordKey{kind, id}]
	delete(records, recordKey{kind, id})
	switch {
	case r == nil:
		v.found.differs(partRecords, "%s %s of %s is not in the ledger", kind, id, a.Pseudonym)
		return
	case r.left:
		v.hidden++
		return
	}
	for name, was := range r.now {
		says, known := row[name]
		switch {
		case !known:
			v.found.untold(partRecords, "What entries of the kind %s say of %s is in no table.", kind, name)
		case sameJSON(was, says):
		case name == "week" && r.corrected > 0:
			v.found.untold(partRecords, "Of corrected records the week is not held against the ledger: a corrected time is not published.")
		default:
			v.found.differs(partRecords, "%s %s of %s: the table has %s %v, the ledger with its corrections %v", kind, id, a.Pseudonym, name, jsonText(says), jsonText(was))
		}
	}
	for name, says := range row {
		if _, entered := r.now[name]; !entered && !sameJSON(says, absent(name, row)) {
			v.found.differs(partRecords, "%s %s of %s: the table has %s %v, and the ledger nothing of the kind", kind, id, a.Pseudonym, name, jsonText(says))
		}
	}
	if n, counted := row["amendments"]; counted && n != r.corrected {
		v.found.differs(partRecords, "%s %s of %s has %v corrections by its table and %d in the ledger", kind, id, a.Pseudonym, n, r.corrected)
	}
	if kind != trial.LedgerOutingEnd && kind != trial.LedgerPeriodEnd {
		v.proven++
	}
}

// absent is what a table has where the ledger's entry leaves the key out; what no entry has stands as it is.
func absent(name string, row part) any {
	switch name {
	case "void":
		return false
	case "welfare":
		return []string{}
	case "cell":
		return ""
	case "slip", "fly", "test_fly", "control_fly":
		return 0
	case "drawn_by":
		return trial.ByService
	case "draw_n":
		if row["drawn_by"] != trial.ByService {
			return 0
		}
		return row["n"]
	}
	return row[name]
}

// amendmentNames are the names of corrections that the first record has otherwise.
var amendmentNames = map[string]string{"double_id": "double", "end_reason": "reason"}

// endOf are the corrections of an outing that are of its end.
var endOf = map[string]bool{"end_reason": true, "not_logged": true}

// amendmentEntry holds a correction against its row and applies it.
func (v *verifier) amendmentEntry(a publishedAngler, e Entry, records map[recordKey]*entered, rows map[[2]string]Amendment) {
	n := 0
	for _, row := range rows {
		if row.Subject == e.Subject && (n == 0 || row.N < n) {
			n = row.N
		}
	}
	row, found := rows[[2]string{e.Subject.String(), fmt.Sprint(n)}]
	delete(rows, [2]string{e.Subject.String(), fmt.Sprint(n)})
	if !found {
		v.found.differs(partRecords, "a correction of record %s of %s is in the ledger (entry %d) and has no row", e.Subject, a.Pseudonym, e.N)
		return
	}
	r := records[recordKey{row.Kind, e.Subject}]
	if r == nil {
		v.found.differs(partRecords, "record %s of %s was corrected before it was entered", e.Subject, a.Pseudonym)
		return
	}
	r.corrected++
	if e.Public == "" {
		r.left = true
		return
	}
	var says publicPart
	if err := json.Unmarshal([]byte(e.Public), &says); err != nil {
		v.found.differs(partRecords, "entry %d of %s cannot be read: %v", e.N, a.Pseudonym, err)
		return
	}
	if says.Kind != row.Kind || says.N != row.N || string(says.Old) != row.Old || string(says.New) != row.New {
		v.found.differs(partRecords, "correction %d of record %s of %s is another one in the ledger", row.N, e.Subject, a.Pseudonym)
	}
	switch {
	case says.Reason == "" && row.Reason != "":
		v.found.untold(partRecords, "Why records were corrected is not fixed by the ledger.")
	case oneLineEnd(says.Reason) != row.Reason || says.By != "" && says.By != row.By:
		v.found.differs(partRecords, "correction %d of record %s of %s has another reason or role in the ledger", row.N, e.Subject, a.Pseudonym)
	}
	var before, after part
	if json.Unmarshal(says.Old, &before) != nil || json.Unmarshal(says.New, &after) != nil {
		v.found.differs(partRecords, "correction %d of record %s of %s cannot be read", row.N, e.Subject, a.Pseudonym)
		return
	}
	if r.left {
		return
	}
	for name, value := range after {
		r := r
		if endOf[name] && row.Kind == trial.LedgerOuting {
			if r = records[recordKey{trial.LedgerOutingEnd, e.Subject}]; r == nil || r.left {
				continue
			}
		}
		if other, renamed := amendmentNames[name]; renamed {
			name = other
		}
		value, old := asTyped(name, value), asTyped(name, beforeOf(before, name))
		if was, known := r.now[name]; known && !sameJSON(was, old) {
			v.found.differs(partRecords, "correction %d of record %s of %s says that %s was %s before, and it was %s", row.N, e.Subject, a.Pseudonym, name, jsonText(old), jsonText(was))
		}
		r.now[name] = value
	}
}

// asTyped is a temperature as the first record has it, with its unit in one text.
func asTyped(name string, value any) any {
	var m trial.Measure
	if _, parts := value.(map[string]any); name == "water_temperature" && parts && json.Unmarshal([]byte(jsonText(value)), &m) == nil {
		return m.String()
	}
	return value
}

func beforeOf(before part, name string) any {
	for old, other := range amendmentNames {
		if value, there := before[old]; there && other == name {
			return value
		}
	}
	return before[name]
}

// sameJSON compares a decoded value with one of Go's.
func sameJSON(a, b any) bool { return reflect.DeepEqual(normal(a), normal(b)) }

func normal(value any) any {
	var decoded any
	_ = json.Unmarshal([]byte(jsonText(value)), &decoded) // what encodes decodes
	return decoded
}

func jsonText(value any) string {
	text, err := json.Marshal(value)
	if err != nil {
		return fmt.Sprint(value)
	}
	return string(text)
}

func idOrNull(id trial.ID) any {
	if id.IsZero() {
		return nil
	}
	return id
}

func (o Outing) parts() part {
	p := part{"outing": o.ID, "started_late": o.StartedLate, "water_temperature": nil, "week": o.Week, "cell": o.Cell, "protocol_version": o.Version, "void": o.Void}
	if o.Temperature != nil {
		p["water_temperature"] = o.Temperature.String()
	}
	return p
}

func (u Unit) parts() part {
	return part{"unit": u.ID, "n": u.N, "first": u.First, "same_fly_check": u.SameFlyCheck, "drawn_by": u.DrawnBy, "draw_n": u.DrawN, "slip": u.Slip}
}

func (p Period) parts() part {
	return part{"period": p.ID, "outing": p.Outing, "unit": p.Unit, "half": p.Half, "fished": p.Fished, "confirmed": p.Confirmed, "test_fly": p.TestFly, "control_fly": p.ControlFly, "week": p.Week, "amendments": p.Amendments}
}

func (c Fish) parts() part {
	p := part{
		"catch": c.ID, "period": c.Period, "taken_pattern": c.TakenPattern, "taken_position": c.TakenPosition, "outcome": c.Outcome, "foul_hooked": c.FoulHooked,
		"rig_intact": c.RigIntact, "double": idOrNull(c.Double), "species": c.Species, "origin": c.Origin, "length_cm": nil, "week": c.Week, "void": c.Void, "amendments": c.Amendments,
		"welfare": trial.WelfareSigns(c.Welfare),
	}
	if c.LengthCM != nil {
		p["length_cm"] = *c.LengthCM
	}
	return p
}
