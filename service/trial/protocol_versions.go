package trial

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"
)

// ProtocolVersion is one version of a trial's rule sheet. The first is the one registered: it alone is bound by the draw's
// commitment, and has no reason. Canonical is its canonical JSON (RFC 8785), whose SHA-256 is its fingerprint.
type ProtocolVersion struct {
	TrialID   ID
	Version   int
	Protocol  Protocol
	Canonical []byte
	At        time.Time
	By        ID
	Reason    string
}

// ProtocolChange is what an amendment changed in one field, named as in the protocol's JSON.
type ProtocolChange struct {
	Field string          `json:"field"`
	Old   json.RawMessage `json:"old"`
	New   json.RawMessage `json:"new"`
}

// fieldRule says whether a field of a registered protocol, and everything below it, may be amended. Allowed returns what is
// wrong with a change, or nothing; a nil Allowed refuses every change. Why is said to who asks.
type fieldRule struct {
	field   string
	allowed func(was, is Protocol) string
	why     string
}

// fieldRules is the one list of what may be amended after registration, and why not the rest: nothing that decides which fish
// count, what was compared, how chance dealt, when the trial stops or how its answer is read. So every version counts alike, and
// a fish's place in the analysis never depends on which version its phone carried. Changes after the start are reported with
// their reasons (CONSORT 2025, Hopewell et al., PLoS Medicine 22(4):e1004587).
var fieldRules = []fieldRule{
	{"title", nil, "the trial is listed and quoted under it"},
	{"question", nil, "another question is another trial"},
	{"feature_changed", nil, "another feature is another trial"},
	{"primary_outcome", nil, "it was chosen before any fish was caught"},
	{"direction", nil, "it was chosen before any fish was caught"},
	{"smallest_share", nil, "the yardstick of the answer was set before any fish was caught"},
	{"alpha", nil, "the yardstick of the answer was set before any fish was caught"},
	{"power", nil, "the trial's size was worked out with it"},
	{"design", nil, "it says how the flies are compared"},
	{"source", nil, "it says where the records come from"},
	{"stopping", nil, "changing when to stop inflates false alarms"},
	{"looks", nil, "changing when to look inflates false alarms"},
	{"evidence_open", nil, "what may be seen while the trial runs was agreed to by everybody who joined"},
	{"end_rule", nil, "changing when to stop inflates false alarms"},
	{"season_start", nil, "the trial opens when its organiser opens it"},
	{"season_end", anyChange, "floods and closures move a season"},
	{"max_fish", nil, "the planned size decides when a fixed trial stops and how far a look has come"},
	{"min_anglers", anyChange, "it steers whom to ask, no fish depends on it"},
	{"patterns", nil, "they are what is compared, and what tables and phones call the flies"},
	{"lower_word", nil, "phones and cards in use carry it"},
	{"upper_word", nil, "phones and cards in use carry it"},
	{"species", nil, "which fish count is part of the question"},
	{"min_length_mm", nil, "which fish count is part of the question"},
	{"waters", watersAdded, "other water may have to be found; the one fished stays listed"},
	{"place_grid", gridCoarser, "a place may have to be kept more coarsely; finer than agreed at joining it is never kept"},
	{"subgroups", nil, "groups named after fish were caught are no longer named beforehand"},
	{"rig", nil, "the two flies must hang and be made alike from the first fish to the last"},
	{"draw", nil, "the commitment binds it: how chance deals is fixed before the first unit"},
	{"swap", nil, "it decides which fish fall into which half"},
	{"outing_limits.min_minutes", anyChange, "an outing outside is flagged, never refused"},
	{"outing_limits.max_minutes", anyChange, "an outing outside is flagged, never refused"},
	{"outing_limits.late_limit_h", nil, "it decides which fish are noted late and when the trial can be locked"},
	{"welfare.caution_c", temperatureLower, "care for the fish may be tightened"},
	{"welfare.stop_c", temperatureLower, "care for the fish may be tightened"},
	{"welfare.local_rules", anyChange, "the law and the water's owner may change their rules"},
	{"welfare.report_line", anyChange, "whom to tell may change"},
	{"welfare.cautions", anyChange, "advice may change"},
	{"repeat_of", nil, "the register says which trial this one repeats"},
	{"funding", anyChange, "who pays may change, and is then said"},
	{"conflicts", anyChange, "who gains may change, and is then said"},
	{"nonce", nil, "it belongs to the fingerprint that was registered"},
}

func anyChange(_, _ Protocol) string { return "" }

func watersAdded(was, is Protocol) string {
	for _, w := range was.Waters {
		if !slices.Contains(is.Waters, w) {
			return fmt.Sprintf("lacks %q (%s) of the version before; accepted: the same waters and further ones", w.Name, w.WaterType)
		}
	}
	return ""
}

func gridCoarser(was, is Protocol) string {
	order := []string{Grid1Kilo, Grid10Kilo, NoGrid}
	if slices.Index(order, is.PlaceGrid) < slices.Index(order, was.PlaceGrid) {
		return fmt.Sprintf("is %s, finer than the %s agreed to at joining; accepted: a coarser one", is.PlaceGrid, was.PlaceGrid)
	}
	return ""
}

func temperatureLower(was, is Protocol) string {
	if is.Welfare.CautionC > was.Welfare.CautionC || is.Welfare.StopC > was.Welfare.StopC {
		return fmt.Sprintf("is higher than before (care from %g, stop at %g C); accepted: lower ones. Where one outing may go on in warmer water, the organiser says so for it, with a reason",
			was.Welfare.CautionC, was.Welfare.StopC)
	}
	return ""
}

// notSettled is what is said of a field without a row of its own.
const notSettled = "it was registered"

// ruleOf returns the rule of a field; a field that the list does not name stays as it was registered.
func ruleOf(field string) fieldRule {
	for _, r := range fieldRules {
		if field == r.field || strings.HasPrefix(field, r.field+".") {
			return r
		}
	}
	return fieldRule{field: field, why: notSettled}
}

// Amends returns what the next version changes in this one, in the order of the fields' names, or an error: Invalid that names
// every field which must stay as it was registered, and every other fault of the version and its reason.
func (p Protocol) Amends(next Protocol, reason string) ([]ProtocolChange, error) {
	var f Faults
	length(&f, "reason", reason, 10, 500)
	changes, err := p.Changes(next)
	if err != nil {
		return nil, err
	}
	if len(changes) == 0 {
		f.Add("protocol", "changes nothing; accepted: a change of season_end, min_anglers, waters, place_grid, outing_limits, welfare, funding or conflicts")
	}
	for _, c := range changes {
		switch r := ruleOf(c.Field); {
		case r.allowed == nil:
			f.Add("protocol."+c.Field, "cannot be changed after registration: %s", r.why)
		default:
			if fault := r.allowed(p, next); fault != "" {
				f.Add("protocol."+c.Field, "%s", fault)
			}
		}
	}
	if err := f.Err("protocol.fixed", "the rule change has faults"); err != nil {
		return nil, err
	}
	if err := next.Validate(); err != nil {
		return nil, err
	}
	return changes, nil
}

// Changes lists the fields in which two protocols differ. An object's fields count one by one, a list as a whole.
func (p Protocol) Changes(next Protocol) ([]ProtocolChange, error) {
	before, err := p.fields()
	if err != nil {
		return nil, err
	}
	after, err := next.fields()
	if err != nil {
		return nil, err
	}
	var changes []ProtocolChange
	for field := range before {
		if _, stands := after[field]; !stands {
			after[field] = nil
		}
	}
	for field, value := range after {
		if !bytes.Equal(before[field], value) {
			changes = append(changes, ProtocolChange{field, orNull(before[field]), orNull(value)})
		}
	}
	slices.SortFunc(changes, func(a, b ProtocolChange) int { return strings.Compare(a.Field, b.Field) })
	return changes, nil
}

func orNull(value json.RawMessage) json.RawMessage {
	if value == nil {
		return json.RawMessage("null")
	}
	return value
}

// fields returns every value of the protocol's JSON by its path, like "welfare.stop_c"; a list is one value, an empty one the
// same as none.
func (p Protocol) fields() (map[string]json.RawMessage, error) {
	text, err := json.Marshal(p)
	if err != nil {
		return nil, fmt.Errorf("encode protocol: %w", err)
	}
	found := map[string]json.RawMessage{}
	var walk func(at string, value json.RawMessage) error
	walk = func(at string, value json.RawMessage) error {
		if !bytes.HasPrefix(value, []byte("{")) {
			if !slices.Contains([]string{"null", "[]"}, string(value)) {
				found[at] = value
			}
			return nil
		}
		var object map[string]json.RawMessage
		if err := json.Unmarshal(value, &object); err != nil {
			return fmt.Errorf("decode protocol: %w", err)
		}
		for name, value := range object {
			if err := walk(strings.TrimPrefix(at+"."+name, "."), value); err != nil {
				return err
			}
		}
		return nil
	}
	return found, walk("", text)
}

// Amendable returns nil while the trial's protocol may be amended: from registration until closing.
func (t Trial) Amendable() error {
	if t.State != Registered && t.State != Open && t.State != Paused {
		return Fail(Conflict, "trial.state", "the trial is %s; its rule sheet is amended while it is registered, open or paused", t.State)
	}
	return nil
}

// Overrides returns nil while the organiser may let an angler fish on in warm water, also for what happened before closing and
// arrives later.
func (t Trial) Overrides() error {
	if t.State != Open && t.State != Paused && t.State != Closed {
		return Fail(Conflict, "trial.state", "the trial is %s; fishing on in warm water is allowed for the days on which it is fished", t.State)
	}
	return nil
}

// VersionSent returns the version under which a phone opened an outing: the one that it says it carried, else the one in force.
func (t Trial) VersionSent(sent int) (int, error) {
	var f Faults
	switch {
	case sent == 0:
		return t.ProtocolVersion, nil
	case sent < 0 || sent > t.ProtocolVersion:
		f.Add("protocol_version", "is %d; accepted: 1 to %d", sent, t.ProtocolVersion)
	}
	return sent, f.Err("outing.invalid", "the outing has faults")
}
