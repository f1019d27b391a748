package trial

import (
	"cmp"
	"slices"
)

// FewestShown is how many anglers must share what is published of place, time and species, and how many at least are left out
// where any are: with fewer, who knows the club knows whose row it is.
const FewestShown = 3

// Share is an angler of a trial that is to be published: whether the angler agreed to open publication, and how many records
// there are.
type Share struct {
	Pseudonym string
	Open      bool
	Records   int
}

// Withheld returns the pseudonyms of those whose rows are left out: all who did not agree, and where these are one or two, as many
// more with the fewest records as make three, since their rows could else be worked out from the result less the others'. Who has no
// records needs no company. The error is of kind Conflict where too few took part for that.
func Withheld(anglers []Share) (map[string]bool, error) {
	out := map[string]bool{}
	hiding := 0
	var open []Share
	for _, a := range anglers {
		switch {
		case a.Open:
			open = append(open, a)
		case a.Records > 0:
			hiding++
			fallthrough
		default:
			out[a.Pseudonym] = true
		}
	}
	if hiding == 0 {
		return out, nil
	}
	slices.SortFunc(open, func(a, b Share) int {
		return cmp.Or(cmp.Compare(a.Records, b.Records), cmp.Compare(a.Pseudonym, b.Pseudonym))
	})
	open = slices.DeleteFunc(open, func(a Share) bool { return a.Records == 0 })
	for _, a := range open[:min(len(open), max(0, FewestShown-hiding))] {
		out[a.Pseudonym] = true
		hiding++
	}
	if hiding < FewestShown {
		return nil, Fail(Conflict, "publish.too_few", "somebody did not agree to open publication, and only %d anglers kept records: with fewer than %d "+
			"the result itself would give theirs away; accepted: the consent of all of them", hiding, FewestShown)
	}
	return out, nil
}

// Base is what one angler's records share with others': a cell of the grid and a week in which the angler fished, and a species
// caught there; Species is empty for the outing itself, Cell where no place is kept.
type Base struct {
	Angler, Cell, Week, Species string
}

// Suppression says what of place, time and species may be shown. It is made once from all that is to be published, before any
// table is, so that all tables leave out the same: local suppression to k = 3 anglers (Hundepool et al. 2012, Statistical
// Disclosure Control, Wiley, chapter 3; from memory). A cell is shown in a week where three anglers fished it, a week in which
// three fished, a species that three caught in the same shown cell and week.
type Suppression struct {
	cells   map[[2]string]map[string]bool // cell and week: anglers
	weeks   map[string]map[string]bool
	species map[[3]string]map[string]bool // shown cell, shown week, species
}

// NewSuppression counts who shares what.
func NewSuppression(rows []Base) Suppression {
	s := Suppression{map[[2]string]map[string]bool{}, map[string]map[string]bool{}, map[[3]string]map[string]bool{}}
	for _, r := range rows {
		note(s.cells, [2]string{r.Cell, r.Week}, r.Angler)
		note(s.weeks, r.Week, r.Angler)
	}
	for _, r := range rows {
		cell, week := s.Place(r.Cell, r.Week)
		note(s.species, [3]string{cell, week, r.Species}, r.Angler)
	}
	return s
}

func note[K comparable](sets map[K]map[string]bool, key K, angler string) {
	if sets[key] == nil {
		sets[key] = map[string]bool{}
	}
	sets[key][angler] = true
}

// Place returns what may be shown of a cell and a week; empty for what may not.
func (s Suppression) Place(cell, week string) (shownCell, shownWeek string) {
	switch {
	case len(s.cells[[2]string{cell, week}]) >= FewestShown:
		return cell, week
	default:
		return "", s.Week(week)
	}
}

// Week returns the week where it may be shown, else nothing.
func (s Suppression) Week(week string) string {
	if len(s.weeks[week]) >= FewestShown {
		return week
	}
	return ""
}

// Species returns the species where it may be shown of a fish from the given cell and week, else nothing.
func (s Suppression) Species(cell, week, species string) string {
	cell, week = s.Place(cell, week)
	if len(s.species[[3]string{cell, week, species}]) >= FewestShown {
		return species
	}
	return ""
}
