package web

import "evenrig/service/trial"

// The rule sheet's form is a table: every field of the protocol that an organiser writes, in the order of the page, under
// its path in the protocol's JSON, by which faults find their field. Words are looked up by the path: protocol.PATH for
// the label, protocol_help.PATH for the help, protocol_option.LAST.VALUE for a choice.
type ruleField struct {
	Path    string
	Kind    fieldKind
	Options []string
	Drawn   bool   // only a drawn trial has it
	List    string // of a list's entry: the words' path, with [] for the number
}

type fieldKind string

const (
	shortText  fieldKind = "text"
	longText   fieldKind = "long"
	dateField  fieldKind = "date"
	wholeField fieldKind = "whole"
	numbered   fieldKind = "number"
	maybe      fieldKind = "maybe" // a number that may be left out
	oneOf      fieldKind = "choice"
	tickField  fieldKind = "tick"
	someOf     fieldKind = "ticks"
	someWhole  fieldKind = "whole_ticks"
)

// ruleSection is a part of the form. Fold says that it lies under "More".
type ruleSection struct {
	Name   string
	Fold   bool
	Fields []ruleField
}

// ruleSections returns the form's parts with as many rows for species and waters as the protocol has, and a few more.
func ruleSections(p trial.Protocol) []ruleSection {
	sections := []ruleSection{
		{Name: "question", Fields: []ruleField{
			{Path: "title", Kind: shortText},
			{Path: "question", Kind: longText},
			{Path: "feature_changed", Kind: shortText},
			{Path: "smallest_share", Kind: wholeField},
			{Path: "design", Kind: oneOf, Options: []string{"paired", "paired_by_outing"}},
		}},
		{Name: "flies", Fields: append(patternFields(), ruleField{Path: "lower_word", Kind: shortText}, ruleField{Path: "upper_word", Kind: shortText})},
		{Name: "rig", Fields: []ruleField{
			{Path: "rig.spacing_cm", Kind: numbered, Drawn: true},
			{Path: "rig.spacing_tolerance_cm", Kind: numbered, Drawn: true},
			{Path: "rig.dropper_mount", Kind: oneOf, Options: []string{"tag", "loop", "bend", "in_line"}, Drawn: true},
			{Path: "rig.dropper_tag_cm", Kind: numbered, Drawn: true},
			{Path: "rig.tippet_mm", Kind: numbered, Drawn: true},
			{Path: "rig.tippet_lb", Kind: maybe, Drawn: true},
			{Path: "rig.hook_model", Kind: shortText},
			{Path: "rig.hook_size", Kind: shortText, Drawn: true},
			{Path: "rig.barb", Kind: oneOf, Options: []string{"barbless", "pinched", "barbed"}, Drawn: true},
			{Path: "rig.bead_mm", Kind: maybe, Drawn: true},
			{Path: "rig.weight_g", Kind: maybe, Drawn: true},
			{Path: "rig.weight_at", Kind: oneOf, Options: []string{"in_fly", "on_line", "below_flies"}, Drawn: true},
			{Path: "rig.presentation", Kind: oneOf, Options: []string{"any", "upstream", "across", "downstream", "still"}, Drawn: true},
			{Path: "rig.specimens_per_pattern", Kind: wholeField, Drawn: true},
			{Path: "rig.replace_after_fish", Kind: wholeField, Drawn: true},
			{Path: "rig.tied_by", Kind: shortText},
			{Path: "rig.batch", Kind: shortText},
		}},
		{Name: "swap", Fields: []ruleField{
			{Path: "swap.after_fish", Kind: maybe, Drawn: true},
			{Path: "swap.after_minutes", Kind: maybe, Drawn: true},
			{Path: "swap.by", Kind: oneOf, Options: []string{"retie", "spare_cast"}, Drawn: true},
			{Path: "swap.grace_minutes", Kind: wholeField, Drawn: true},
			{Path: "swap.cool_down_casts", Kind: wholeField, Drawn: true},
			{Path: "draw.block_may_span_outings", Kind: tickField, Drawn: true},
		}},
		{Name: "where", Fields: listFields(p)},
		{Name: "end", Fields: []ruleField{
			{Path: "season_start", Kind: dateField},
			{Path: "season_end", Kind: dateField},
			{Path: "end_rule", Kind: someOf, Options: []string{"date", "total_fish"}},
			{Path: "max_fish", Kind: wholeField},
			{Path: "min_anglers", Kind: wholeField},
			{Path: "outing_limits.late_limit_h", Kind: wholeField},
			{Path: "outing_limits.min_minutes", Kind: wholeField, Drawn: true},
			{Path: "outing_limits.max_minutes", Kind: wholeField, Drawn: true},
		}},
		{Name: "care", Fields: []ruleField{
			{Path: "welfare.caution_c", Kind: numbered}, {Path: "welfare.stop_c", Kind: numbered}, {Path: "welfare.local_rules", Kind: longText}, {Path: "welfare.report_line", Kind: shortText},
		}},
		{Name: "interests", Fields: []ruleField{{Path: "funding", Kind: longText}, {Path: "conflicts", Kind: longText}}},
		{Name: "statistics", Fold: true, Fields: []ruleField{
			{Path: "stopping", Kind: oneOf, Options: []string{"fixed", "group_sequential", "anytime"}, Drawn: true},
			{Path: "looks.planned", Kind: wholeField, Drawn: true},
			{Path: "looks.spending", Kind: oneOf, Options: []string{"obrien_fleming", "pocock"}, Drawn: true},
			{Path: "looks.method", Kind: oneOf, Options: []string{"mixed_model", "combined"}, Drawn: true},
			{Path: "looks.futility", Kind: tickField, Drawn: true},
			{Path: "evidence_open", Kind: tickField, Drawn: true},
			{Path: "alpha", Kind: numbered},
			{Path: "power", Kind: numbered},
			{Path: "subgroups", Kind: someOf, Options: []string{"species", "origin", "water_type", "month"}},
			{Path: "draw.method", Kind: oneOf, Options: []string{"permuted_blocks", "coin_per_block"}, Drawn: true},
			{Path: "draw.group_sizes", Kind: someWhole, Options: []string{"2", "4", "6"}, Drawn: true},
			{Path: "draw.trip_units", Kind: wholeField, Drawn: true},
			{Path: "draw.same_fly_check", Kind: wholeField, Drawn: true},
		}},
	}
	var shown []ruleSection
	for _, section := range sections {
		var fields []ruleField
		for _, f := range section.Fields {
			if !f.Drawn || p.Source != trial.Recorded {
				fields = append(fields, f)
			}
		}
		if len(fields) > 0 {
			section.Fields = fields
			shown = append(shown, section)
		}
	}
	return shown
}

// patternFields are the two flies' side by side, the changed one first.
func patternFields() (fields []ruleField) {
	for _, name := range []string{"code", "name", "shape", "colour"} {
		for i, part := range []string{"test", "control"} {
			fields = append(fields, ruleField{Path: numberedPath("patterns", i, name), Kind: shortText, List: "patterns[]." + part + "_" + name})
		}
	}
	return fields
}

// spareRows are the empty rows of a list that a page shows beside those that are filled.
const spareRows = 3

func listFields(p trial.Protocol) (fields []ruleField) {
	fields = append(fields, ruleField{Path: "min_length_mm", Kind: wholeField}, ruleField{Path: "place_grid", Kind: oneOf, Options: []string{"none", "10km", "1km"}, Drawn: true})
	for i := range min(len(p.Species)+spareRows, 20) {
		fields = append(fields, ruleField{Path: numberedPath("species", i, ""), Kind: shortText, List: "species[]"})
	}
	for i := range min(len(p.Waters)+spareRows, 50) {
		fields = append(fields,
			ruleField{Path: numberedPath("waters", i, "name"), Kind: shortText, List: "waters[].name"},
			ruleField{Path: numberedPath("waters", i, "water_type"), Kind: shortText, List: "waters[].water_type"})
	}
	return fields
}
